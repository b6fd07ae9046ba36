// A wall's place and share from the likelihood of its gate, and its gate taken apart accordingly.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cstddef>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "motion/layers/joint_motion.hpp"
#include "motion/layers/layers.hpp"
#include "motion/wall/model.hpp"

namespace echosieve {

/// What is in doubt about a wall once it is taken apart.
struct WallDoubt {
    double presence = 0;      ///< see wall_presence
    double pulse_drift = 0;   ///< rms of the pulse that it moves with, slower than any beat
    double scatter = 0;       ///< see share_scatter [m]
    double separability = 0;  ///< phi [rad]
};

/// One wall and what overlaps it.
struct SeparatedWall {
    WallState state;
    LayeredGate layered;          ///< the first `wall_layers` layers are the wall's
    std::size_t wall_layers = 1;  ///< of the sheet, from outside towards the lumen
    std::size_t reference = 0;    ///< which of them lies at the wall's depth
    double evidence = 0;          ///< logarithm, over that of the tissue alone
    double mean_evidence = 0;     ///< that over the independent values of the gate
    WallDoubt doubt;
    bool other_cycle = false;     ///< a search over the carrier's cycles moved it
    double tissue_linearity = 0;  ///< of the tissue's pulse_share_line
    double tissue_line = 0;  ///< pulse share of a straight line through the tissue's, there [m]

    /// The wall's pulse share, deeper positive, and its bulk share.
    [[nodiscard]] LayerShare share() const noexcept {
        return {state.sense * state.share, state.bulk};
    }
    /// Spectrum of the wall at rest, [bins].
    [[nodiscard]] Eigen::ArrayXcd spectrum() const;
    /// What the wall alone would show in every frame, [frames x bins].
    [[nodiscard]] Eigen::ArrayXXcd echoes(const LayerTimes& times) const;
};

/// Both walls, the tissue beside them, and the courses that all follow.
struct SeparatedWalls {
    LayerTimes times;
    SeparatedWall near;
    SeparatedWall far;
    std::vector<LayeredGate> tissue;
};

/// The gate at a wall's depth, depth +- half_gate [m], moved along with the wall.
[[nodiscard]] GateSpectrum wall_gate(const LineHistory& line, const WallState& wall,
                                     const LayerTimes& times, double half_gate);

/// Shares that are tried, as parts of the start's: even in the logarithm.
struct ShareGrid {
    double lowest = 0.6;
    double highest = 1.6;
    int count = 21;
};

/// Bounds of the share while it is looked for [m].
struct ShareBounds {
    double smallest = 0;
    double largest = 0;  ///< 0: ten times the start's
};

/// Where the likelihood is looked at.
struct LikelihoodGrid {
    ShareGrid shares;
    std::vector<double> offsets = {0};  ///< of the depth [m]
    ShareBounds bounds;
    bool priors = true;  ///< reach and power of the tissue, power of the wall
};

void validate(const LikelihoodGrid& search);

/// The share that is most likely, and how sure it is; `noise` [per group and bin] is updated.
/// Depth and share are searched together; the share's mean and standard deviation are those of its
/// likelihood, strain marginalised.
[[nodiscard]] WallState likeliest_wall(WallModel& model, const WallState& start,
                                       const LikelihoodGrid& search,
                                       const WallModelOptions& options, double& noise);

/// Noise [per group and bin] at which states of a wall are compared: what the gate's layers leave
/// now, times `part`, but no less than the model is good for.
[[nodiscard]] double noise_of(const WallModel& model, const LayeredGate& layered,
                              const WallModelOptions& options, double part = 1);

/// How a motion of its own [m, per frame] turns a wall's echoes, [frames x bins].
[[nodiscard]] Eigen::ArrayXXcd own_phasors(const GateSpectrum& gate, const LayerTimes& times,
                                           const Eigen::ArrayXd& own);

/// The gate's layers as the model has them, over all frames.
[[nodiscard]] LayerFit layered_fit(const GateSpectrum& gate, const LayerTimes& times,
                                   const WallModel::Layers& layers, const Eigen::ArrayXd& own);

}  // namespace echosieve
