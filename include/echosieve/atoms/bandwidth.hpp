// Conversions between the -6 dB bandwidth of a Gaussian pulse, its decay rate and its length.
#pragma once

#include <cmath>
#include <numbers>

#include "echosieve/core/detail/scalar.hpp"

namespace echosieve {

// Symbols
//   bandwidth  B      [Hz]    full width of the amplitude spectrum at -6 dB
//   decay      alpha  [1/s^2] of the envelope exp(-alpha u^2), u the time from its peak
//
// The amplitude spectrum of exp(-alpha u^2) is proportional to exp(-pi^2 f^2 / alpha), so that -6
// dB, taken as the factor 10^-0.3 = 0.501187 (not 1/2), is reached at f = B / 2 when alpha = (pi
// B)^2 / (4 ln 10^0.3). The same convention as bwr = -6 of scipy.signal.gausspulse.

/// ln 10^0.3, the logarithm of the -6 dB amplitude factor's inverse.
inline constexpr double ln_six_decibels = 0.3 * std::numbers::ln10;

/// Decay alpha [1/s^2] of the pulse with -6 dB bandwidth B [Hz]. Exact to 4 ulp; B = 0 gives 0.
template <Real R>
[[nodiscard]] constexpr R decay_from_bandwidth(R bandwidth) noexcept {
    const double root = std::numbers::pi * static_cast<double>(bandwidth);
    return static_cast<R>(root * root / (4 * ln_six_decibels));
}

/// -6 dB bandwidth B [Hz] of the pulse with decay alpha [1/s^2] >= 0. Exact to 4 ulp.
template <Real R>
[[nodiscard]] R bandwidth_from_decay(R decay) noexcept {
    return static_cast<R>(std::sqrt(static_cast<double>(decay) * 4 * ln_six_decibels) /
                          std::numbers::pi);
}

/// Time [s] over which the envelope is within `decibels` > 0 of its peak, both sides of it
/// together.
template <Real R>
[[nodiscard]] R pulse_length(R decay, R decibels = 6) noexcept {
    return 2 * std::sqrt(decibels * static_cast<R>(std::numbers::ln10 / 20) / decay);
}

}  // namespace echosieve
