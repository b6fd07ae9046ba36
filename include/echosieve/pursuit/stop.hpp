// When a pursuit or a fit ends, how it says why, and what a pursuit gives.
#pragma once

#include <cmath>
#include <cstddef>
#include <numbers>
#include <optional>
#include <string_view>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/bisect.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/dictionary/atom_box.hpp"

namespace echosieve {

/// An atom must beat noise: the chance that noise alone gives such an atom is at most
/// `probability`.
struct FalseAlarm {
    double noise_variance =
        0;  ///< of one sample: E n^2 of real, E |n|^2 of complex noise; white, Gaussian
    double probability = 0.01;
};

/// A pursuit ends when the first of these holds, or the strategy's number of atoms is reached.
struct Stop {
    double residual_fraction = 0;  ///< residual energy <= this part of the signal's energy
    std::optional<FalseAlarm>
        false_alarm;  ///< the next atom's energy is what noise alone would give
};

inline void validate(const Stop& stop) {
    require(stop.residual_fraction >= 0 && stop.residual_fraction < 1, "residual_fraction",
            stop.residual_fraction, "must lie in [0, 1)");
    if (stop.false_alarm) {
        require(stop.false_alarm->noise_variance > 0 && is_finite(stop.false_alarm->noise_variance),
                "noise_variance", stop.false_alarm->noise_variance, "must be positive and finite");
        require(stop.false_alarm->probability > 0 && stop.false_alarm->probability < 1,
                "probability", stop.false_alarm->probability, "must lie in (0, 1)");
    }
}

enum class PursuitStatus {
    not_run,
    atom_count,       ///< number of atoms == the strategy's
    residual_small,   ///< residual energy <= residual_fraction * signal energy, or no more than
                      ///< rounding
    not_significant,  ///< the next atom's T = energy / variance was below the false-alarm threshold
    exhausted,        ///< the dictionary had no atom that reduces the residual
    silent            ///< the signal's energy is 0
};

[[nodiscard]] constexpr std::string_view describe(PursuitStatus status) noexcept {
    switch (status) {
        case PursuitStatus::not_run:
            return "not run";
        case PursuitStatus::atom_count:
            return "number of atoms reached";
        case PursuitStatus::residual_small:
            return "residual small enough";
        case PursuitStatus::not_significant:
            return "next atom not above the noise";
        case PursuitStatus::exhausted:
            return "dictionary exhausted";
        case PursuitStatus::silent:
            return "silent signal";
    }
    return "unknown";
}

/// What a pursuit gives.
template <class Element, Real R>
struct PursuitResult {
    PursuitStatus status = PursuitStatus::not_run;
    std::vector<Element> atoms;      ///< in the order of their choice
    R signal_energy = 0;             ///< sum of |sample|^2
    std::vector<R> residual_energy;  ///< after each atom

