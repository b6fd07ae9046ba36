// The pictures of a tournament, drawn by gnuplot.
#pragma once

#include <filesystem>

#include "tournament.hpp"

namespace bench {

/// Draws into `folder`: parts of the runs that succeeded within so many evaluations and so much
/// time, and which methods solve which problems. Throws std::runtime_error if gnuplot is missing or
/// fails.
void draw_pictures(const Tournament& t, const std::filesystem::path& folder);

}  // namespace bench
