// Complex cross-correlation of echoes, and of sums of echoes, in closed form at any lag; and the
// delay between them, from its envelope and phase.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <optional>
#include <span>
#include <string_view>

#include "echosieve/atoms/detail/overlap.hpp"
#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/correlate/detail/delay_search.hpp"

namespace echosieve {

// Symbols (p, q, P, omega as in atoms/inner_product.hpp)
//   R12(lambda) = integral x1(t + lambda) conj(x2(t)) dt,   lambda the lag [s]
//   x = tau_2 - tau_1 + lambda;   m = (q omega_1 + p omega_2) / P
//
//   R12(lambda) = a1 conj(a2) sqrt(pi / P)
//                 exp(-p q x^2 / P - (omega_1 - omega_2)^2 / (4 P) + i x m)
//   dR12 / dlambda = R12 s,  d2R12 / dlambda2 = R12 (s^2 - 2 p q / P),  s = -2 p q x / P + i m
//
// If x2 is x1 delayed by d, |R12| is largest at lambda = -d.

/// R12 at a lag, with its derivatives in the lag.
struct CorrelationValue {
    std::complex<double> value;              ///< [s], times the echoes' amplitudes
    std::complex<double> derivative;         ///< the same per second
    std::complex<double> second_derivative;  ///< the same per second squared
};

/// R12 and its derivatives for two echoes. Error as of inner_product.
template <Atom A1, Atom A2>
[[nodiscard]] CorrelationValue cross_correlation(const Echo<A1>& x1, const Echo<A2>& x2,
                                                 double lag) noexcept {
    using Complex = std::complex<double>;
    const detail::Overlap atoms = detail::overlap(x1.atom, x2.atom, lag);
    const Complex value = static_cast<Complex>(x1.amplitude) *
                          std::conj(static_cast<Complex>(x2.amplitude)) * atoms.value;
    return {value, value * atoms.log_slope,
            value * (atoms.log_slope * atoms.log_slope + atoms.log_curvature)};
}

/// R12 and its derivatives for two sums of echoes: all pairs. Zero if either is empty.
template <Atom A1, Atom A2>
[[nodiscard]] CorrelationValue cross_correlation(std::span<const Echo<A1>> x1,
                                                 std::span<const Echo<A2>> x2,
                                                 double lag) noexcept {
    CorrelationValue total;
    for (const Echo<A1>& first : x1) {
        for (const Echo<A2>& second : x2) {
            const CorrelationValue pair = cross_correlation(first, second, lag);
            total.value += pair.value;
            total.derivative += pair.derivative;
            total.second_derivative += pair.second_derivative;
        }
    }
    return total;
}

/// integral |sum of echoes|^2 dt [s], times amplitudes squared.
template <Atom A>
[[nodiscard]] double energy(std::span<const Echo<A>> echoes) noexcept {
    return cross_correlation(echoes, echoes, 0).value.real();
}

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
    const auto correlation = [&](double d) { return cross_correlation(x1, x2, -d); };
    const double start = near ? *near : detail::coarse_delay(x1, x2, correlation);
    require(is_finite(start), "near", start, "must be finite [s]");
    result.status = DelayStatus::no_correlation;
    if (!(size > 0) || !(frequency > 0)) {
        return result;
    }
    // Near a prediction within half a pulse, else within the coarse grid's step.
    const double reach = near ? pulse / 2 : pulse * detail::coarse_part;
    const double peak = detail::envelope_peak(correlation, start, reach, options.iterations);
    if (std::abs(correlation(peak).value) > options.least_correlation * size) {
        result.envelope_delay = peak;
    }
    double d = near ? start : peak;
    result.status = DelayStatus::no_phase_zero;
    const double origin = d;
    for (; result.iterations < options.iterations; ++result.iterations) {
        const CorrelationValue r = correlation(d);
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
