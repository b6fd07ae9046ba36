// A gate averaged over groups of frames in which little moves: fewer frames to sum over.
#pragma once

#include <Eigen/Core>

#include "motion/layers/layers.hpp"
#include "motion/line/frame_groups.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve {

/// How far frames may differ that are put together.
struct QuietGroupLimits {
    Eigen::Index unit = 1;     ///< frames that weigh 1, see FrameGroups
    Eigen::Index longest = 1;  ///< most frames a group
    double pulse = 0;          ///< largest change of p within a group
    double bulk = 0;           ///< the same of q [m]
};

/// Groups as long as the time courses stay within the limits: long in between the beats, short
/// where the pulse rises. Throws InvalidInput unless unit and longest are at least 1.
[[nodiscard]] FrameGroups quiet_groups(const LayerTimes& times, const QuietGroupLimits& limits);

/// The time courses' means over groups; a group's weight is the sum of its frames' over the unit.
/// Without the tissue's lag: groups are no even steps in time.
[[nodiscard]] LayerTimes group_means(const LayerTimes& times, const FrameGroups& groups);

/// The gate's values averaged over groups, [groups x bins]; 0 in groups without a usable frame.
/// What moves by `share` keeps its phase within a group; its bulk motion is turned back altogether,
/// of its pulse what differs from the group's mean.
[[nodiscard]] Eigen::ArrayXXcd group_means(const GateSpectrum& gate, const LayerTimes& times,
                                           const LayerShare& share, const FrameGroups& groups);

}  // namespace echosieve
