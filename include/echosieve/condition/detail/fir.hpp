// Low-pass filters of finite length, by the window method.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

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
    const Eigen::Index middle = length / 2;
    const auto half = static_cast<double>(middle);
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

/// A longer filter is one for a bandwidth in other units.
inline constexpr double most_taps = 1e8;

/// Odd length of a low-pass whose transition is about as wide as a sensor's band: 4 rate /
/// bandwidth, both positive [Hz]. Throws InvalidInput if that exceeds most_taps.
[[nodiscard]] inline Eigen::Index filter_length(double rate, double bandwidth) {
    require(4 * rate / bandwidth <= most_taps, "bandwidth", bandwidth,
            detail::concatenate("must be at least ", 4 / most_taps, " of the sampling rate, ", rate,
                                " [Hz]"));
    return static_cast<Eigen::Index>(4 * rate / bandwidth) | 1;
}

namespace detail {

/// The largest whole number, 1 at least, by which `rate` divided is still `least` or more, both
/// positive [Hz].
[[nodiscard]] inline std::size_t decimation(double rate, double least) noexcept {
    constexpr double longest = 1e15;  // longer than any frame, and small enough to count with
    return static_cast<std::size_t>(std::clamp(rate / least, 1.0, longest));
}

}  // namespace detail

}  // namespace echosieve
