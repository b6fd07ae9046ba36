// One block of a long recording: its longest part in contact followed, from the walls of the block
// before if there are any.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "echosieve/condition/options.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/block_motion.hpp"
#include "motion/line/frame_run.hpp"

namespace echosieve {

// Symbols
//   d_i  depth of a wall in frame i, as a block by itself has it [m];  d'_i as the block before
//        jump = mean of d_i - d'_i over the frames that both have valid;  misfit = rms of the rest
//
// Two blocks agree if neither wall's jump exceeds largest_jump. Once `confirmations` blocks in turn
// have agreed with the one before, the next looks for its walls near theirs only. All along the
// line they are looked for if there are no such walls, if the narrow search ends without them, or
// if what it finds contradicts the block before or is not seen for longest_loss.

/// A block followed by itself.
struct BlockFit {
    BlockRecord record;                 ///< all but seam and offsets
    std::vector<FrameMotion> frames;    ///< of the part that was fitted; times from frame 0
    int agreed = 0;                     ///< blocks in turn that agreed with the one before
    PulseDelay pulse_delay;             ///< taken off the depths
    std::vector<std::string> warnings;  ///< of the part that was fitted

    [[nodiscard]] std::size_t begin() const noexcept { return record.fitted_first; }
    [[nodiscard]] std::size_t end() const noexcept {
        return record.fitted_first + record.fitted_count;
    }
};

/// The longest run of frames, from a good one to a good one, in which no frame slips and no more
/// than `longest_gap` frames in turn are not good; the first of equals; empty if there is none.
/// `slips` is empty or holds a value a frame.
[[nodiscard]] FrameRun longest_contact(const std::vector<FrameState>& states,
                                       const std::vector<bool>& slips, std::size_t longest_gap);

/// How the depths of two fits differ over the frames that both have valid.
struct OverlapDifference {
    std::size_t frames = 0;
    double near_mean = 0;  ///< of the block before, over these frames [m]
    double far_mean = 0;   ///< [m]
    double near_jump = 0;  ///< [m]
    double far_jump = 0;   ///< [m]
    double misfit = 0;     ///< of the worse wall [m]
};

[[nodiscard]] OverlapDifference compare_overlap(const BlockFit& before, const BlockFit& now);

/// Follows the block that starts with frame `first` of the recording. Throws InvalidInput if the
/// number of states differs from the frames', or for options outside their domain.
[[nodiscard]] BlockFit fit_block(const BasebandView& baseband,
                                 const std::vector<FrameState>& states, std::size_t first,
                                 const BlockFit& before, const BlockOptions& options);

}  // namespace echosieve
