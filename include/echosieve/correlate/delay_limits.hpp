// How well the delay between two frames can be known, cycle included, and a measured delay with
// its error bar.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <optional>
#include <span>

#include "echosieve/atoms/fisher_information.hpp"
#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/bisect.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/correlate/bound.hpp"
#include "echosieve/correlate/delay.hpp"

namespace echosieve {

// Symbols (eta, alpha, f as in bound.hpp; sigma, fs as in fisher_information.hpp)
//   x      the echoes of something that moves as one, a sum of atoms;  d its delay
//   E      energy of the part that the noise sees: fs / (2 sigma^2) integral |x|^2 dt for real
//          samples, 2 fs / sigma^2 the same for complex ones
//   rho    correlation of the real echo with itself one period 1 / f later, exp(-alpha / (2 f^2))
//
// d alone unknown in one frame against a known x: sd >= 1 / sqrt(integral |x'|^2 in E's unit), and
// integral |x'|^2 = -d2R_xx / dlambda2 at lag 0, in closed form for any sum of atoms. Two noisy
// frames: sqrt(2) times as much. Where the phase tells the delay, it tells it up to periods 1 / f.
// One period off the correlation is (1 - rho) eta lower in the mean, with a variance of
// 2 (1 - rho) eta for one noisy frame, and of 4 (1 - rho) eta + 2 N for two, N the independent
// noise values that meet in the window: 2 times bandwidth times length, 0 if fitted echoes are
// correlated. The chance that a neighbour wins is Q(mean / deviation), for both of them twice that
// (derived here; threshold effect: Weiss and Weinstein 1983, IEEE TASSP 31:472-486).

/// What is correlated to find the delay.
struct CorrelatedFrames {
    bool both_noisy = true;   ///< two frames; false: one frame and a noise-free echo
    double noise_values = 0;  ///< N, of two frames
};

/// Least standard deviation [s] of the common delay between two noisy frames of a sum of echoes
/// that moves as one, shapes and amplitudes known. Infinite for silent echoes. Throws InvalidInput
/// for invalid noise or atoms.
template <Atom A>
[[nodiscard]] double common_delay_limit(std::span<const Echo<A>> echoes,
                                        const SampledNoise& noise) {
    validate(noise);
    for (const Echo<A>& echo : echoes) {
        validate(echo.atom);
    }
    const double slope = -cross_correlation(echoes, echoes, 0).second_derivative.real();
    return slope > 0 ? std::sqrt(2 / (noise.per_energy() * slope))
                     : std::numeric_limits<double>::infinity();
}

namespace detail {

// Both neighbours together, where the correlation falls by `mean` = (1 - rho) eta to either.
[[nodiscard]] inline double skip_probability(double mean, const CorrelatedFrames& frames) {
    const double variance = frames.both_noisy ? 4 * mean + 2 * frames.noise_values : 2 * mean;
    return variance > 0 ? std::erfc(mean / std::sqrt(2 * variance)) : 1;  // 2 Q
}

}  // namespace detail

/// Chance that the delay from the largest correlation is a period off. `eta` is energy_to_noise of
/// one frame. Throws InvalidInput unless eta > 0, the frequency is positive and N zero or more.
template <Atom A>
[[nodiscard]] double cycle_skip_probability(const A& atom, double eta,
                                            const CorrelatedFrames& frames = {}) {
    validate(atom);
    detail::require_energy_to_noise(eta);
    const auto frequency = static_cast<double>(atom.centre_frequency);
    require(frequency > 0, "centre_frequency", frequency, "must be positive [Hz]");
    require(frames.noise_values >= 0 && is_finite(frames.noise_values), "noise_values",
            frames.noise_values, "must be zero or more and finite");
    const double alpha = decay_from_bandwidth(static_cast<double>(atom.bandwidth));
    const auto chirp = static_cast<double>(atom.chirp_rate);
    // |correlation| of a chirp falls faster: alpha / 2 + (pi gamma)^2 / (2 alpha) in the exponent.
    const double root = std::numbers::pi * chirp;
    const double fall = (alpha + root * root / alpha) / (2 * frequency * frequency);
    return detail::skip_probability(-std::expm1(-fall) * eta, frames);
}

/// The least eta at which cycle_skip_probability is `probability`: below it lies the threshold
/// region, where the bounds are no longer reached. By bisection, to 1e-10 of itself.
template <Atom A>
[[nodiscard]] double threshold_energy_to_noise(const A& atom, double probability,
                                               const CorrelatedFrames& frames = {}) {
    require(probability > 0 && probability < 1, "probability", probability, "must lie in (0, 1)");
    const auto skips = [&](double log_eta) {
        return cycle_skip_probability(atom, std::exp(log_eta), frames) > probability;
    };
    return std::exp(detail::bisect({-200, 200}, 60, skips).high);
}

// A measured delay: I_k the information on the delay in frame k, 1 / (sd of one frame)^2, from
// integral |dx_k/dt|^2; its sd is sqrt(1 / I_1 + 1 / I_2). The chance of a period is that of
// cycle_skip_probability with the mean of both energies and, for rho, the larger correlation (real
// part over R12 at the delay) one period later or earlier: for a single echo the same, for several
// what they do together.

/// A Delay, and how sure it is.
struct MeasuredDelay {
    Delay delay;
    double deviation = std::numeric_limits<double>::infinity();  ///< least standard deviation [s]
    double cycle_skip_probability = 1;  ///< that the phase zero is a neighbour of the right one,
                                        ///< where no prediction chose it
    bool reliable = false;  ///< usable, and that chance at most the options' limit: above it lies
                            ///< the threshold region, where `deviation` is too small

