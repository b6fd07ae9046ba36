#include "support/score.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numeric>
#include <stdexcept>
#include <utility>

namespace examples {
namespace {

using echosieve::WallDepths;

// A measured course of depths beside those of both layers.
struct Course {
    std::vector<double> measured;
    std::array<std::vector<double>, 2> layers;  // inner, outer

    void add(double x, double inner, double outer) {
        measured.push_back(x);
        layers[0].push_back(inner);
        layers[1].push_back(outer);
    }
    // The layer that fits better.
    [[nodiscard]] std::pair<Agreement, const std::vector<double>&> better() const {
        const Agreement inner = agreement(measured, layers[0]);
        const Agreement outer = agreement(measured, layers[1]);
        const bool first = inner.rms < outer.rms;
        return {first ? inner : outer, layers[first ? 0 : 1]};
    }
    [[nodiscard]] Agreement best() const { return better().first; }
};

}  // namespace

MeasuredWalls measured_walls(const echosieve::ArteryMotion& motion) {
    MeasuredWalls walls;
    for (const echosieve::FrameMotion& frame : motion) {
        walls.near.push_back(frame.near_wall);
        walls.far.push_back(frame.far_wall);
        walls.valid.push_back(frame.valid);
    }
    return walls;
}

Agreement agreement(const std::vector<double>& x, const std::vector<double>& t) {
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

Score score(const MeasuredWalls& measured, const echosieve::Truth& truth) {
    const std::size_t frames = truth.walls.size();
    if (measured.near.size() != frames || measured.far.size() != frames ||
        measured.valid.size() != frames || truth.dropped.size() != frames) {
        throw std::invalid_argument("measured and true motion differ in length");
    }
    Score result;
    Course near, far, diameter, valid_diameter;
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
        const WallDepths& w = truth.walls[i];
        near.add(measured.near[i], w.near_inner, w.near_outer);
        far.add(measured.far[i], w.far_inner, w.far_outer);
        const double inner = w.far_inner - w.near_inner;
        const double outer = w.far_outer - w.near_outer;
        diameter.add(measured.far[i] - measured.near[i], inner, outer);
        if (measured.valid[i]) {
            valid_diameter.add(measured.far[i] - measured.near[i], inner, outer);
        }
    }
    result.near = near.best();
    result.far = far.best();
    result.distension = diameter.best();
    if (!valid_diameter.measured.empty()) {
        result.valid_distension = valid_diameter.best();
    }
    result.near_depth = agreement(near.measured, near.layers[1]).offset;
    result.far_depth = agreement(far.measured, far.layers[1]).offset;
    return result;
}

namespace {

// Of a measured course against the layer that fits better, `inner` and `outer` as the walls say.
template <class Inner, class Outer>
std::vector<double> errors_of(const std::vector<double>& measured, const echosieve::Truth& truth,
                              Inner inner, Outer outer) {
    Course course;
    std::vector<std::size_t> places;
    for (std::size_t i = 0; i < measured.size(); ++i) {
        if (!truth.dropped[i] && std::isfinite(measured[i])) {
            course.add(measured[i], inner(truth.walls[i]), outer(truth.walls[i]));
            places.push_back(i);
        }
    }
    std::vector<double> errors(measured.size(), std::numeric_limits<double>::quiet_NaN());
    const auto [fit, layer] = course.better();
    for (std::size_t k = 0; k < places.size(); ++k) {
        errors[places[k]] = course.measured[k] - layer[k] - fit.offset;
    }
    return errors;
}

}  // namespace

std::vector<double> displacement_errors(const std::vector<double>& measured,
                                        const echosieve::Truth& truth, bool far) {
    return errors_of(
        measured, truth, [far](const WallDepths& w) { return far ? w.far_inner : w.near_inner; },
        [far](const WallDepths& w) { return far ? w.far_outer : w.near_outer; });
}

std::vector<double> distension_errors(const MeasuredWalls& measured,
                                      const echosieve::Truth& truth) {
    std::vector<double> diameter(measured.near.size());
    for (std::size_t i = 0; i < diameter.size(); ++i) {
        diameter[i] = measured.far[i] - measured.near[i];
    }
    return errors_of(
        diameter, truth, [](const WallDepths& w) { return w.far_inner - w.near_inner; },
        [](const WallDepths& w) { return w.far_outer - w.near_outer; });
}

ErrorParts error_parts(const std::vector<double>& errors, const echosieve::Truth& truth) {
    std::vector<double> pulse, left;
    for (std::size_t i = 0; i < errors.size(); ++i) {
        if (std::isfinite(errors[i])) {
            pulse.push_back(truth.walls[i].far_outer - truth.walls[i].near_outer);
            left.push_back(errors[i]);
        }
    }
    if (pulse.empty()) {
        return {};
    }
    const double count = static_cast<double>(pulse.size());
    const double mean_pulse = std::accumulate(pulse.begin(), pulse.end(), 0.0) / count;
    const double mean_error = std::accumulate(left.begin(), left.end(), 0.0) / count;
    double cross = 0, energy = 0, square = 0;
    for (std::size_t i = 0; i < pulse.size(); ++i) {
        const double p = pulse[i] - mean_pulse;
        const double e = left[i] - mean_error;
        cross += p * e;
        energy += p * p;
        square += e * e;
    }
    const auto [least, most] = std::minmax_element(pulse.begin(), pulse.end());
    return {energy > 0 ? cross / energy * (*most - *least) : 0,
            std::sqrt(std::max(square - (energy > 0 ? cross * cross / energy : 0), 0.0) / count)};
}

}  // namespace examples
