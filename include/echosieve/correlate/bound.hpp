// How well an echo's parameters, and the delay between two frames, can be known at best.
#pragma once

#include <cmath>
#include <numbers>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

// Symbols
//   eta     sum s^2 / sigma^2 of the real sampled echo s in white Gaussian noise of variance
//   sigma^2
//           (2 E / N0 elsewhere)
//   A       peak of the envelope;  fs the sampling rate [Hz];  alpha, f, gamma as in
//   atoms/gabor.hpp omega = 2 pi f
//
// The Fisher matrix of (A, alpha, tau, f, phase [, gamma]) of a Gaussian-modulated echo that the
// grid holds whole, and whose spectrum has died at 0 Hz, is a set of Gaussian moments and inverts
// in closed form (derived here; Demirli and Saniie 2001, IEEE TUFFC 48:787-802, treat the same five
// parameters, Lu, Demirli, Cardoso and Saniie 2006, IEEE TUFFC 53:2121, the chirp). The bounds hold
// for unbiased estimates and are reached while no phase cycle is mistaken: sd(phase) << 1 rad.

/// eta of an echo with envelope peak `amplitude` in noise of standard deviation `noise` (any one
/// unit): (A / sigma)^2 (fs / 2) sqrt(pi / (2 alpha)). Throws InvalidInput unless the bandwidth,
/// rate and noise are positive.
template <Atom A>
[[nodiscard]] double energy_to_noise(const A& atom, double amplitude, double noise,
                                     double sampling_rate) {
    validate(atom);
    require(is_finite(amplitude), "amplitude", amplitude, "must be finite");
    require(noise > 0 && is_finite(noise), "noise", noise, "must be positive and finite");
    require(sampling_rate > 0 && is_finite(sampling_rate), "sampling_rate", sampling_rate,
            "must be positive and finite [Hz]");
    const double ratio = amplitude / noise;
    const double decay = decay_from_bandwidth(static_cast<double>(atom.bandwidth));
    return ratio * ratio * sampling_rate / 2 * std::sqrt(std::numbers::pi / (2 * decay));
}

/// Least standard deviations of one echo's parameters.
struct EchoBound {
    double arrival = 0;             ///< all of the below unknown too [s]
    double arrival_from_phase = 0;  ///< all else known, as between frames of one wall [s]
    double centre_frequency = 0;    ///< [Hz]
    double phase = 0;               ///< [rad]
    double relative_amplitude = 0;  ///< of A
    double relative_bandwidth = 0;  ///< of B
    double chirp_rate = 0;          ///< [Hz/s]; 0 for an atom that has none
};

namespace detail {

inline void require_energy_to_noise(double eta) {
    require(eta > 0 && is_finite(eta), "energy_to_noise", eta, "must be positive and finite");
}

}  // namespace detail

/// Cramer-Rao bounds of an unchirped echo, all five parameters unknown. Exact for the model above.
/// Throws InvalidInput for an invalid atom or eta <= 0.
template <Real R>
[[nodiscard]] EchoBound echo_bound(const Gabor<R>& atom, double eta) {
    validate(atom);
    detail::require_energy_to_noise(eta);
    const double pi = std::numbers::pi;
    const double alpha = decay_from_bandwidth(static_cast<double>(atom.bandwidth));
    const double omega = 2 * pi * static_cast<double>(atom.centre_frequency);
    return {.arrival = 1 / std::sqrt(eta * alpha),
            .arrival_from_phase = 1 / std::sqrt(eta * (alpha + omega * omega)),
            .centre_frequency = std::sqrt(alpha / eta) / pi,
            .phase = std::sqrt((1 + omega * omega / alpha) / eta),
            .relative_amplitude = std::sqrt(1.5 / eta),
            .relative_bandwidth = std::sqrt(2 / eta),
            .chirp_rate = 0};
}

