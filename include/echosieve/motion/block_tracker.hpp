// Follows both artery walls through a recording of any length, frame by frame as it comes, in
// memory for one block (and a record of each, and what is finished until it is taken).
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <span>
#include <utility>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "motion/block_contact.hpp"
#include "motion/block_fit.hpp"
#include "echosieve/motion/block_motion.hpp"
#include "motion/block_stitching.hpp"

namespace echosieve {

// Symbols
//   L, O  frames of a block and of an overlap;  S = L - O
//
// Block k holds the frames kS .. kS + L - 1 and is followed when the last of them is pushed; then
// the frames before (k + 1) S are finished. So a frame is finished O to L frames after it was
// pushed, but for the first block's, and the work is done in bursts, once every S frames. finish()
// follows the last L frames as a block of their own, whatever their overlap with the one before.
// Blocks lie at the same frames however these are pushed: the result is the same bit by bit.

/// T is std::int16_t or float. Not thread-safe: one object a thread. Research use: not a medical
/// device, not for diagnosis.
template <class T>
class BlockTracker {
public:
    /// For frames of `samples` samples. Throws InvalidInput for settings or options outside their
    /// domain, blocks of fewer than fewest_frames frames, or overlaps that are no whole frame.
    BlockTracker(const RecordingSettings& settings, std::size_t samples,
                 const BlockOptions& options = {})
        : options_((validate(options), options)),
          basebander_((validate(settings), settings), samples, options.track.baseband),
          stitcher_(settings.frame_rate, options),
          length_(frames_in(options.length, settings.frame_rate)),
          step_(length_ - frames_in(options.overlap, settings.frame_rate)),
          samples_(samples),
          block_end_(length_) {
        require(samples >= 1, "samples a frame", samples, "must be at least 1");
        require(length_ >= fewest_frames, "length", options.length,
                detail::concatenate("must hold at least ", fewest_frames, " frames [s]"));
        require(step_ < length_, "overlap", options.overlap, "must hold at least 1 frame [s]");
        baseband_.grid = basebander_.grid();
        baseband_.settings = settings;
    }

    /// Takes the next frame. Throws InvalidInput unless it has the samples that this object is made
    /// for, and after finish().
    void push(std::span<const T> frame) {
        require(!finished_, "frames pushed", pushed_, "can't be added to after finish()");
        if (frame.size() != samples_) {  // no text is made in a good run
            require(false, "samples of the frame", frame.size(),
                    detail::concatenate("must be ", samples_));
        }
        const std::size_t slot = make_room();
        std::copy(frame.begin(), frame.end(),
                  raw_.begin() + static_cast<std::ptrdiff_t>(slot * samples_));
        basebander_.process(frame, row(slot));
        ++pushed_;
        if (pushed_ == block_end_) {
            follow_block();
            block_end_ += step_;
        }
    }
    /// Takes the next frames, one after the other.
    void push(const FrameView<T>& frames) {
        for (std::size_t i = 0; i < frames.frames(); ++i) {
            push(frames[i]);
        }
    }
    /// The recording ends here: all its frames are finished. Does nothing when called again.
    void finish() {
        if (!finished_ && pushed_ > 0 && pushed_ + step_ != block_end_) {
            follow_block();
        }
        finished_ = true;
        stitcher_.release(pushed_, done_);
    }

