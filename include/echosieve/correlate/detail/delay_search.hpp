// The searches for a delay, over a correlation that is given as a function of the delay.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <span>

#include "echosieve/atoms/gabor.hpp"

namespace echosieve::detail {

template <Atom A>
[[nodiscard]] double mean_frequency(std::span<const Echo<A>> echoes) noexcept {
    double sum = 0;
    double weight = 0;
    for (const Echo<A>& echo : echoes) {
        const double w = static_cast<double>(energy(echo));
        sum += w * static_cast<double>(echo.atom.centre_frequency);
        weight += w;
    }
    return weight > 0 ? sum / weight : 0;
}

template <Atom A>
[[nodiscard]] double lowest_bandwidth(std::span<const Echo<A>> echoes) noexcept {
    double lowest = std::numeric_limits<double>::max();
    for (const Echo<A>& echo : echoes) {
        lowest = std::min(lowest, static_cast<double>(echo.atom.bandwidth));
    }
    return lowest;
}

/// The coarse grid's step, in pulses: |R12| has a maximum as wide as a pulse, which is not missed.
inline constexpr double coarse_part = 1.0 / 8;
/// Its points, at most: echoes that lie further apart are looked for on a part of the way.
inline constexpr double most_coarse = 1e6;

// Largest |R12(-d)| = |correlation(d)| over all delays at which two echoes can meet, on that grid.
template <Atom A1, Atom A2, class Correlation>
[[nodiscard]] double coarse_delay(std::span<const Echo<A1>> x1, std::span<const Echo<A2>> x2,
                                  Correlation correlation) noexcept {
    double first = std::numeric_limits<double>::max();
    double last = std::numeric_limits<double>::lowest();
    for (const Echo<A1>& a : x1) {
        for (const Echo<A2>& b : x2) {
            const double d =
                static_cast<double>(b.atom.arrival) - static_cast<double>(a.atom.arrival);
            first = std::min(first, d);
            last = std::max(last, d);
        }
    }
    const double pulse = 1 / std::min(lowest_bandwidth(x1), lowest_bandwidth(x2));
    const double begin = first - pulse;
    const double step = pulse * coarse_part;
    const int steps =
        static_cast<int>(std::min(most_coarse, std::ceil((last - first + 2 * pulse) / step)));
    double best = begin;
    double largest = -1;
    for (int k = 0; k <= steps; ++k) {
        const double d = begin + k * step;
        const double size = std::norm(correlation(d).value);
        if (size > largest) {
            largest = size;
            best = d;
        }
    }
    return best;
}

// Climbs to the maximum of |R12(-d)| next to the start: the slope of log |R12| by bisection between
// the bounds.
template <class Correlation>
[[nodiscard]] double envelope_peak(Correlation correlation, double start, double reach,
                                   int iterations) noexcept {
    const auto slope = [&](double d) {
        const auto r = correlation(d);
        return -(r.derivative * std::conj(r.value)).real();
    };
    double low = start - reach;
    double high = start + reach;
    for (int k = 0; k < iterations && high - low > 1e-16; ++k) {
        const double middle = low + (high - low) / 2;
        (slope(middle) > 0 ? low : high) = middle;
    }
    return low + (high - low) / 2;
}

// Newton's step towards the zero of a phase that falls by 2 pi `rate` a second. Where echoes
// interfere the phase may run off: far from the mean frequency a rate is believed for a quarter of
// a period at most, and not at all where the phase runs backwards; there half of what the mean
// frequency says is short and safe.
[[nodiscard]] inline double phase_step(double phase, double rate, double frequency) noexcept {
    const double turns = phase / (2 * std::numbers::pi);
    if (rate > frequency / 2 && rate < 2 * frequency) {
        return turns / rate;
    }
    const double longest = 0.25 / frequency;
    return rate > 0 ? std::clamp(turns / rate, -longest, longest) : turns / (2 * frequency);
}

}  // namespace echosieve::detail
