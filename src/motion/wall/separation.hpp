// Both walls taken out of the tissue on them: layers of all gates and the common time courses
// fitted together.
#pragma once

#include <vector>

#include "echosieve/motion/wall_options.hpp"
#include "motion/layers/joint_motion.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/finder.hpp"
#include "motion/wall/fit.hpp"

namespace echosieve {

/// Takes a pair of walls apart from the tissue on them. `tissue` are one-layer gates all along the
/// line; those near the walls are left out.
[[nodiscard]] SeparatedWalls separate_walls(const LineHistory& line, const WallPair& pair,
                                            LayerTimes times, std::vector<LayeredGate> tissue,
                                            const WallSeparationOptions& options = {});

}  // namespace echosieve
