// The pictures of compare_methods, drawn by gnuplot.
#pragma once

#include <filesystem>
#include <vector>

#include "table.hpp"

namespace compare_methods {

/// Draws the picture of each sweep that has one into `folder`. Throws std::runtime_error if gnuplot
/// is missing or fails.
void draw_pictures(const std::vector<SweepRows>& sweeps, const std::filesystem::path& folder);

}  // namespace compare_methods
