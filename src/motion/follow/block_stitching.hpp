// Blocks that overlap made one motion without steps at their seams.
#pragma once

#include <cstddef>
#include <vector>

#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/block_motion.hpp"
#include "motion/follow/block_fit.hpp"

namespace echosieve {

// Symbols (for each wall)
//   A .. B  frames that the block and what is stitched so far both cover
//   s_i  depth stitched so far;  d_i the block's own;  u = (i - A + 1) / (B - A + 2)
//   w_i = (1 - cos(pi u)) / 2   weight of the block;  1 - w_i of what is stitched so far
//   o = sum_i g_i (s_i - d_i) / sum_i g_i,  g_i = w_i (1 - w_i), frames valid in both
//        offset that minimises the weighted squares of what is left of the seam
//   o_i = o until B, o exp(-(i - B) / (f_r drift_time)) after it
//
//   s_i = (1 - w_i) s_i + w_i (d_i + o_i)  within A .. B,  d_i + o_i after it
//
// Let e be the error of a block's absolute depth. Then o + e is that of the stitched depth: the
// offsets telescope, so that it is a mean of the blocks' own errors with weights that fall by 1/e
// in drift_time. It never leaves their range, however long the recording. The price is a drift of
// |o| / drift_time.

/// Takes the blocks in turn. Holds the frames from the last one released to the end of the last
/// block.
class BlockStitcher {
public:
    /// Throws InvalidInput for options outside their domain.
    BlockStitcher(double frame_rate, const BlockOptions& options);

    /// Adds the next block, and sets seam, offsets, jumps and misfit in its record. Throws
    /// InvalidInput if it starts before a frame released, after the last block's end, or ends
    /// before that.
    void add(const BlockFit& fit, BlockRecord& record);

    /// Moves the frames before frame `end` to the end of `out`: no later block may cover them.
    void release(std::size_t end, std::vector<FrameMotion>& out);

    [[nodiscard]] std::size_t released() const noexcept { return released_; }
    [[nodiscard]] std::size_t end() const noexcept { return released_ + held_.size(); }

private:
    struct Held {
        FrameMotion motion;
        bool covered = false;
    };
    // A .. B; first > last if there is none.
    struct Overlap {
        std::size_t first = 0;
        std::size_t last = 0;

        [[nodiscard]] bool any() const noexcept { return first <= last; }
        [[nodiscard]] double weight(std::size_t i) const noexcept;  // w_i
    };

    [[nodiscard]] Overlap overlap_of(const BlockFit& fit, std::size_t none) const;
    void compare(const BlockFit& fit, const Overlap& overlap, BlockRecord& record) const;
    void put(const BlockFit& fit, const Overlap& overlap, const BlockRecord& record);

    double frame_rate_;
    double drift_time_;
    double largest_jump_;
    std::size_t released_ = 0;
    std::vector<Held> held_;
};

}  // namespace echosieve
