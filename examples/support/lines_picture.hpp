// The picture of several lines over one artery.
#pragma once

#include <vector>

#include "echosieve/motion/track_lines.hpp"
#include "support/results.hpp"

namespace examples {

inline constexpr const char* lines_picture = "lines.png";

/// Draws it into the results: the distension of every line followed, with the artery's; by how much
/// they differ; and each line's delay over its position along the vessel [m], or over its number
/// where those are not known. Throws std::runtime_error if gnuplot fails or the picture is not
/// whole.
void draw_lines(const echosieve::LinesMotion& motion, const std::vector<double>& positions,
                const Results& results);

}  // namespace examples
