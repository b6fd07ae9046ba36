// How well a measured motion agrees with the truth of a synthetic recording.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <stdexcept>
#include <vector>

#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/synthesis/render.hpp"

namespace examples {

// Symbols
//   x_i measured, t_i true, over the frames that were not dropped and have a depth;  e_i = x_i -
//   t_i rms   = standard deviation of e: a constant offset is no error of motion gain  = sum (x -
//   mean x)(t - mean t) / sum (t - mean t)^2;  gain error = gain - 1 depth = mean of e
//
// A wall has two layers, and a method may follow either: each score is against the layer with the
// smaller rms, each quantity choosing for itself.

/// Per frame: depths [m], and which frames the method calls valid.
struct MeasuredWalls {
    std::vector<double> near;
    std::vector<double> far;
    std::vector<bool> valid;
};

inline MeasuredWalls measured_walls(const echosieve::ArteryMotion& motion) {
    MeasuredWalls walls;
    for (const echosieve::FrameMotion& frame : motion) {
        walls.near.push_back(frame.near_wall);
        walls.far.push_back(frame.far_wall);
        walls.valid.push_back(frame.valid);
    }
    return walls;
}

inline constexpr double close_motion = 20e-6;  ///< what the quality of a frame refers to [m]

struct Agreement {
    double rms = 0;         ///< mean removed [m]
    double gain_error = 0;  ///< 0 where the size of the motion is right; NaN if the truth rests
    double offset = 0;      ///< mean error [m]
};

struct Score {
    Agreement near;
    Agreement far;
    Agreement distension;
    Agreement valid_distension;  ///< over the valid frames alone
    double near_depth = 0;       ///< mean error against the outer layer [m]
    double far_depth = 0;
    std::size_t measured = 0;     ///< frames that were not dropped
    std::size_t valid = 0;        ///< of those, how many are called valid
    std::size_t false_valid = 0;  ///< dropped frames called valid
};

/// Throws std::invalid_argument if the lengths differ or there are no frames.
inline Agreement agreement(const std::vector<double>& x, const std::vector<double>& t) {
    if (x.size() != t.size() || x.empty()) {
        throw std::invalid_argument("measured and true motion differ in length, or are empty");
    }
    const double count = static_cast<double>(x.size());
    double mean_x = 0, mean_t = 0;
    for (std::size_t i = 0; i < x.size(); ++i) {
        mean_x += x[i] / count;
        mean_t += t[i] / count;
    }
    double square = 0, cross = 0, energy = 0;
    for (std::size_t i = 0; i < x.size(); ++i) {
        const double dx = x[i] - mean_x;
        const double dt = t[i] - mean_t;
        square += (dx - dt) * (dx - dt);
        cross += dx * dt;
        energy += dt * dt;
    }
    const double gain = energy > 0 ? cross / energy : std::numeric_limits<double>::quiet_NaN();
    return {std::sqrt(square / count), gain - 1, mean_x - mean_t};
}

inline Score score(const MeasuredWalls& measured, const echosieve::Truth& truth) {
    const std::size_t frames = truth.walls.size();
    if (measured.near.size() != frames || measured.far.size() != frames ||
        measured.valid.size() != frames || truth.dropped.size() != frames) {
        throw std::invalid_argument("measured and true motion differ in length");
    }
    Score result;
    std::vector<double> near, far, diameter;
    std::vector<bool> valid;
    std::vector<double> true_near[2], true_far[2], true_diameter[2];
    for (std::size_t i = 0; i < frames; ++i) {
        if (truth.dropped[i]) {
            result.false_valid += measured.valid[i] ? 1 : 0;
            continue;
        }
        ++result.measured;
        result.valid += measured.valid[i] ? 1 : 0;
        if (!std::isfinite(measured.near[i]) || !std::isfinite(measured.far[i])) {
            continue;  // no block of a long recording covers it
        }
        near.push_back(measured.near[i]);
        far.push_back(measured.far[i]);
        diameter.push_back(measured.far[i] - measured.near[i]);
        valid.push_back(measured.valid[i]);
        const echosieve::WallDepths& w = truth.walls[i];
        true_near[0].push_back(w.near_inner);
        true_near[1].push_back(w.near_outer);
        true_far[0].push_back(w.far_inner);
        true_far[1].push_back(w.far_outer);
        true_diameter[0].push_back(w.far_inner - w.near_inner);
        true_diameter[1].push_back(w.far_outer - w.near_outer);
    }
    const auto better = [](const std::vector<double>& x, const std::vector<double>(&t)[2]) {
        const Agreement inner = agreement(x, t[0]);
        const Agreement outer = agreement(x, t[1]);
        return inner.rms < outer.rms ? inner : outer;
    };
    result.near = better(near, true_near);
    result.far = better(far, true_far);
    result.distension = better(diameter, true_diameter);
    if (std::ranges::find(valid, true) != valid.end()) {
        const auto kept = [&](const std::vector<double>& x) {
            std::vector<double> out;
            for (std::size_t i = 0; i < x.size(); ++i) {
                if (valid[i]) {
                    out.push_back(x[i]);
                }
            }
            return out;
        };
        const std::vector<double> layers[2] = {kept(true_diameter[0]), kept(true_diameter[1])};
        result.valid_distension = better(kept(diameter), layers);
    }
    result.near_depth = agreement(near, true_near[1]).offset;
    result.far_depth = agreement(far, true_far[1]).offset;
    return result;
}

/// Error of one wall's displacement per frame, mean removed, against the layer that fits better
/// [m]; NaN in frames that were dropped or have no depth. Throws as `agreement` does.
inline std::vector<double> displacement_errors(const std::vector<double>& measured,
                                               const echosieve::Truth& truth, bool far) {
    std::vector<double> x, layers[2];
    std::vector<std::size_t> places;
    for (std::size_t i = 0; i < measured.size(); ++i) {
        if (!truth.dropped[i] && std::isfinite(measured[i])) {
            const echosieve::WallDepths& w = truth.walls[i];
            x.push_back(measured[i]);
            layers[0].push_back(far ? w.far_inner : w.near_inner);
            layers[1].push_back(far ? w.far_outer : w.near_outer);
            places.push_back(i);
        }
    }
    const Agreement inner = agreement(x, layers[0]);
    const Agreement outer = agreement(x, layers[1]);
    const bool first = inner.rms < outer.rms;
    const double offset = first ? inner.offset : outer.offset;
    const std::vector<double>& t = layers[first ? 0 : 1];
    std::vector<double> errors(measured.size(), std::numeric_limits<double>::quiet_NaN());
    for (std::size_t k = 0; k < x.size(); ++k) {
        errors[places[k]] = x[k] - t[k] - offset;
    }
    return errors;
}

}  // namespace examples
