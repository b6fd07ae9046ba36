// What finder, fit and model of a wall believe alike: how large shares can be, how long gates are,
// what a pulse's spectrum looks like, and how far frames may differ that are averaged.
#pragma once

#include <Eigen/Core>
#include <algorithm>

#include "echosieve/core/recording.hpp"
#include "motion/layers/group_means.hpp"

namespace echosieve {

/// Shares that are fitted are held within these [m]: a wall moves, and by far less than it is wide
/// over a pulse. A fit that runs away ends at the second, and no search takes what it finds there.
inline constexpr double smallest_wall_share = 1e-9;
inline constexpr double largest_wall_share = 3e-3;

/// The share within those bounds; the smallest for a NaN.
[[nodiscard]] inline double held_share(double share) noexcept {
    return share > smallest_wall_share ? std::min(share, largest_wall_share) : smallest_wall_share;
}

/// Strain over an incompressible tube's: how many standard deviations from its mean it is looked
/// for, and what it is at most.
inline constexpr double furthest_strain = 1.5;
inline constexpr double largest_strain = 1.6;

/// Of an artery, where its walls have come too close [m].
inline constexpr double smallest_radius = 1e-3;

/// Lengths of what a pulse smears are said for this bandwidth [Hz], and go with its inverse.
inline constexpr double stated_bandwidth = 1e6;

/// Half length of a gate that holds a wall [m]: its layers, and a pulse's length beside them.
[[nodiscard]] inline double wall_half_gate(const Sensor& sensor) noexcept {
    constexpr double half_wall = 0.4e-3;   // [m]
    constexpr double half_pulse = 0.9e-3;  // at the stated bandwidth [m]
    return half_wall + half_pulse * (stated_bandwidth / sensor.bandwidth);
}

/// Half the length of the gates in which walls are separated [m].
[[nodiscard]] inline double separation_half_gate(const Sensor& sensor) noexcept {
    constexpr double shortest = 1e-3;  // [m]: a wall of two layers, whatever the pulse
    return std::max(wall_half_gate(sensor), shortest);
}

/// |P(f)|^2 of a Gaussian pulse that has lost 6 dB at the band's ends, 1 at its centre, per
/// frequency [Hz]; 0.01 where it would be less: there the pulse is unsure.
[[nodiscard]] Eigen::ArrayXd pulse_power(const Eigen::ArrayXd& frequencies, const Sensor& sensor);

/// Frames that are averaged while a wall is looked for or taken apart, as the options say.
struct AveragedFrames {
    double interval = 0;          ///< together they weigh 1 [s]
    double longest_interval = 0;  ///< [s]
    double largest_turn = 0;      ///< of an echo against what the average is turned by [rad]
};

/// How far frames may differ, if echoes lie up to `pulse` [m, over the range of p] and `bulk` (b)
/// from the layer that an average is turned by.
[[nodiscard]] QuietGroupLimits quiet_limits(const AveragedFrames& averaged,
                                            const RecordingSettings& settings, double pulse,
                                            double bulk);

}  // namespace echosieve
