#include "echosieve/motion/block_tracker.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/block_motion.hpp"
#include "motion/follow/block_fit.hpp"
#include "motion/follow/block_frames.hpp"
#include "motion/follow/block_stitching.hpp"
#include "motion/wall/recording_check.hpp"

namespace echosieve {

namespace {

constexpr std::size_t first_slots = 64;  // frames there is room for, before it grows

std::size_t frames_in(double time, double rate) {
    constexpr double most = 1e9;
    require(time * rate <= most, "frames a block", time * rate,
            detail::concatenate("must not exceed ", most));
    return static_cast<std::size_t>(std::lround(time * rate));
}

}  // namespace

template <class T>
struct BlockTracker<T>::State {
    State(const RecordingSettings& settings, std::size_t samples_a_frame,
          const BlockOptions& block_options)
        : options((validate(block_options), block_options)),
          basebander((validate(settings), settings), samples_a_frame, options.track.baseband),
          stitcher(settings.frame_rate, options),
          length(frames_in(options.length, settings.frame_rate)),
          step(length - frames_in(options.overlap, settings.frame_rate)),
          samples(samples_a_frame),
          block_end(length) {
        require(samples >= 1, "samples a frame", samples, "must be at least 1");
        require_trackable(settings, basebander.grid(), options.track.walls,
                          options.track.separation);
        require(length >= fewest_frames, "length", options.length,
                detail::concatenate("must hold at least ", fewest_frames, " frames [s]"));
        require(step < length, "overlap", options.overlap, "must hold at least 1 frame [s]");
        baseband.grid = basebander.grid();
        baseband.settings = settings;
        if (settings.sensor.pulse_delay) {
            pulse_delay = {DelaySource::given, *settings.sensor.pulse_delay, 0, 0};
        }
    }

    void push(std::span<const T> frame) {
        require(!finished, "frames pushed", pushed, "can't be added to after finish()");
        if (frame.size() != samples) {  // no text is made in a good run
            require(false, "samples of the frame", frame.size(),
                    detail::concatenate("must be ", samples));
        }
        const std::size_t slot = make_room();
        std::copy(frame.begin(), frame.end(),
                  raw.begin() + static_cast<std::ptrdiff_t>(slot * samples));
        basebander.process(frame, row(slot));
        ++pushed;
        if (pushed == block_end) {
            follow_block();
            block_end += step;
        }
    }
    void finish() {
        if (!finished && pushed > followed) {
            follow_block();
        }
        finished = true;
        stitcher.release(pushed, done);
    }

    [[nodiscard]] std::span<std::complex<double>> row(std::size_t slot) {
        return {baseband.samples.row(static_cast<Eigen::Index>(slot)).data(), baseband.grid.count};
    }
    // A slot for one more frame: grown up to L, then the oldest one's.
    std::size_t make_room() {
        if (slots == length) {
            return std::exchange(oldest, (oldest + 1) % length);
        }
        if (static_cast<std::size_t>(baseband.samples.rows()) == slots) {
            const std::size_t more = std::min(length, std::max(first_slots, 2 * slots));
            raw.resize(more * samples);
            baseband.samples.conservativeResize(static_cast<Eigen::Index>(more),
                                                static_cast<Eigen::Index>(baseband.grid.count));
        }
        return slots++;
    }
    // The oldest frame to the front.
    void straighten() {
        const auto turn = [&](auto* data, std::size_t width) {
            std::rotate(data, data + oldest * width, data + slots * width);
        };
        if (oldest != 0) {
            turn(raw.data(), samples);
            turn(baseband.samples.data(), baseband.grid.count);
            oldest = 0;
        }
    }
    // Follows the frames held.
    void follow_block() {
        straighten();
        if (blocks.empty()) {
            settle_offset();
        }
        Baseband<double> copied;
        if (static_cast<std::size_t>(baseband.samples.rows()) != slots) {
            copied = {baseband.samples.topRows(static_cast<Eigen::Index>(slots)), baseband.grid,
                      baseband.settings};
        }
        const Baseband<double>& block = copied.samples.size() > 0 ? copied : baseband;
        const FrameView<T> frames = held_frames();
        const std::vector<double> energies = echo_energies(block, options.track.walls.dead_zone);
        const std::vector<FrameState> states =
            check_block(frames, block, energies, reference, options.track.frames);
        if (!walls_seen) {
            check = check_samples(frames, baseband.settings, states, options.track.settings_check,
                                  options.track.baseband.offset);
        }
        BlockFit fit = fit_block(block, states, pushed - slots, before, options);
        if (!fit.frames.empty()) {
            reference = reference_energy(energies, states);
            settle_delay(fit.pulse_delay);
            walls_seen = true;
        }
        lower(fit, check.trust);
        collect_warnings(fit);
        followed = pushed;
        blocks.push_back(fit.record);
        stitcher.add(fit, blocks.back());
        // The next block starts S frames later, or is the last one, which reaches no further back.
        stitcher.release(pushed - slots + std::min(step, slots), done);
        before = std::move(fit);
    }

