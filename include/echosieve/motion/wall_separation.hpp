// Both walls taken out of the tissue on them: layers of all gates and the common time courses
// fitted together.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion.hpp"
#include "echosieve/motion/joint_motion.hpp"
#include "echosieve/motion/layers.hpp"
#include "echosieve/motion/line.hpp"
#include "echosieve/motion/reference_layer.hpp"
#include "echosieve/motion/wall_finder.hpp"

namespace echosieve {

// Symbols (the rest as in layers.hpp)
//   z_r   depth of the layer followed;  D = z_r far - z_r near
//   a(z) = a_w - kappa (a_far - a_near) / D (z - z_r)
//         the wall's share over its own depth: it thins as it stretches, so that its inner layer
//         moves more than the outer one (kappa = 1: incompressible, at the radius D / 2)
//   C_i(f) = E_w(f, i) FT { s_w(z) [exp(-i 4 pi f_0 / c (a(z) - a_w) p_i) - 1] }
//         what that changes: taken off the gate's values, in turn with the fit

struct WallSeparationOptions {
    double tissue_half_gate = 0.8e-3;   ///< [m]
    double tissue_spacing = 1e-3;       ///< [m]
    double wall_distance = 1.5e-3;      ///< of tissue gates from the walls [m]
    double wall_strain = 0.9;           ///< kappa
    double strained_reach = 1e-3;       ///< the share changes no further than this from z_r [m]
    double largest_tissue_share = 0.5;  ///< of the wall's: beyond it a layer is no tissue
    int rounds = 3;                     ///< of shares and time courses in turn
    JointMotionOptions coarse{};
    JointMotionOptions fine{.pulse_cutoff = 35};
    ReferenceLayerOptions reference;
};

inline void validate(const WallSeparationOptions& options) {
    require(options.tissue_half_gate > 0, "tissue_half_gate", options.tissue_half_gate,
            "must be positive [m]");
    require(options.tissue_spacing > 0, "tissue_spacing", options.tissue_spacing,
            "must be positive [m]");
    require(options.wall_distance > 0, "wall_distance", options.wall_distance,
            "must be positive [m]");
    require(options.wall_strain >= 0 && options.wall_strain <= 3, "wall_strain",
            options.wall_strain, "must lie in [0, 3]");
    require(options.strained_reach > 0, "strained_reach", options.strained_reach,
            "must be positive [m]");
    require(options.largest_tissue_share > 0 && options.largest_tissue_share < 1,
            "largest_tissue_share", options.largest_tissue_share, "must lie in (0, 1)");
    require(options.rounds >= 1, "rounds", options.rounds, "must be at least 1");
    validate(options.coarse);
    validate(options.fine);
    validate(options.reference);
}

/// One wall and what overlaps it.
struct SeparatedWall {
    LayeredGate layered;        ///< layer 0 the wall, its strain taken out of the gate's values
    Eigen::ArrayXXcd measured;  ///< the gate's values as they were
    double depth = 0;           ///< z_r [m]
    double slope = 0;           ///< da/dz of the wall, for strain
    double sense = 1;           ///< -1 near wall, +1 far wall
};

struct SeparatedWalls {
    LayerTimes times;
    SeparatedWall near;
    SeparatedWall far;
    std::vector<LayeredGate> tissue;
};

/// Gates all along the line with one layer each, fitted from the shares that `motion` has nearby.
[[nodiscard]] std::vector<LayeredGate> tissue_gates(const LineHistory& line,
                                                    const CommonMotion& motion,
                                                    const LayerTimes& times,
                                                    const WallSeparationOptions& options);

/// Rounds of shares and time courses in turn.
void fit_jointly(std::vector<LayeredGate>& gates, LayerTimes& times, int rounds,
                 const JointMotionOptions& options, double frame_rate);

/// Finds both walls and takes them apart from the tissue, from a first estimate of the common
/// motion: that is refined on tissue gates, the walls are looked for (wall_finder.hpp), and all is
/// fitted jointly. Nothing if there is no pair of walls, or if it does not move apart with the
/// pulse once separated. Throws InvalidInput for options outside their domain.
[[nodiscard]] std::optional<SeparatedWalls> find_and_separate_walls(
    const LineHistory& line, CommonMotion motion, const WallFinderOptions& finder = {},
    const WallSeparationOptions& options = {});

/// Takes a pair of walls apart from the tissue on them. `tissue` are one-layer gates all along the
/// line; those near the walls are left out.
[[nodiscard]] SeparatedWalls separate_walls(const LineHistory& line, const WallPair& pair,
                                            LayerTimes times, std::vector<LayeredGate> tissue,
                                            const WallSeparationOptions& options = {});

}  // namespace echosieve
