// Finds the artery without a gate: two walls that move apart with the pulse.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <optional>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion.hpp"
#include "echosieve/motion/layer_start.hpp"
#include "echosieve/motion/layers.hpp"
#include "echosieve/motion/line.hpp"

namespace echosieve {

// Symbols
//   y'(z, i) baseband with the bulk motion b(z) q_i turned back;  L a lag of a few milliseconds
//   V(z) = - sum_i (p_{i+L} - p_i) Im(conj(y'_i) y'_{i+L}) / |p_{i+L} - p_i|
//
// V is the echo strength at z times the rate at which it follows the pulse: negative where the echo
// rises (near wall), positive where it sinks (far wall). Its extremes are candidates; each is
// judged by a two-layer fit.

struct WallFinderOptions {
    double dead_zone =
        3.0e-3;  ///< depth below the first sample where no wall is looked for (ring-down) [m]
    double smallest_diameter = 3e-3;  ///< between the walls [m]
    double largest_diameter = 13e-3;  ///< [m]
    double half_gate = 1.3e-3;        ///< of the two-layer fits [m]
    double lag = 4e-3;                ///< L [s]
    std::size_t candidates = 3;       ///< extremes tried per wall
    double lowest_extreme = 0.2;      ///< of the largest extreme of that sign
    double separation = 0.7e-3;       ///< between extremes [m]
    double smallest_motion = 30e-6;   ///< between a wall and the tissue on it [m]
    double lowest_gain = 0.1;  ///< part of the one-layer misfit that the second layer must explain
    double largest_residual =
        0.5;  ///< part of a gate's power that wall and tissue may leave unexplained
    LayerStartOptions start;
};

inline void validate(const WallFinderOptions& options) {
    require(options.dead_zone >= 0, "dead_zone", options.dead_zone, "must be zero or more [m]");
    require(options.smallest_diameter > 0, "smallest_diameter", options.smallest_diameter,
            "must be positive [m]");
    require(options.largest_diameter > options.smallest_diameter, "largest_diameter",
            options.largest_diameter, "must exceed smallest_diameter [m]");
    require(options.half_gate > 0, "half_gate", options.half_gate, "must be positive [m]");
    require(options.lag > 0, "lag", options.lag, "must be positive [s]");
    require(options.candidates >= 1, "candidates", options.candidates, "must be at least 1");
    require(options.start.frame_step >= 1, "start.frame_step", options.start.frame_step,
            "must be at least 1");
}

/// A place where a wall may be, with its gate taken apart: layer 0 the wall, layer 1 the tissue on
/// it.
struct WallCandidate {
    double depth = 0;     ///< centre of the gate [m]
    double strength = 0;  ///< |V| there
    GateSpectrum gate;
    LayerFit fit;
    double gain = 0;       ///< cost that the second layer takes away
    double gain_part = 0;  ///< the same, as a part of the cost with one layer