    [[nodiscard]] bool usable() const noexcept { return delay.usable(); }
};

struct MeasuredDelayOptions {
    DelayOptions delay{};
    double largest_skip_probability = 0.01;
};

inline void validate(const MeasuredDelayOptions& options) {
    validate(options.delay);
    require(options.largest_skip_probability >= 0 && options.largest_skip_probability <= 1,
            "largest_skip_probability", options.largest_skip_probability, "must lie in [0, 1]");
}

/// delay_between of the echoes fitted to two frames, each with `noise`. A prediction `near` [s]
/// chooses the phase zero, and with it the cycle. Throws InvalidInput as delay_between does and for
/// invalid noise.
template <Atom A>
[[nodiscard]] MeasuredDelay measure_delay(std::span<const Echo<A>> x1, std::span<const Echo<A>> x2,
                                          const SampledNoise& noise,
                                          std::optional<double> near = std::nullopt,
                                          const MeasuredDelayOptions& options = {}) {
    validate(options);
    validate(noise);
    MeasuredDelay out;
    out.delay = delay_between(x1, x2, near, options.delay);
    if (!out.usable()) {
        return out;
    }
    // common_delay_limit is that of two frames alike.
    const double d1 = common_delay_limit(x1, noise);
    const double d2 = common_delay_limit(x2, noise);
    out.deviation = std::hypot(d1, d2) / std::numbers::sqrt2;
    const auto correlation = [&](double delay) {
        return cross_correlation(x1, x2, -delay).value.real();
    };
    const double period = 1 / out.delay.frequency;
    const double peak = correlation(out.delay.delay);
    const double beside =
        std::max(correlation(out.delay.delay - period), correlation(out.delay.delay + period));
    const double mean = noise.per_energy() * std::max(peak - beside, 0.0);
    out.cycle_skip_probability = near ? 0 : detail::skip_probability(mean, {});
    out.reliable = out.cycle_skip_probability <= options.largest_skip_probability;
    return out;
}

template <Atom A>
[[nodiscard]] MeasuredDelay measure_delay(const Echo<A>& x1, const Echo<A>& x2,
                                          const SampledNoise& noise,
                                          std::optional<double> near = std::nullopt,
                                          const MeasuredDelayOptions& options = {}) {
    return measure_delay(std::span<const Echo<A>>(&x1, 1), std::span<const Echo<A>>(&x2, 1), noise,
                         near, options);
}

}  // namespace echosieve
