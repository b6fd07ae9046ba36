// Low-pass filters of finite length, by the window method.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <cstddef>
#include <numbers>

#include "echosieve/core/error.hpp"
#include "echosieve/core/scalar.hpp"

namespace echosieve {

/// Taps of a linear-phase low-pass: a sinc of cut-off `cutoff` [Hz] (-6 dB there) under a Hamming
/// window, gain 1 at 0 Hz; the same as scipy.signal.firwin(length, cutoff, fs=rate). Stop band 53
/// dB down. Throws InvalidInput unless length is odd and 0 < cutoff < rate / 2.
[[nodiscard]] inline Eigen::ArrayXd low_pass_taps(Eigen::Index length, double cutoff, double rate) {
    require(length >= 1 && length % 2 == 1, "filter length", length, "must be odd and positive");
    require(rate > 0 && is_finite(rate), "rate", rate, "must be positive and finite [Hz]");
    require(cutoff > 0 && cutoff < rate / 2, "cutoff", cutoff,
            "must lie between 0 and half the rate [Hz]");
    const double pi = std::numbers::pi;
    const auto half = static_cast<double>(length / 2);
    Eigen::ArrayXd taps(length);
    for (Eigen::Index k = 0; k < length; ++k) {
        const double n = static_cast<double>(k) - half;
        const double x = 2 * pi * cutoff / rate * n;
        const double sinc = n == 0 ? 1 : std::sin(x) / x;
        const double window = length == 1 ? 1 : 0.54 + 0.46 * std::cos(pi * n / half);
        taps[k] = sinc * window;
    }
    return taps / taps.sum();
}

/// Odd length of a low-pass whose transition is about as wide as a sensor's band: 4 rate /
/// bandwidth.
[[nodiscard]] inline Eigen::Index filter_length(double rate, double bandwidth) noexcept {
    return static_cast<Eigen::Index>(4 * rate / bandwidth) | 1;
}

}  // namespace echosieve
