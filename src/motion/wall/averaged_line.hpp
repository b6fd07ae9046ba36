// A line averaged over a few frames at a time, what is known of its motion turned back: walls are
// looked for and taken apart in fewer frames, and then followed in all.
#pragma once

#include <Eigen/Core>

#include "motion/layers/block_means.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/wall_separation.hpp"

namespace echosieve {

// Symbols
//   n     frames a block;  h = n / f_r its length [s];  u_i a motion of the line as a whole
//   k     2 pi f_0 2 / c
//   Y_B(z) = exp(-i k U_B) mean_{i in B} y_i(z) exp(i k u_i),   U_B = mean u_i
//
// Turned back by u, an average loses only what an echo moves by beside u within a block: at 4 ms
// and 8 mm/s, the fastest that a wall moves, that is 1 rad over the block and 4 % of the amplitude.

/// The line in blocks of frames, `path` [m] turned back within each. A block is usable if at least
/// half of its frames are, and holds those; what is not usable is bridged. The frame rate is that
/// of blocks of blocks.unit frames. Throws InvalidInput unless the path has an entry a frame.
[[nodiscard]] LineHistory averaged_line(const LineHistory& line, const Eigen::ArrayXd& path,
                                        const FrameBlocks& blocks);

/// A course of which `means` over blocks of `length` frames are known, at each of `frames` frames:
/// the cubic through four blocks' middles, with the block's own rounding made good (the mean of a
/// sinusoid over h is smaller by 1 - (pi f h)^2 / 6). Error below 0.2 % of a part of the course at
/// f = 0.08 / h. Throws InvalidInput unless the blocks cover the frames.
[[nodiscard]] Eigen::ArrayXd course_of_means(const Eigen::ArrayXd& means, Eigen::Index frames,
                                             Eigen::Index length);

/// Walls that were taken apart on the averaged line, in all frames of the line: their time courses
/// between the blocks, their layers' spectra as they are, and what those leave of every frame. The
/// tissue's gates are left out.
[[nodiscard]] SeparatedWalls at_every_frame(const LineHistory& line, const SeparatedWalls& averaged,
                                            Eigen::Index length);

}  // namespace echosieve
