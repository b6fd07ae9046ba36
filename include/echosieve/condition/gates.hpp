// Part of a line by depth: which samples lie in it, and how much each counts.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <cstddef>
#include <numbers>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

/// The interval of arrivals [s] of the depths `nearest` .. `deepest` [m], ends included.
/// Throws InvalidInput unless both are finite and 0 <= nearest <= deepest, or for a sound speed
/// that is not positive.
[[nodiscard]] inline Gate depth_gate(const RecordingSettings& settings, double nearest,
                                     double deepest) {
    require(settings.sound_speed > 0 && is_finite(settings.sound_speed), "sound_speed",
            settings.sound_speed, "must be positive and finite [m/s]");
    require(nearest >= 0 && is_finite(nearest), "nearest", nearest,
            "must be zero or more and finite [m]");
    require(deepest >= nearest && is_finite(deepest), "deepest", deepest,
            detail::concatenate("must be finite and at least nearest = ", nearest, " [m]"));
    return {settings.arrival(nearest), settings.arrival(deepest)};
}

/// The grid's samples within the gate, ends included: a sample counts as inside up to 1e-6 of a
/// step beyond an end, so that a gate made of sample times holds these samples.
///
/// A gate that reaches beyond the grid is cut to it. One that has no time in common with the grid
/// is refused: InvalidInput. One that falls between two samples gives an empty range.
[[nodiscard]] inline SampleRange gate_samples(const SamplingGrid& grid, const Gate& gate) {
    validate(grid);
    validate(gate);
    require(grid.count > 0, "count", grid.count, "must be positive: a gate needs samples");
    constexpr double slack = 1e-6;
    const double last = static_cast<double>(grid.count) - 1;
    const double begin = grid.index(gate.begin) - slack;
    const double end = grid.index(gate.end) + slack;
    require(begin <= last, "gate.begin", gate.begin,
            detail::concatenate("must not be after the last sample, ", grid.end_time(), " [s]"));
    require(end >= 0, "gate.end", gate.end,
            detail::concatenate("must not be before the first sample, ", grid.start_time, " [s]"));
    const auto first = static_cast<std::size_t>(std::ceil(std::fmax(begin, 0)));
    const auto beyond = static_cast<std::size_t>(std::floor(std::fmin(end, last))) + 1;
    return {first, beyond > first ? beyond : first};
}

/// Tukey's tapered cosine window at `position`, 0 at the gate's begin and 1 at its end: a share
/// taper / 2 of the gate rises at its begin, as much falls at its end, between them it is 1.
/// taper = 1 is Hann's window, 0 a rectangle; 0 outside [0, 1] and for NaN. `taper` in [0, 1]
/// (not checked). Harris 1978, "On the use of windows for harmonic analysis with the discrete
/// Fourier transform", Proc. IEEE 66, equation 38 with alpha = taper.
[[nodiscard]] inline double tukey(double position, double taper) noexcept {
    if (!(position >= 0 && position <= 1)) {
        return 0;
    }
    const double from_end = std::fmin(position, 1 - position);
    if (from_end >= taper / 2) {
        return 1;
    }
    const double s = std::sin(std::numbers::pi * from_end / taper);
    return s * s;
}

/// Hann's window at `position`, 0 at the gate's begin and 1 at its end.
[[nodiscard]] inline double hann(double position) noexcept {
    return tukey(position, 1);
}

/// Weights of the samples gate_samples(grid, gate), by each sample's own time: so a gate that moves
/// by part of a step does not jump. A gate that is cut by the grid keeps its full length's window.
/// A gate of no length weighs its sample 1. Throws InvalidInput for taper outside [0, 1], and as
/// gate_samples does.
template <Real R = double>
[[nodiscard]] Eigen::Array<R, Eigen::Dynamic, 1> gate_weights(const SamplingGrid& grid,
                                                              const Gate& gate, double taper = 1) {
    require(taper >= 0 && taper <= 1, "taper", taper, "must lie in [0, 1]");
    const SampleRange range = gate_samples(grid, gate);
    Eigen::Array<R, Eigen::Dynamic, 1> weights(static_cast<Eigen::Index>(range.count()));
    for (std::size_t i = range.first; i < range.last; ++i) {
        const double offset = grid.time(static_cast<double>(i)) - gate.begin;
        const double position =
            gate.length() > 0 ? std::fmin(std::fmax(offset / gate.length(), 0), 1) : 0.5;
        weights[static_cast<Eigen::Index>(i - range.first)] =
            static_cast<R>(tukey(position, taper));
    }
    return weights;
}

}  // namespace echosieve