    /// The frames finished since the last call, in order; the caller's from now on.
    [[nodiscard]] std::vector<FrameMotion> take() { return std::exchange(done_, {}); }
    /// The record of each block followed so far.
    [[nodiscard]] const std::vector<BlockRecord>& blocks() const noexcept { return blocks_; }
    [[nodiscard]] std::size_t pushed() const noexcept { return pushed_; }
    /// Frames that are kept, L at most.
    [[nodiscard]] std::size_t held() const noexcept { return slots_; }
    [[nodiscard]] std::size_t block_length() const noexcept { return length_; }
    /// Longest time from a frame to its result, beside that for the work: L frames [s].
    [[nodiscard]] double latency() const noexcept {
        return static_cast<double>(length_) / baseband_.settings.frame_rate;
    }

private:
    [[nodiscard]] static std::size_t frames_in(double time, double rate) {
        constexpr double most = 1e9;
        require(time * rate <= most, "frames a block", time * rate,
                detail::concatenate("must not exceed ", most));
        return static_cast<std::size_t>(std::lround(time * rate));
    }
    [[nodiscard]] std::span<std::complex<double>> row(std::size_t slot) {
        return {baseband_.samples.row(static_cast<Eigen::Index>(slot)).data(),
                baseband_.grid.count};
    }
    // A slot for one more frame: grown up to L, then the oldest one's.
    std::size_t make_room() {
        if (slots_ == length_) {
            return std::exchange(oldest_, (oldest_ + 1) % length_);
        }
        if (static_cast<std::size_t>(baseband_.samples.rows()) == slots_) {
            const std::size_t more = std::min(length_, std::max<std::size_t>(64, 2 * slots_));
            raw_.resize(more * samples_);
            baseband_.samples.conservativeResize(static_cast<Eigen::Index>(more),
                                                 static_cast<Eigen::Index>(baseband_.grid.count));
        }
        return slots_++;
    }
    // The oldest frame to the front.
    void straighten() {
        const auto turn = [&](auto* data, std::size_t width) {
            std::rotate(data, data + oldest_ * width, data + slots_ * width);
        };
        if (oldest_ != 0) {
            turn(raw_.data(), samples_);
            turn(baseband_.samples.data(), baseband_.grid.count);
            oldest_ = 0;
        }
    }
    // Follows the frames held.
    void follow_block() {
        straighten();
        Baseband<double> copied;
        if (static_cast<std::size_t>(baseband_.samples.rows()) != slots_) {
            copied = {baseband_.samples.topRows(static_cast<Eigen::Index>(slots_)), baseband_.grid,
                      baseband_.settings};
        }
        const Baseband<double>& block = copied.samples.size() > 0 ? copied : baseband_;
        const FrameView<T> frames(std::span<const T>(raw_).first(slots_ * samples_), slots_,
                                  samples_);
        const std::vector<double> energies = echo_energies(block, options_.track.walls.dead_zone);
        const std::vector<FrameState> states =
            check_block(frames, block, energies, reference_, options_.track.frames);
        BlockFit fit = fit_block(block, states, pushed_ - slots_, before_, options_);
        if (!fit.frames.empty()) {
            reference_ = reference_energy(energies, states);
        }
        blocks_.push_back(fit.record);
        stitcher_.add(fit, blocks_.back());
        // The next block starts S frames later, or is the last one, which reaches no further back.
        stitcher_.release(pushed_ - slots_ + std::min(step_, slots_), done_);
        before_ = std::move(fit);
    }

    BlockOptions options_;
    Basebander<double> basebander_;
    BlockStitcher stitcher_;
    std::size_t length_;
    std::size_t step_;
    std::size_t samples_;
    std::size_t block_end_;  // frames pushed when the next block is whole
    std::size_t pushed_ = 0;
    std::size_t slots_ = 0;   // frames held
    std::size_t oldest_ = 0;  // slot of the first of them
    bool finished_ = false;
    std::vector<T> raw_;
    Baseband<double> baseband_;
    double reference_ = 0;  // energy of a frame in contact
    BlockFit before_;
    std::vector<FrameMotion> done_;
    std::vector<BlockRecord> blocks_;
};

/// Follows a whole recording in blocks. Throws as BlockTracker does.
template <class T>
[[nodiscard]] BlockMotion track_in_blocks(const FrameView<T>& frames,
                                          const RecordingSettings& settings,
                                          const BlockOptions& options = {}) {
    BlockTracker<T> tracker(settings, frames.samples(), options);
    tracker.push(frames);
    tracker.finish();
    BlockMotion motion{TrackStatus::not_run, tracker.take(), tracker.blocks()};
    motion.status = status_of(motion.valid_frames(), motion.frames.size(), motion.blocks);
    return motion;
}

[[nodiscard]] BlockMotion track_in_blocks(const Recording& recording,
                                          const BlockOptions& options = {});

}  // namespace echosieve
