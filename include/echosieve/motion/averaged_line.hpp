// A line averaged over a few frames at a time, what is known of its motion turned back: walls are
// looked for and taken apart in fewer frames, and then followed in all.
#pragma once

#include <Eigen/Core>

#include "echosieve/motion/common_motion.hpp"
#include "echosieve/motion/line.hpp"
#include "echosieve/motion/wall_separation.hpp"

namespace echosieve {

// Symbols
//   n     frames a block;  h = n / f_r its length [s];  u_i(z) = a(z) p_i + b(z) q_i + slow path
//   k     2 pi f_0 2 / c
//   Y_B(z) = exp(-i k U_B) mean_{i in B} y_i(z) exp(i k u_i),   U_B = mean u_i
//
// Turned back by u, an average loses only what an echo moves by beside the tissue around it within
// a block: half a micrometre a frame too much at 4 ms and 10 mm/s is 1 rad over the block, and 4 %
// of the amplitude.

/// A recording's line and common motion in blocks of frames.
struct AveragedLine {
    LineHistory line;      ///< a frame a block, the frame rate accordingly
    CommonMotion motion;   ///< its time courses averaged, all else as it was
    Eigen::Index length = 1;  ///< n
};

/// Blocks of `length` >= 1 frames; the last one may have fewer. A block is usable if at least half
/// of its frames are, and holds those; what is not usable is bridged. Length 1 changes nothing.
[[nodiscard]] AveragedLine averaged_line(const LineHistory& line, const CommonMotion& motion,
                                         Eigen::Index length);

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
