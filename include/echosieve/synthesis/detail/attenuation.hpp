// How attenuation that grows with frequency shifts a sensor's band down.
#pragma once

#include <numbers>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve::detail {

/// Loss of the way to `depth` [m] and back per frequency [Np/Hz]; `attenuation` one way
/// [dB/cm/MHz].
[[nodiscard]] constexpr double nepers_per_hertz(double attenuation, double depth) noexcept {
    return attenuation * 2 * depth * 100 / 8.685889638 * 1e-6;
}

/// f0 - g sigma_f^2, g the loss per frequency in nepers: attenuation that grows with frequency
/// shifts a Gaussian band down and keeps its width (Kuc and Schwartz 1979, from memory).
[[nodiscard]] inline double attenuated_frequency(const Sensor& sensor, double attenuation,
                                                 double depth) noexcept {
    const double sigma_square =
        decay_from_bandwidth(sensor.bandwidth) / (2 * std::numbers::pi * std::numbers::pi);
    return sensor.centre_frequency - nepers_per_hertz(attenuation, depth) * sigma_square;
}

}  // namespace echosieve::detail
