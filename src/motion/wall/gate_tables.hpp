// The sums over frames that a wall's model needs of one gate, tabulated over the share.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <limits>

#include "motion/layers/layers.hpp"
#include "motion/layers/turned_sums.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve {

/// The tissue's slowest layer moves against the wall, by this part of its share.
inline constexpr double lowest_tissue = -0.15;

/// A gate averaged over groups of frames, the tissue's bulk motion turned back.
struct AveragedGate {
    GateSpectrum gate;
    LayerTimes times;      ///< of the groups
    double sense = 1;      ///< -1 near wall, +1 far wall
    double tissue = 1;     ///< b of the tissue
    double wall_bulk = 0;  ///< b of the wall beside it
    Eigen::ArrayXd own;    ///< what the wall does beyond p and q, per group [m]; empty: nothing
};

// Symbols: those of model.hpp. Rows are shares in steps; the tables differ in where share 0
// lies.
struct GateTables {
    GateTables() = default;
    /// For shares of wall and tissue up to `largest_share` [m], less if no table is meant to hold
    /// as many.
    GateTables(const AveragedGate& averaged, double largest_share);

    double step = 0;  ///< share from row to row [m]
    /// shares that the tables hold [m]: infinity unless there are too many
    double largest_layer = std::numeric_limits<double>::infinity();
    Eigen::Index below = 0;        ///< row of share 0 of the projections and of what stands still
    Eigen::Index cross_below = 0;  ///< row of no difference between wall and tissue
    Eigen::Index gram_below = 0;   ///< row of no difference between layers of a kind
    TurnedSums tissue_projection, wall_projection;  ///< E^H Y
    TurnedSums gram;                                ///< E^H E of two layers of a kind
    TurnedSums cross;                               ///< of tissue and wall
    TurnedSums still_tissue, still_wall;            ///< of what stands still and the others
    Eigen::ArrayXcd still_projection;               ///< [bins]

private:
    // Rows for shares up to `share` [m], and what the interpolation needs beyond.
    [[nodiscard]] Eigen::Index rows_to(double share) const;
    void choose_step(const AveragedGate& averaged, double& largest_share);
};

}  // namespace echosieve
