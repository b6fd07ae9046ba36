// Follows both artery walls through a recording of any length, frame by frame as it comes, in
// memory for one block (and a record of each, and what is finished until it is taken). Link
// echosieve::motion.
#pragma once

#include <concepts>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/block_motion.hpp"
#include "echosieve/motion/pulse_delay.hpp"

namespace echosieve {

// Symbols
//   L, O  frames of a block and of an overlap;  S = L - O
//
// Block k holds the frames kS .. kS + L - 1 and is followed when the last of them is pushed; then
// the frames before (k + 1) S are finished. So a frame is finished O to L frames after it was
// pushed, but for the first block's, and the work is done in bursts, once every S frames. finish()
// follows the last L frames as a block of their own, whatever their overlap with the one before.
// Blocks lie at the same frames however these are pushed: the result is the same bit by bit.
//
// What holds for a whole stream is decided once: a constant offset of the samples by the first
// block, the pulse's delay by the first one with walls.

/// T is std::int16_t or float. Not thread-safe: one object a thread. Can be moved; what was moved
/// from can only be assigned to. Research use: not a medical device, not for diagnosis.
template <class T>
class BlockTracker {
    static_assert(std::same_as<T, std::int16_t> || std::same_as<T, float>, "compiled for these");

public:
    /// For frames of `samples` samples. Throws InvalidInput for settings or options outside their
    /// domain, blocks of fewer than fewest_frames frames, or overlaps that are no whole frame; and
    /// as track_artery does for a sensor or ranges that no artery can be followed with.
    BlockTracker(const RecordingSettings& settings, std::size_t samples,
                 const BlockOptions& options = {}) {
        validate(options);
        make(settings, samples, options);
    }

    /// Takes the next frame. Throws InvalidInput unless it has the samples that this object is made
    /// for, and after finish().
    ECHOSIEVE_EXPORT void push(std::span<const T> frame);
    /// Takes the next frames, one after the other.
    void push(const FrameView<T>& frames) {
        for (std::size_t i = 0; i < frames.frames(); ++i) {
            push(frames[i]);
        }
    }
    /// The recording ends here: all its frames are finished. Does nothing when called again.
    ECHOSIEVE_EXPORT void finish();

    /// The frames finished since the last call, in order; the caller's from now on.
    [[nodiscard]] ECHOSIEVE_EXPORT std::vector<FrameMotion> take();
    /// The record of each block followed so far.
    [[nodiscard]] ECHOSIEVE_EXPORT const std::vector<BlockRecord>& blocks() const noexcept;
    /// The pulse's delay that is taken off all depths: given with the settings; or estimated, where
    /// the options ask for it, from the first block with walls, and held from then on; `unknown`
    /// until then, and if no estimate is wanted: 0.
    [[nodiscard]] ECHOSIEVE_EXPORT const PulseDelay& pulse_delay() const noexcept;
    /// What is unusual about the settings, what the samples of the first block with walls (or of
    /// the last one, as long as there are none) contradict of them, what was taken off; and what is
    /// said of a block first.
    [[nodiscard]] ECHOSIEVE_EXPORT const std::vector<std::string>& warnings() const noexcept;
    /// By which qualities are lowered, since samples contradict the settings; 1: they don't.
    [[nodiscard]] ECHOSIEVE_EXPORT double trust() const noexcept;
    [[nodiscard]] ECHOSIEVE_EXPORT std::size_t pushed() const noexcept;
    /// Frames that are kept, L at most.
    [[nodiscard]] ECHOSIEVE_EXPORT std::size_t held() const noexcept;
    [[nodiscard]] ECHOSIEVE_EXPORT std::size_t block_length() const noexcept;
    /// Longest time from a frame to its result, beside that for the work: L frames [s].
    [[nodiscard]] ECHOSIEVE_EXPORT double latency() const noexcept;

private:
    struct State;
    struct Release {
        ECHOSIEVE_EXPORT void operator()(State* state) const noexcept;
    };

    ECHOSIEVE_EXPORT void make(const RecordingSettings& settings, std::size_t samples,
                               const BlockOptions& options);

    std::unique_ptr<State, Release> state_;
};

/// Follows a whole recording in blocks. Throws as BlockTracker does.
template <class T>
[[nodiscard]] BlockMotion track_in_blocks(const FrameView<T>& frames,
                                          const RecordingSettings& settings,
                                          const BlockOptions& options = {}) {
    BlockTracker<T> tracker(settings, frames.samples(), options);
    tracker.push(frames);
    tracker.finish();
    BlockMotion motion{TrackStatus::not_run,  tracker.take(),     tracker.blocks(),
                       tracker.pulse_delay(), tracker.warnings(), tracker.trust()};
    motion.status = status_of(motion.valid_frames(), motion.frames.size(), motion.blocks);
    return motion;
}

[[nodiscard]] ECHOSIEVE_API BlockMotion track_in_blocks(const Recording& recording,
                                                        const BlockOptions& options = {});

}  // namespace echosieve