    /// Empties it, with room for `most` atoms: adding as many then allocates nothing.
    void clear(std::size_t most) {
        status = PursuitStatus::not_run;
        atoms.clear();
        atoms.reserve(most);
        signal_energy = 0;
        residual_energy.clear();
        residual_energy.reserve(most);
    }
    [[nodiscard]] bool usable() const noexcept {
        return status != PursuitStatus::not_run && !atoms.empty();
    }
    /// Part of the signal's energy that the atoms explain, 0 to 1.
    [[nodiscard]] R explained() const noexcept {
        return residual_energy.empty() || !(signal_energy > 0)
                   ? R{0}
                   : 1 - residual_energy.back() / signal_energy;
    }
};

/// When a fit of several echoes ends.
struct FitOptions {
    int iterations = 100;           ///< steps at most, rejected ones included
    double step_tolerance = 1e-9;   ///< in the parameters' units, see parameter_unit: 0.3 fs of an
                                    ///< arrival at 1 MHz of bandwidth
    double gain_tolerance = 1e-10;  ///< part of the residual energy: over 650 samples of noise the
                                    ///< parameters are within 3e-4 of their standard deviations
    std::optional<double> noise_variance{};  ///< of one real component; estimated if not given
    /// An echo is resolvable if its arrival's standard deviation is at most this part of its length
    /// at -6 dB, and none of its parameters is unknowable. The deviation is that of the solution:
    /// where it is of the order of the limit the fit is no longer linear in the noise, and often
    /// takes its own deviation for smaller than it is. Of two free echoes of 1 MHz half a
    /// microsecond apart at 20 dB (326 ns), 317 fits of 400 called theirs resolvable, with an rms
    /// error of 170 ns; at 30 dB all, with 88 ns where the bound is 103 ns. Where that matters ask
    /// `echo_covariance` at the expected echoes.
    double resolvable_fraction = 0.25;
};

inline void validate(const FitOptions& options) {
    require(options.iterations >= 0, "iterations", options.iterations, "must be zero or more");
    require(options.step_tolerance >= 0, "step_tolerance", options.step_tolerance,
            "must be zero or more");
    require(options.gain_tolerance >= 0, "gain_tolerance", options.gain_tolerance,
            "must be zero or more");
    if (options.noise_variance) {
        require(*options.noise_variance > 0 && is_finite(*options.noise_variance), "noise_variance",
                *options.noise_variance, "must be positive and finite");
    }
    require(options.resolvable_fraction > 0, "resolvable_fraction", options.resolvable_fraction,
            "must be positive");
}

/// What ended a fit.
enum class FitStatus {
    not_run,
    converged_step,  ///< largest step of a parameter, in its unit, <= step_tolerance
    converged_gain,  ///< gain that the next step promises <= gain_tolerance * residual energy
    iteration_limit  ///< iterations == the option's limit
};

[[nodiscard]] constexpr std::string_view describe(FitStatus status) noexcept {
    switch (status) {
        case FitStatus::not_run:
            return "not run";
        case FitStatus::converged_step:
            return "converged: step small enough";
        case FitStatus::converged_gain:
            return "converged: gain small enough";
        case FitStatus::iteration_limit:
            return "iteration limit";
    }
    return "unknown";
}

/// A minimum was reached.
[[nodiscard]] constexpr bool converged(FitStatus status) noexcept {
    return status == FitStatus::converged_step || status == FitStatus::converged_gain;
}

// Symbols
//   T = r^2 of noise, projected on the unit atom of each point of a box: a chi^2 field with two
//   degrees of freedom
//   a, b, c  sides of the box, in units in which |correlation| of neighbours falls as 1 - s^2 / 2:
//            a = D sqrt(alpha) arrival,  b = pi W / sqrt(alpha) frequency,
//            c = ln(B_upper / B_lower) / sqrt(2) bandwidth
//   E(r) = (1 + (a + b + c) r / (2 pi)^(1/2) + (ab + bc + ca) (r^2 - 1) / (2 pi)
//           + abc (r^3 - 3 r) / (2 pi)^(3/2)) exp(-r^2 / 2)
//
// E is the expected Euler characteristic of the part of the box where T > r^2 (Worsley 1994, Adv.
// Appl. Prob. 26:13-42); with b = c = 0 the expected number of upcrossings (Rice 1945, Davies
// 1977). P(max T > r^2) = 1 - exp(-E) for thresholds of use.

namespace detail {

// The largest r^2 with 1 - exp(-E(r)) >= probability, 0 if there is none.
[[nodiscard]] inline double solve_false_alarm(double a, double b, double c, double probability) {
    require(probability > 0 && probability < 1, "probability", probability, "must lie in (0, 1)");
    const double wanted = -std::log1p(-probability);
    const double tau = 2 * std::numbers::pi;
    const auto above = [&](double r) {
        const double sum = 1 + (a + b + c) * r / std::sqrt(tau) +
                           (a * b + b * c + c * a) * std::fmax(r * r - 1, 0) / tau +
                           a * b * c * r * std::fmax(r * r - 3, 0) / (tau * std::sqrt(tau));
        return sum * std::exp(-r * r / 2) >= wanted;
    };
    // exp(-60^2 / 2) is 0; the last upcrossing lies no nearer to another than a step.
    constexpr double highest = 60;
    constexpr double step = 0.125;
    constexpr int halvings = 60;  // of a step: to double's rounding
    double low = highest;
    while (low > 0 && !above(low)) {
        low -= step;
    }
    if (!(low > 0)) {
        return 0;
    }
    const double root = bisect({low, low + step}, halvings, above).low;
    return root * root;
}

}  // namespace detail

/// Threshold on T for noise under one atom, of decay alpha [1/s^2], at any arrival within
/// `duration` [s]. Throws InvalidInput for a negative duration, alpha <= 0, or unless 0 <
/// probability < 1.
[[nodiscard]] inline double false_alarm_threshold(double duration, double alpha,
                                                  double probability) {
    require(duration >= 0 && is_finite(duration), "duration", duration,
            "must be zero or more and finite [s]");
    require(alpha > 0 && is_finite(alpha), "alpha", alpha, "must be positive and finite [1/s^2]");
    return detail::solve_false_alarm(duration * std::sqrt(alpha), 0, 0, probability);
}

/// Threshold on T for noise under the best atom of a box: a search over frequency and bandwidth
/// finds more in noise than one over the arrival alone. At 4 MHz, 1 MHz, 10 % and 10 us the
/// threshold for 5 % is 15.3 instead of 12.6. The noise must be white over the atoms' band, and the
/// gate lie inside the signal.
[[nodiscard]] inline double false_alarm_threshold(const GaborBox& box, double probability) {
    validate(box);
    const double root = std::sqrt(decay_from_bandwidth(box.bandwidth.centre()));
    return detail::solve_false_alarm(
        box.arrival.length() * root, std::numbers::pi * box.centre_frequency.width() / root,
        std::log(box.bandwidth.upper / box.bandwidth.lower) / std::numbers::sqrt2, probability);
}

}  // namespace echosieve