    /// How far the wall moves against its tissue over the range of the pulse [m].
    [[nodiscard]] double relative_motion() const noexcept {
        return std::abs(fit.shares[0].pulse - fit.shares[1].pulse);
    }
};

struct WallPair {
    WallCandidate near;
    WallCandidate far;
    double pulse_sign = 1;  ///< p times this widens the artery
    double score = 0;
};

/// V over the baseband samples.
[[nodiscard]] inline Eigen::ArrayXd pulse_power(const LineHistory& line, const CommonMotion& motion,
                                                double lag_time) {
    const Eigen::Index frames = line.frames();
    const Eigen::Index lag =
        std::clamp<Eigen::Index>(std::lround(lag_time * line.settings.frame_rate), 1, frames - 1);
    const Eigen::Index pairs = frames - lag;
    const Eigen::ArrayXd smooth =
        gaussian_smooth<double>(motion.pulse, 0.006 * line.settings.frame_rate);
    Eigen::ArrayXd rate = smooth.tail(pairs) - smooth.head(pairs);
    rate -= rate.mean();
    const Eigen::ArrayXd weight = line.weights();
    rate *=
        weight.tail(pairs) * weight.head(pairs) / std::sqrt(std::max(rate.square().sum(), 1e-300));
    Eigen::ArrayXd power(line.samples.cols());
    const double scale = line.phase_per_metre(line.settings.sensor.centre_frequency);
    const Eigen::ArrayXd bulk_change = motion.bulk.tail(pairs) - motion.bulk.head(pairs);
    for (Eigen::Index k = 0; k < power.size(); ++k) {
        const double share = scale * motion.bulk_share_at(line.depth(static_cast<double>(k)));
        const Eigen::ArrayXcd turn =
            (std::complex<double>(0, share) * bulk_change.cast<std::complex<double>>()).exp();
        const auto column = line.samples.col(k);
        power[k] =
            -(rate * (column.head(pairs).conjugate() * column.tail(pairs) * turn).imag()).sum();
    }
    const double sigma = 0.3e-3 / (line.depth(1) - line.depth(0));
    return gaussian_smooth<double>(power, sigma);
}

namespace detail {

struct Extreme {
    double depth = 0;
    double strength = 0;
};

// Largest first; a maximum cut off by a stronger neighbour's separation zone is not one.
[[nodiscard]] inline std::vector<Extreme> extremes(const LineHistory& line,
                                                   const Eigen::ArrayXd& power,
                                                   const WallFinderOptions& options) {
    Eigen::ArrayXd left = power.max(0);
    for (Eigen::Index k = 0; k < left.size(); ++k) {
        if (line.depth(static_cast<double>(k)) < line.first_depth() + options.dead_zone) {
            left[k] = 0;
        }
    }
    std::vector<Extreme> found;
    const double largest = left.maxCoeff();
    Eigen::Index place = 0;
    while (found.size() < options.candidates &&
           left.maxCoeff(&place) > options.lowest_extreme * largest) {
        const double depth = line.depth(static_cast<double>(place));
        const bool rises_left = place > 0 && left[place - 1] > left[place];
        const bool rises_right = place + 1 < left.size() && left[place + 1] > left[place];
        const bool cut =
            (place > 0 && left[place - 1] == 0 && power[place - 1] > power[place]) ||
            (place + 1 < left.size() && left[place + 1] == 0 && power[place + 1] > power[place]);
        if (!rises_left && !rises_right && !cut) {
            found.push_back({depth, power[place]});
        }
        for (Eigen::Index k = 0; k < left.size(); ++k) {
            if (std::abs(line.depth(static_cast<double>(k)) - depth) < options.separation) {
                left[k] = 0;
            }
        }
    }
    return found;
}

}  // namespace detail

/// Takes the gate at `depth` apart into wall and tissue; nothing if no start ends with a wall that
/// outruns its tissue in the direction of `sign`, or the gate does not fit into the line.
[[nodiscard]] inline std::optional<WallCandidate> judge_wall(const LineHistory& line,
                                                             const CommonMotion& motion,
                                                             const LayerTimes& times, double depth,
                                                             double sign,
                                                             const WallFinderOptions& options) {
    WallCandidate wall;
    wall.depth = depth;
    wall.gate = gate_spectrum(line, depth, options.half_gate);
    const auto starts =
        find_layer_starts(wall.gate, times, sign, motion.bulk_share_at(depth), options.start);
    bool found = false;
    for (const LayerStart& start : starts) {
        LayerFit fit = fit_layers(wall.gate, times, {start.wall, start.tissue});
        if (sign * (fit.shares[0].pulse - fit.shares[1].pulse) > 0 &&
            (!found || fit.cost < wall.fit.cost)) {
            wall.fit = std::move(fit);
            found = true;
        }
    }
    if (!found) {
        return std::nullopt;
    }
    const double one_layer = std::min(fit_layers(wall.gate, times, {wall.fit.shares[0]}).cost,
                                      fit_layers(wall.gate, times, {wall.fit.shares[1]}).cost);
    wall.gain = std::max(one_layer - wall.fit.cost, 0.0);
    wall.gain_part = one_layer > 0 ? wall.gain / one_layer : 0;
    return wall;
}

namespace detail {

// Belief that a candidate is a wall with tissue on it: well explained, moving against its tissue,
// and not the ring-down of the sensor, which does not breathe.
[[nodiscard]] inline double wall_belief(const WallCandidate& wall, double smallest_motion) {
    const double explained = 1 - wall.fit.residual();
    const double motion = wall.relative_motion() / (wall.relative_motion() + smallest_motion);
    const bool breathes = std::min(wall.fit.shares[0].bulk, wall.fit.shares[1].bulk) > 0.5;
    return wall.gain_part * explained * explained * motion * (breathes ? 1 : 0.05);
}

}  // namespace detail

/// The pair of walls with the highest score, or nothing: no extremes of opposite sign at a possible
/// distance, or no pair whose walls move against their tissue by smallest_motion and need a second
/// layer (lowest_gain).
[[nodiscard]] inline std::optional<WallPair> find_walls(const LineHistory& line,
                                                        const CommonMotion& motion,
                                                        const WallFinderOptions& options = {}) {
    validate(options);
    if (!motion.usable()) {
        return std::nullopt;
    }
    const Eigen::ArrayXd power = pulse_power(line, motion, options.lag);
    // The sign of p is only a guess: the stronger of the two possible pairs decides.
    double sign = 0;
    double strongest = 0;
    for (const double trial : {1.0, -1.0}) {
        for (const auto& n : detail::extremes(line, -trial * power, options)) {
            for (const auto& f : detail::extremes(line, trial * power, options)) {
                const double diameter = f.depth - n.depth;
                const double strength = std::sqrt(n.strength * f.strength);
                if (diameter >= options.smallest_diameter && diameter <= options.largest_diameter &&
                    strength > strongest) {
                    strongest = strength;
                    sign = trial;
                }
            }
        }
    }
    if (sign == 0) {
        return std::nullopt;
    }
    const LayerTimes times{sign * motion.pulse, motion.bulk, line.weights(),
                           line.settings.sound_speed};
    const auto judged = [&](double direction) {
        std::vector<WallCandidate> walls;
        for (const auto& extreme : detail::extremes(line, direction * sign * power, options)) {
            if (auto wall = judge_wall(line, motion, times, extreme.depth, direction, options)) {
                wall->strength = extreme.strength;
                walls.push_back(std::move(*wall));
            }
        }
        return walls;
    };
    const std::vector<WallCandidate> nears = judged(-1);
    const std::vector<WallCandidate> fars = judged(1);
    std::optional<WallPair> best;
    for (const WallCandidate& n : nears) {
        for (const WallCandidate& f : fars) {
            const double diameter = f.depth - n.depth;
            const bool possible =
                diameter >= options.smallest_diameter && diameter <= options.largest_diameter &&
                n.relative_motion() >= options.smallest_motion &&
                f.relative_motion() >= options.smallest_motion &&
                n.gain_part >= options.lowest_gain && f.gain_part >= options.lowest_gain &&
                n.fit.residual() <= options.largest_residual &&
                f.fit.residual() <= options.largest_residual;
            const double score = std::sqrt(n.gain * f.gain) *
                                 detail::wall_belief(n, options.smallest_motion) *
                                 detail::wall_belief(f, options.smallest_motion);
            if (possible && (!best || score > best->score)) {
                best = WallPair{n, f, sign, score};
            }
        }
    }
    return best;
}

}  // namespace echosieve
