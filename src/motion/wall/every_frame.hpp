// Walls taken apart in groups of frames, brought back to every frame.
#pragma once

#include <Eigen/Core>

#include "motion/line/line.hpp"
#include "motion/wall/fit.hpp"

namespace echosieve {

/// Walls that were taken apart on the averaged line, in all frames of the line: their time courses
/// between the groups, their layers' spectra as they are, and what those leave of every frame. The
/// tissue's gates are left out.
[[nodiscard]] SeparatedWalls at_every_frame(const LineHistory& line, const SeparatedWalls& averaged,
                                            Eigen::Index length);

}  // namespace echosieve