    [[nodiscard]] FrameView<T> held_frames() const {
        return {std::span<const T>(raw).first(slots * samples), slots, samples};
    }
    // The offset of the first block's frames is the stream's.
    void settle_offset() {
        const double offset = settled_offset(held_frames(), baseband.settings,
                                             options.track.baseband, options.track.offset);
        if (offset == options.track.baseband.offset) {
            return;
        }
        options.track.baseband.offset = offset;
        basebander = Basebander<double>(baseband.settings, samples, options.track.baseband);
        const FrameView<T> frames = held_frames();
        for (std::size_t slot = 0; slot < slots; ++slot) {
            basebander.process(frames[slot], row(slot));
        }
    }
    // The delay that the first walls were found with is the stream's: an estimate from each block
    // would move the depths from block to block.
    void settle_delay(const PulseDelay& found) {
        if (!walls_seen) {
            pulse_delay = found;
            baseband.settings.sensor.pulse_delay = found.delay;
        }
    }
    static void lower(BlockFit& fit, double trust) {
        for (FrameMotion& frame : fit.frames) {
            frame.near_quality *= trust;
            frame.far_quality *= trust;
            frame.quality *= trust;
        }
        fit.record.quality *= trust;
    }
    // What is said of the stream, and what is first said of a block.
    void collect_warnings(const BlockFit& fit) {
        if (block_warnings.empty()) {
            for (const std::string& text : fit.warnings) {
                block_warnings.push_back(
                    detail::concatenate("from ", fit.record.start, " s on: ", text));
            }
        }
        warnings = check.warnings;
        warnings.insert(warnings.end(), block_warnings.begin(), block_warnings.end());
        if (!walls_seen && !check.band_seen) {
            warnings.emplace_back(noise_warning);
        }
    }

    BlockOptions options;
    Basebander<double> basebander;
    BlockStitcher stitcher;
    std::size_t length;
    std::size_t step;
    std::size_t samples;
    std::size_t block_end;  // frames pushed when the next block is whole
    std::size_t pushed = 0;
    std::size_t followed = 0;  // frames pushed when a block was followed last
    std::size_t slots = 0;     // frames held
    std::size_t oldest = 0;    // slot of the first of them
    bool finished = false;
    std::vector<T> raw;
    Baseband<double> baseband;
    double reference = 0;  // energy of a frame in contact
    BlockFit before;
    bool walls_seen = false;  // in a block so far
    PulseDelay pulse_delay;
    SettingsCheck check;
    std::vector<std::string> block_warnings;
    std::vector<std::string> warnings;
    std::vector<FrameMotion> done;
    std::vector<BlockRecord> blocks;
};

template <class T>
void BlockTracker<T>::make(const RecordingSettings& settings, std::size_t samples,
                           const BlockOptions& options) {
    state_.reset(new State(settings, samples, options));
}

template <class T>
void BlockTracker<T>::Release::operator()(State* state) const noexcept {
    delete state;
}

template <class T>
void BlockTracker<T>::push(std::span<const T> frame) {
    state_->push(frame);
}

template <class T>
void BlockTracker<T>::finish() {
    state_->finish();
}

template <class T>
std::vector<FrameMotion> BlockTracker<T>::take() {
    return std::exchange(state_->done, {});
}

template <class T>
const std::vector<BlockRecord>& BlockTracker<T>::blocks() const noexcept {
    return state_->blocks;
}

template <class T>
const PulseDelay& BlockTracker<T>::pulse_delay() const noexcept {
    return state_->pulse_delay;
}

template <class T>
const std::vector<std::string>& BlockTracker<T>::warnings() const noexcept {
    return state_->warnings;
}

template <class T>
double BlockTracker<T>::trust() const noexcept {
    return state_->check.trust;
}

template <class T>
std::size_t BlockTracker<T>::pushed() const noexcept {
    return state_->pushed;
}

template <class T>
std::size_t BlockTracker<T>::held() const noexcept {
    return state_->slots;
}

template <class T>
std::size_t BlockTracker<T>::block_length() const noexcept {
    return state_->length;
}

template <class T>
double BlockTracker<T>::latency() const noexcept {
    return static_cast<double>(state_->length) / state_->baseband.settings.frame_rate;
}

template class BlockTracker<std::int16_t>;
template class BlockTracker<float>;

BlockMotion track_in_blocks(const Recording& recording, const BlockOptions& options) {
    return std::visit(
        [&](const auto& frames) {
            return track_in_blocks(frames.view(), recording.settings, options);
        },
        recording.samples);
}

}  // namespace echosieve
