// The delay between two echoes, or two sums of echoes, from their cross-correlation in closed form.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <optional>
#include <span>
#include <string_view>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/correlate/cross_correlation.hpp"

namespace echosieve {

// The envelope |R12| has one broad maximum; next to it the phase of R12 passes through zero, and
// that place is known far better: by the factor sqrt(1 + omega^2 / alpha), 13 for 4 MHz and 1 MHz
// of bandwidth. Phase zeros lie a period 1 / f apart, so the envelope (or a prediction) must say
// which one.

enum class DelayStatus {
    not_run,
    found,           ///< |phase of R12| <= phase_tolerance at the delay
    no_correlation,  ///< |R12| <= least_correlation sqrt(E1 E2) at the delay: the echoes have
                     ///< nothing in common
    no_phase_zero    ///< |phase of R12| > phase_tolerance after `iterations` steps, or a step led
                     ///< further than a period 1 / f from the start
};

[[nodiscard]] constexpr std::string_view describe(DelayStatus status) noexcept {
    switch (status) {
        case DelayStatus::not_run:
            return "not run";
        case DelayStatus::found:
            return "found";
        case DelayStatus::no_correlation:
            return "the echoes have nothing in common";
        case DelayStatus::no_phase_zero:
            return "no phase zero near the start";
    }
    return "unknown";
}

struct DelayOptions {
    double least_correlation = 1e-6;  ///< of sqrt(E1 E2)
    double phase_tolerance = 1e-9;    ///< [rad]; 4e-17 s at 4 MHz
    int iterations = 50;              ///< of each search, at most
};

inline void validate(const DelayOptions& options) {
    require(options.least_correlation >= 0, "least_correlation", options.least_correlation,
            "must be zero or more");
    require(options.phase_tolerance > 0, "phase_tolerance", options.phase_tolerance,
            "must be positive [rad]");
    require(options.iterations >= 1, "iterations", options.iterations, "must be at least 1");
}

struct Delay {
    DelayStatus status = DelayStatus::not_run;
    double delay =
        std::numeric_limits<double>::quiet_NaN();  ///< from the phase, positive if x2 is later [s]
    double envelope_delay =
        std::numeric_limits<double>::quiet_NaN();  ///< where |R12| is largest [s]; NaN if nowhere
    double correlation = 0;                        ///< |R12| / sqrt(E1 E2) at the delay, 0 to 1
    double frequency =
        0;  ///< rate of the phase at the delay [Hz]; the next phase zero is 1 / frequency away
    int iterations = 0;  ///< Newton steps on the phase

    [[nodiscard]] bool usable() const noexcept { return status == DelayStatus::found; }
};

namespace detail {

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

// Largest |R12(-d)| over all delays at which two echoes can meet, on a grid of an eighth of a
// pulse.
template <Atom A1, Atom A2>
[[nodiscard]] double coarse_delay(std::span<const Echo<A1>> x1,
                                  std::span<const Echo<A2>> x2) noexcept {
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
    const int steps =
        static_cast<int>(std::min(1e6, std::ceil((last - first + 2 * pulse) / (pulse / 8))));
    double best = begin;
    double largest = -1;
    for (int k = 0; k <= steps; ++k) {
        const double d = begin + k * pulse / 8;
        const double size = std::norm(cross_correlation(x1, x2, -d).value);
        if (size > largest) {
            largest = size;
            best = d;
        }
    }
    return best;
}

// Climbs to the maximum of |R12(-d)| next to the start: the slope of log |R12| by bisection between
// the bounds.
template <Atom A1, Atom A2>
[[nodiscard]] double envelope_peak(std::span<const Echo<A1>> x1, std::span<const Echo<A2>> x2,
                                   double start, double reach, int iterations) noexcept {
    const auto slope = [&](double d) {
        const CorrelationValue r = cross_correlation(x1, x2, -d);
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

}  // namespace detail

/// Delay of x2 against x1: d such that x2(t) ~ x1(t - d) in envelope and phase. Given `near` [s],
/// the phase zero closest to it is taken and the envelope is only looked at there (for echoes that
/// hardly move, frame to frame); otherwise the one closest to the envelope's peak. Throws
/// InvalidInput if x1 or x2 is empty, an echo's parameters are invalid, or an amplitude is not
/// finite.
template <Atom A1, Atom A2>
[[nodiscard]] Delay delay_between(std::span<const Echo<A1>> x1, std::span<const Echo<A2>> x2,
                                  std::optional<double> near = std::nullopt,
                                  const DelayOptions& options = {}) {
    validate(options);
    require(!x1.empty(), "number of echoes in the first sum", x1.size(), "must be at least 1");
    require(!x2.empty(), "number of echoes in the second sum", x2.size(), "must be at least 1");
    const auto check = [](const auto& echoes) {
        for (const auto& echo : echoes) {
            validate(echo.atom);
            require(is_finite(echo.amplitude.real()) && is_finite(echo.amplitude.imag()),
                    "amplitude", echo.amplitude, "must be finite");
        }
    };
    check(x1);
    check(x2);
    Delay result;
    const double size = std::sqrt(energy(x1) * energy(x2));
    const double frequency = std::abs(detail::mean_frequency(x1) + detail::mean_frequency(x2)) / 2;
    const double pulse = 1 / std::min(detail::lowest_bandwidth(x1), detail::lowest_bandwidth(x2));
    const double start = near ? *near : detail::coarse_delay(x1, x2);
    require(is_finite(start), "near", start, "must be finite [s]");
    result.status = DelayStatus::no_correlation;
    if (!(size > 0) || !(frequency > 0)) {
        return result;
    }
    const double peak =
        detail::envelope_peak(x1, x2, start, near ? pulse / 2 : pulse / 8, options.iterations);
    if (std::abs(cross_correlation(x1, x2, -peak).value) > options.least_correlation * size) {
        result.envelope_delay = peak;
    }
    double d = near ? start : peak;
    result.status = DelayStatus::no_phase_zero;
    const double origin = d;
    for (; result.iterations < options.iterations; ++result.iterations) {
        const CorrelationValue r = cross_correlation(x1, x2, -d);
        result.correlation = std::abs(r.value) / size;
        if (!(result.correlation > options.least_correlation)) {
            result.status = DelayStatus::no_correlation;
            break;
        }
        const double phase = std::arg(r.value);
        result.frequency = (r.derivative / r.value).imag() / (2 * std::numbers::pi);
        if (std::abs(phase) <= options.phase_tolerance) {
            result.status = DelayStatus::found;
            result.delay = d;
            break;
        }
        d += detail::phase_step(phase, result.frequency, frequency);
        if (std::abs(d - origin) > 1 / frequency) {
            break;
        }
    }
    return result;
}

template <Atom A1, Atom A2>
[[nodiscard]] Delay delay_between(const Echo<A1>& x1, const Echo<A2>& x2,
                                  std::optional<double> near = std::nullopt,
                                  const DelayOptions& options = {}) {
    return delay_between(std::span<const Echo<A1>>(&x1, 1), std::span<const Echo<A2>>(&x2, 1), near,
                         options);
}

}  // namespace echosieve
