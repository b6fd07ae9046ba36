// What several lines say of the artery together: its mean motion, and how they lie on it.
#pragma once

#include <span>
#include <vector>

#include "echosieve/motion/lines_motion.hpp"

namespace echosieve {

// Symbols (the rest as in lines_motion.hpp)
//   z_l, Z = sum w_l z_l / sum w_l     mean depths of a line's wall, of the artery's
//   u(i) = Z + sum w_l (u_l(i) - z_l) / sum w_l, over the lines that are valid in frame i: lines
//   that come and go don't make it jump
//   s(i)^2 = sum w_l^2 s_l(i)^2 / (sum w_l)^2

/// Sets the lines' weights and the artery's frames. A line whose walls move by other shares than
/// the middle line's, by far more than its deviation, has no weight.
void pool_lines(LinesMotion& motion);

/// Sets the delays of the lines that have a weight, by what each diameter has of the artery's own
/// slope in time:
///   D_l = alpha D - alpha d D' + rest,   by least squares;
/// the rest is taken for alike within a tenth of a second and from beat to beat, and independent
/// beside that.
void set_delays(LinesMotion& motion, double frame_rate);

/// Where the lines lie on the vessel, from their depths and delays. `recorded` has their places.
[[nodiscard]] LinesPlacement placement_of(const std::vector<LineMotion>& lines,
                                          const std::vector<double>& positions,
                                          const std::vector<double>& offsets);

}  // namespace echosieve
