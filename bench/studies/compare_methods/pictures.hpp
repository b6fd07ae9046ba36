// The pictures of compare_methods, drawn by gnuplot.
#pragma once

#include <vector>

#include "support/results.hpp"
#include "table.hpp"

namespace compare_methods {

/// Draws the picture of each sweep that has one into the results' folder pictures. Throws
/// std::runtime_error if gnuplot fails or a picture is not whole.
void draw_pictures(const std::vector<SweepRows>& sweeps, examples::Results& results);

}  // namespace compare_methods
