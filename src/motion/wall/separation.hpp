// Both walls taken out of the tissue on them: layers of all gates and the common time courses
// fitted together.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/layers/gap_settling.hpp"
#include "motion/layers/joint_motion.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/finder.hpp"
#include "motion/wall/fit.hpp"
#include "motion/wall/model.hpp"
#include "motion/wall/reference_layer.hpp"
#include "motion/wall/tissue_lag.hpp"

namespace echosieve {

struct SeparatedWalls {
    LayerTimes times;
    SeparatedWall near;
    SeparatedWall far;
    std::vector<LayeredGate> tissue;
};

/// Half the length of the gates in which walls are separated [m].
[[nodiscard]] inline double separation_half_gate(const Sensor& sensor) noexcept {
    return std::max(wall_half_gate(sensor), 1e-3);
}

/// The gate at a wall's depth, depth +- half_gate [m], moved along with the wall.
[[nodiscard]] GateSpectrum wall_gate(const LineHistory& line, const WallState& wall,
                                     const LayerTimes& times, double half_gate);

/// Takes a pair of walls apart from the tissue on them. `tissue` are one-layer gates all along the
/// line; those near the walls are left out.
[[nodiscard]] SeparatedWalls separate_walls(const LineHistory& line, const WallPair& pair,
                                            LayerTimes times, std::vector<LayeredGate> tissue,
                                            const WallSeparationOptions& options = {});

}  // namespace echosieve
