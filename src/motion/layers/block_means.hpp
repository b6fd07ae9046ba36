// A gate averaged over blocks of frames in which little moves: fewer frames to sum over.
#pragma once

#include <Eigen/Core>
#include <utility>
#include <vector>

#include "motion/layers/layers.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve {

/// Frames put together: block k holds the frames first[k] to first[k + 1] - 1.
struct FrameBlocks {
    std::vector<Eigen::Index> first;  ///< of each block, and at the end the number of frames
    double unit = 1;                  ///< so many frames together weigh 1

    [[nodiscard]] Eigen::Index count() const noexcept {
        return static_cast<Eigen::Index>(first.size()) - 1;
    }
    /// First frame of block k and number of its frames.
    [[nodiscard]] std::pair<Eigen::Index, Eigen::Index> range(Eigen::Index k) const {
        const auto at = static_cast<std::size_t>(k);
        return {first[at], first[at + 1] - first[at]};
    }
};

/// Blocks of `length` >= 1 frames, the last perhaps of fewer; `length` frames weigh 1.
[[nodiscard]] FrameBlocks even_blocks(Eigen::Index frames, Eigen::Index length);

/// How far frames may differ that are put together.
struct QuietBlockLimits {
    Eigen::Index unit = 1;     ///< frames that weigh 1, see FrameBlocks
    Eigen::Index longest = 1;  ///< most frames a block
    double pulse = 0;          ///< largest change of p within a block
    double bulk = 0;           ///< the same of q [m]
};

/// Blocks as long as the time courses stay within the limits: long in between the beats, short
/// where the pulse rises. Throws InvalidInput unless unit and longest are at least 1.
[[nodiscard]] FrameBlocks quiet_blocks(const LayerTimes& times, const QuietBlockLimits& limits);

/// Weighted means of `x` over blocks; of all of a block's entries alike where their weights are 0.
[[nodiscard]] Eigen::ArrayXd block_means(const Eigen::ArrayXd& x, const Eigen::ArrayXd& weight,
                                         const FrameBlocks& blocks);

/// The time courses' means over blocks; a block's weight is the sum of its frames' over the unit.
/// Without the tissue's lag: blocks are no even steps in time.
[[nodiscard]] LayerTimes block_means(const LayerTimes& times, const FrameBlocks& blocks);

/// The gate's values averaged over blocks, [blocks x bins]; 0 in blocks without a usable frame.
/// What moves by `share` keeps its phase within a block; its bulk motion is turned back altogether,
/// of its pulse what differs from the block's mean.
[[nodiscard]] Eigen::ArrayXXcd block_means(const GateSpectrum& gate, const LayerTimes& times,
                                           const LayerShare& share, const FrameBlocks& blocks);

}  // namespace echosieve
