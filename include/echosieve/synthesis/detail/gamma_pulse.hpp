// An asymmetric pulse: it rises as the square of time and dies away exponentially.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/attenuation.hpp"

namespace echosieve {

// Symbols
//   u    time since the arrival [s];  tau  decay time [s];  f  centre frequency [Hz]
//   B    -6 dB bandwidth [Hz], full width of the amplitude spectrum
//   g(u) = (e^2 / 4) (u / tau)^2 exp(-u / tau) exp(i 2 pi f u)  for u >= 0, 0 before
//
// The envelope's peak, 1, lies at u = 2 tau. The amplitude spectrum about f is proportional to
// |1 + i 2 pi nu tau|^-3 = (1 + (2 pi nu tau)^2)^(-3/2), so that -6 dB, the factor 10^-0.3, is
// reached at nu = B / 2 when (pi B tau)^2 = 10^0.2 - 1.
//   energy  integral of |g|^2 = (e^4 / 16) 4! tau / 2^5 = 3 e^4 tau / 64
// Attenuation by exp(-a nu) moves the spectrum's maximum to nu < 0 with, k = 2 pi tau,
//   a k^2 nu^2 + 3 k^2 nu + a = 0;  the pulse is taken to keep its shape about that frequency.

/// The analytic pulse with the peak 1 of its envelope 2 tau after its arrival.
struct GammaPulse {
    double arrival = 0;           ///< of its first motion [s]
    double centre_frequency = 0;  ///< [Hz]
    double bandwidth = 0;         ///< -6 dB, full width [Hz], > 0
};

/// tau [s] of the gamma pulse with -6 dB bandwidth B > 0 [Hz].
[[nodiscard]] inline double gamma_decay_time(double bandwidth) noexcept {
    return std::sqrt(std::pow(10, 0.2) - 1) / (std::numbers::pi * bandwidth);
}

/// g at `time` [s].
[[nodiscard]] inline std::complex<double> value(const GammaPulse& pulse, double time) noexcept {
    const double u = time - pulse.arrival;
    if (!(u > 0)) {
        return 0;
    }
    const double v = u / gamma_decay_time(pulse.bandwidth);
    return v * v / 4 * std::exp(2 - v) * unit_phasor(pulse.centre_frequency * u);
}

/// Integral of the squared envelope [s] of the gamma pulse with -6 dB bandwidth B > 0 [Hz].
[[nodiscard]] inline double gamma_energy(double bandwidth) noexcept {
    return 3 * std::exp(4.0) / 64 * gamma_decay_time(bandwidth);
}

namespace detail {

/// Whether the attenuated spectrum has a maximum: a <= 3 k / 2.
[[nodiscard]] inline bool gamma_survives(const Sensor& sensor, double attenuation,
                                         double depth) noexcept {
    const double k = 2 * std::numbers::pi * gamma_decay_time(sensor.bandwidth);
    return nepers_per_hertz(attenuation, depth) <= 1.5 * k;
}

/// Frequency [Hz] at which the gamma pulse's spectrum has its maximum after the way to `depth` [m]
/// and back.
[[nodiscard]] inline double gamma_frequency(const Sensor& sensor, double attenuation,
                                            double depth) noexcept {
    const double a = nepers_per_hertz(attenuation, depth);
    const double k = 2 * std::numbers::pi * gamma_decay_time(sensor.bandwidth);
    const double root = std::sqrt(std::max(0.0, 9 * k * k - 4 * a * a));
    return sensor.centre_frequency - 2 * a / (k * (3 * k + root));
}

}  // namespace detail

}  // namespace echosieve
