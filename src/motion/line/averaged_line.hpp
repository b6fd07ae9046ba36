// A line averaged over a few frames at a time, what is known of its motion turned back: walls are
// looked for and taken apart in fewer frames, and then followed in all.
#pragma once

#include <Eigen/Core>

#include "motion/line/frame_groups.hpp"
#include "motion/line/line.hpp"

namespace echosieve {

// Symbols
//   n     frames a group;  h = n / f_r its length [s];  u_i a motion of the line as a whole
//   k     2 pi f_0 2 / c
//   Y_G(z) = exp(-i k U_G) mean_{i in G} y_i(z) exp(i k u_i),   U_G = mean u_i
//
// Turned back by u, an average loses only what an echo moves by beside u within a group: at 4 ms
// and 8 mm/s, the fastest that a wall moves, that is 1 rad over the group and 4 % of the amplitude.

/// The line in groups of frames, `path` [m] turned back within each. A group is usable if at least
/// half of its frames are, and holds those; what is not usable is bridged. The frame rate is that
/// of groups of groups.unit frames. Throws InvalidInput unless the path has an entry a frame.
[[nodiscard]] LineHistory averaged_line(const LineHistory& line, const Eigen::ArrayXd& path,
                                        const FrameGroups& groups);

/// A course of which `means` over groups of `length` frames are known, at each of `frames` frames:
/// the cubic through four groups' middles, with the group's own rounding made good (the mean of a
/// sinusoid over h is smaller by 1 - (pi f h)^2 / 6). Error below 0.2 % of a part of the course at
/// f = 0.08 / h. Throws InvalidInput unless the groups cover the frames.
[[nodiscard]] Eigen::ArrayXd course_of_means(const Eigen::ArrayXd& means, Eigen::Index frames,
                                             Eigen::Index length);

}  // namespace echosieve
