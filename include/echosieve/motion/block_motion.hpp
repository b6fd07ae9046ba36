// Long recordings in overlapping blocks: the options, and what is kept of each block. Link
// echosieve::motion.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "echosieve/core/detail/api.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/common_motion_options.hpp"
#include "echosieve/motion/pulse_delay.hpp"
#include "echosieve/motion/track_artery.hpp"

namespace echosieve {

// Each block is followed by track_artery (track_artery.hpp) as a recording of its own, its walls
// looked for near those of the block before, and the blocks are stitched (block_stitching.hpp).

struct BlockOptions {
    double length = 4;   ///< of a block: two beats at least [s]
    double overlap = 2;  ///< of a block with the next, at most half of length [s]
    /// a carried wall's gate is looked for no further from where the block before had the wall [m]
    double search_reach = 1.5e-3;
    /// of a wall's mean depth on an overlap, from one block to the next: beyond it the two
    /// contradict each other [m]
    double largest_jump = 0.3e-3;
    /// blocks beyond the first that must find the same walls by themselves before they are carried
    int confirmations = 1;
    double longest_gap = 0.5;   ///< without a usable frame: a longer one divides a block [s]
    double shortest_fit = 1.5;  ///< of the longest part of a divided block; shorter is left out [s]
    /// carried walls not seen in usable frames for longer, a beat, are looked for anew [s]
    double longest_loss = 1;
    double drift_time = 120;  ///< in which an offset between blocks fades to 1/e [s]
    SlipOptions slips;        ///< a slip divides a block, too
    TrackOptions track;       ///< of each block
};

/// Throws InvalidInput, naming option, value and limit.
ECHOSIEVE_API void validate(const BlockOptions& options);

/// How a block came by its walls.
enum class BlockOrigin {
    none,      ///< no walls were found
    acquired,  ///< looked for all along the line
    carried    ///< looked for within search_reach of those of the block before
};

[[nodiscard]] constexpr std::string_view describe(BlockOrigin origin) noexcept {
    switch (origin) {
        case BlockOrigin::none:
            return "none";
        case BlockOrigin::acquired:
            return "acquired";
        case BlockOrigin::carried:
            return "carried";
    }
    return "unknown";
}

/// How a block hangs on what came before it.
enum class Seam {
    none,     ///< nothing to hang on: no walls here, or none just before
    matched,  ///< offsets matched and depths cross-faded over the overlap
    broken    ///< the mean depths differ by more than largest_jump: a step is left, at its middle
};

[[nodiscard]] constexpr std::string_view describe(Seam seam) noexcept {
    switch (seam) {
        case Seam::none:
            return "none";
        case Seam::matched:
            return "matched";
        case Seam::broken:
            return "broken";
    }
    return "unknown";
}

/// What became of one block.
struct BlockRecord {
    std::size_t first = 0;  ///< frame
    std::size_t count = 0;  ///< frames
    double start = 0;       ///< [s]
    double end = 0;         ///< of its last frame [s]
    TrackStatus status = TrackStatus::not_run;
    BlockOrigin origin = BlockOrigin::none;
    Seam seam = Seam::none;
    std::size_t fitted_first = 0;  ///< first frame of the part that was fitted
    std::size_t fitted_count = 0;  ///< frames of it; 0: no walls
    std::size_t usable = 0;        ///< frames of the block found good
    std::size_t dropped = 0;       ///< frames found dropped, frozen, not finite or out of contact
    std::size_t clipped = 0;       ///< frames found clipped
    std::size_t slipped = 0;       ///< frames in which the sensor slips
    std::size_t valid = 0;         ///< frames with both walls seen
    double quality = 0;            ///< mean over the valid frames, 0 to 1
    double near_depth = 0;         ///< as this block by itself has it, at rest [m]
    double far_depth = 0;          ///< [m]
    double near_offset = 0;        ///< added to its depths at the seam [m]
    double far_offset = 0;         ///< [m]
    double near_jump = 0;          ///< mean depth on the overlap, less that of what came before [m]
    double far_jump = 0;           ///< [m]
    double misfit = 0;             ///< rms of the rest of that difference, of the worse wall [m]
};

/// A whole recording followed in blocks. A frame that no block with walls covers has depths and
/// standard deviations of NaN, quality 0, and is not valid.
struct BlockMotion {
    TrackStatus status = TrackStatus::not_run;  ///< tracked if half of all frames are valid; with
                                                ///< no walls in any block, that of the first one
    std::vector<FrameMotion> frames;
    std::vector<BlockRecord> blocks;
    PulseDelay pulse_delay;             ///< taken off all depths: decided once, see BlockTracker
    std::vector<std::string> warnings;  ///< see BlockTracker
    double trust = 1;                   ///< see BlockTracker

    [[nodiscard]] bool usable() const noexcept { return status == TrackStatus::tracked; }
    [[nodiscard]] std::size_t valid_frames() const noexcept {
        std::size_t count = 0;
        for (const FrameMotion& frame : frames) {
            count += frame.valid ? 1 : 0;
        }
        return count;
    }
    [[nodiscard]] auto begin() const noexcept { return frames.begin(); }
    [[nodiscard]] auto end() const noexcept { return frames.end(); }
};

/// The status of a whole from its frames and blocks, see BlockMotion::status.
[[nodiscard]] ECHOSIEVE_API TrackStatus status_of(std::size_t valid, std::size_t frames,
                                                  const std::vector<BlockRecord>& blocks) noexcept;

}  // namespace echosieve
