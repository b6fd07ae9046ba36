// What speaks against a pair of walls once it is taken apart.
#pragma once

#include <cstddef>

#include "echosieve/motion/wall_options.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/finder.hpp"
#include "motion/wall/fit.hpp"

namespace echosieve {

/// Fewer gates show no line of shares, and fewer gates of tissue no pulse.
inline constexpr std::ptrdiff_t fewest_tissue_gates = 3;

/// Whether what was taken apart has not turned out to be no walls.
[[nodiscard]] bool still_walls(const LineHistory& line, const SeparatedWalls& walls,
                               const WallFinderOptions& finder);

/// Sets each wall's tissue_line, from the tissue's motion and the pair as it was found.
void set_tissue_lines(SeparatedWalls& walls, const CommonMotion& motion, const WallPair& pair,
                      double wall_distance);

/// Sets each wall's doubt and the linearity of the tissue's motion.
void set_doubts(SeparatedWalls& walls, const LineHistory& line, const CommonMotion& motion,
                const WallModelOptions& options);

}  // namespace echosieve
