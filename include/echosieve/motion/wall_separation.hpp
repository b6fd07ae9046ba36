// Both walls taken out of the tissue on them: layers of all gates and the common time courses
// fitted together.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion.hpp"
#include "echosieve/motion/gap_settling.hpp"
#include "echosieve/motion/joint_motion.hpp"
#include "echosieve/motion/layers.hpp"
#include "echosieve/motion/line.hpp"
#include "echosieve/motion/reference_layer.hpp"
#include "echosieve/motion/tissue_lag.hpp"
#include "echosieve/motion/wall_finder.hpp"
#include "echosieve/motion/wall_fit.hpp"
#include "echosieve/motion/wall_model.hpp"

namespace echosieve {

struct WallSeparationOptions {
    double tissue_half_gate = 0.8e-3;  ///< [m]
    double tissue_spacing = 1e-3;      ///< [m]
    double wall_distance = 1.5e-3;     ///< of tissue gates from the walls [m]
    double bulk_reach = 0.7;           ///< of a wall's b from the line's
    bool search_cycles = true;         ///< look for a wall's cycle over all within reach
    int rounds = 3;       ///< of shares and time courses in turn, before the walls are placed
    int fine_rounds = 5;  ///< and after
    JointMotionOptions coarse{};
    JointMotionOptions fine{.pulse_cutoff = 35};
    GapSettlingOptions gaps;
    TissueLagOptions lag;
    ReferenceLayerOptions reference;
    WallModelOptions model;
};

inline void validate(const WallSeparationOptions& options) {
    require(options.tissue_half_gate > 0, "tissue_half_gate", options.tissue_half_gate,
            "must be positive [m]");
    require(options.tissue_spacing > 0, "tissue_spacing", options.tissue_spacing,
            "must be positive [m]");
    require(options.wall_distance > 0, "wall_distance", options.wall_distance,
            "must be positive [m]");
    require(options.bulk_reach > 0, "bulk_reach", options.bulk_reach, "must be positive");
    require(options.rounds >= 1, "rounds", options.rounds, "must be at least 1");
    require(options.fine_rounds >= 1, "fine_rounds", options.fine_rounds, "must be at least 1");
    validate(options.coarse);
    validate(options.fine);
    validate(options.gaps);
    validate(options.lag);
    validate(options.reference);
    validate(options.model);
}

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

/// Rounds of shares and time courses in turn.
void fit_jointly(std::vector<LayeredGate>& gates, LayerTimes& times, int rounds,
                 const JointMotionOptions& options, double frame_rate);

/// Takes a pair of walls apart from the tissue on them. `tissue` are one-layer gates all along the
/// line; those near the walls are left out.
[[nodiscard]] SeparatedWalls separate_walls(const LineHistory& line, const WallPair& pair,
                                            LayerTimes times, std::vector<LayeredGate> tissue,
                                            const WallSeparationOptions& options = {});

}  // namespace echosieve