/// The same with the chirp rate unknown too: six parameters.
template <Real R>
[[nodiscard]] EchoBound echo_bound(const ChirpedGabor<R>& atom, double eta) {
    EchoBound bound =
        echo_bound(Gabor<R>{atom.arrival, atom.centre_frequency, atom.bandwidth}, eta);
    const double pi = std::numbers::pi;
    const double alpha = decay_from_bandwidth(static_cast<double>(atom.bandwidth));
    const double omega = 2 * pi * static_cast<double>(atom.centre_frequency);
    const double slope = pi * static_cast<double>(atom.chirp_rate) / alpha;
    // With all else known the arrival also shows in the slope of the frequency.
    bound.arrival_from_phase = 1 / std::sqrt(eta * (alpha * (1 + slope * slope) + omega * omega));
    bound.centre_frequency *= std::sqrt(1 + slope * slope);
    bound.phase = std::sqrt((1.5 + omega * omega / alpha) / eta);
    bound.chirp_rate = alpha * std::sqrt(8 / eta) / pi;
    return bound;
}

/// Least standard deviation [s] of the delay between two frames of one echo, both as noisy: each
/// frame's arrival has its own error, hence sqrt(2) times the bound of one.
[[nodiscard]] inline double delay_bound(const EchoBound& bound) noexcept {
    return std::numbers::sqrt2 * bound.arrival_from_phase;
}

/// Standard deviation [s] of the delay read from the phase of the correlation of two noisy frames:
/// sqrt(2 / eta) / omega, 0.3 % above delay_bound at 4 MHz and 1 MHz of bandwidth. First order in
/// 1 / eta.
[[nodiscard]] inline double phase_delay_deviation(double centre_frequency, double eta) {
    require(centre_frequency > 0 && is_finite(centre_frequency), "centre_frequency",
            centre_frequency, "must be positive and finite [Hz]");
    detail::require_energy_to_noise(eta);
    return std::sqrt(2 / eta) / (2 * std::numbers::pi * centre_frequency);
}

/// Displacement [m] of a reflector whose echo is delayed by `delay` [s]: there and back.
[[nodiscard]] constexpr double displacement(double delay, double sound_speed) noexcept {
    return delay * sound_speed / 2;
}

/// What limits the delay between two windows of speckle.
struct SpeckleJitter {
    double centre_frequency = 0;      ///< f0 [Hz]
    double fractional_bandwidth = 0;  ///< B: a flat spectrum from f0 (1 - B/2) to f0 (1 + B/2)
    double window = 0;                ///< T [s]
    double correlation = 1;           ///< rho, of the two noise-free windows, in (0, 1]
    double signal_to_noise = 0;       ///< ratio of rms amplitudes in each window; may be infinite
};

/// Least standard deviation [s] of the delay between two partly correlated windows:
/// sqrt(3 / (2 f0^3 pi^2 T (B^3 + 12 B)) ((1 + 1/SNR^2)^2 / rho^2 - 1)),
/// Walker and Trahey 1995, IEEE TUFFC 42:301-308 (the equation from memory, derived anew from
/// 1 / sqrt(2 T integral (2 pi f)^2 C / (1 - C) df), C = rho^2 / (1 + 1/SNR^2)^2).
[[nodiscard]] inline double jitter_bound(const SpeckleJitter& jitter) {
    require(jitter.centre_frequency > 0 && is_finite(jitter.centre_frequency), "centre_frequency",
            jitter.centre_frequency, "must be positive and finite [Hz]");
    require(jitter.fractional_bandwidth > 0 && jitter.fractional_bandwidth <= 2,
            "fractional_bandwidth", jitter.fractional_bandwidth, "must be above 0 and at most 2");
    require(jitter.window > 0 && is_finite(jitter.window), "window", jitter.window,
            "must be positive and finite [s]");
    require(jitter.correlation > 0 && jitter.correlation <= 1, "correlation", jitter.correlation,
            "must be above 0 and at most 1");
    require(jitter.signal_to_noise > 0, "signal_to_noise", jitter.signal_to_noise,
            "must be positive");
    const double b = jitter.fractional_bandwidth;
    const double f = jitter.centre_frequency;
    const double noise = 1 / (jitter.signal_to_noise * jitter.signal_to_noise);
    // (1 + n)^2 / rho^2 - 1 without the cancellation near rho = 1 and n = 0.
    const double rho = jitter.correlation;
    const double excess = (noise * (2 + noise) + (1 - rho) * (1 + rho)) / (rho * rho);
    return std::sqrt(
        3 /
        (2 * f * f * f * std::numbers::pi * std::numbers::pi * jitter.window * b * (b * b + 12)) *
        excess);
}

}  // namespace echosieve
