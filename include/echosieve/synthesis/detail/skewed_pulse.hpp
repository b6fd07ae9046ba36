// A pulse of finite length whose envelope is a squared sine, skewed so that it rises faster than it
// falls.
#pragma once

#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>

#include "echosieve/core/detail/bisect.hpp"

namespace echosieve::detail {

// Symbols
//   u  time since the arrival [s];  T  length [s];  x = u / T;  s  skew, 0 to 0.9
//   f  centre frequency [Hz];  B  -6 dB bandwidth [Hz], full width of the amplitude spectrum
//   e(x) = sin(pi x)^2 (1 + s cos(pi x)) / P for x in 0 .. 1, 0 outside
//   g(u) = e(u / T) exp(i 2 pi f u)
// With c = cos(pi x), e is (1 - c^2) (1 + s c) / P, whose maximum lies where 3 s c^2 + 2 c - s = 0:
//   c_p = s / (1 + sqrt(1 + 3 s^2)),  x_p = acos(c_p) / pi,  P = (1 - c_p^2) (1 + s c_p)
// As a sum of waves, e(x) = sum over m = -3 .. 3 of a_m exp(i pi m x),
//   P a_0 = 1 / 2,  P a_1 = P a_-1 = s / 8,  P a_2 = P a_-2 = -1 / 4,  P a_3 = P a_-3 = -s / 8
//   energy:    integral of e^2 over x = (3 / 8 + s^2 / 16) / P^2
//   spectrum:  E(v) = sum a_m h(m - 2 v),  h(y) = exp(i pi y / 2) sin(pi y / 2) / (pi y / 2),
// v in units of 1 / T; -6 dB, the factor 10^-0.3, lies at v = b, and T = 2 b / B.
// Derived here; that real pulses rise faster than they fall is common practice, no source.

/// The envelope on its own scale of time, x.
class SkewedEnvelope {
public:
    static constexpr int highest = 3;  // m of the highest wave
    static constexpr std::size_t wave_count = 2 * highest + 1;
    static constexpr double most_skew = 0.9;

    /// `skew` in [0, 0.9].
    explicit SkewedEnvelope(double skew) : skew_(skew) {
        const double cosine = skew / (1 + std::sqrt(1 + 3 * skew * skew));
        peak_ = std::acos(cosine) / std::numbers::pi;
        scale_ = 1 / ((1 - cosine * cosine) * (1 + skew * cosine));
        waves_ = {-skew / 8, -0.25, skew / 8, 0.5, skew / 8, -0.25, -skew / 8};
        for (double& wave : waves_) {
            wave *= scale_;
        }
        // |E| falls all the way from 0 to beyond -6 dB.
        const double half = std::pow(10, -0.3) * std::abs(spectrum(0));
        const Bracket found = bisect(Bracket{0, first_zero}, halvings,
                                     [&](double v) { return std::abs(spectrum(v)) > half; });
        half_width_ = (found.low + found.high) / 2;
    }

    /// x_p, where it is 1.
    [[nodiscard]] double peak() const noexcept { return peak_; }
    /// a_m at m + 3.
    [[nodiscard]] const std::array<double, wave_count>& waves() const noexcept { return waves_; }
    /// Integral of its square over x.
    [[nodiscard]] double energy() const noexcept {
        return (3.0 / 8 + skew_ * skew_ / 16) * scale_ * scale_;
    }
    /// T [s] at -6 dB bandwidth B > 0 [Hz].
    [[nodiscard]] double length(double bandwidth) const noexcept {
        return 2 * half_width_ / bandwidth;
    }
    [[nodiscard]] double operator()(double x) const noexcept {
        if (!(x > 0 && x < 1)) {
            return 0;
        }
        const double sine = std::sin(std::numbers::pi * x);
        return scale_ * sine * sine * (1 + skew_ * std::cos(std::numbers::pi * x));
    }
    /// E(v).
    [[nodiscard]] std::complex<double> spectrum(double v) const noexcept {
        std::complex<double> sum = 0;
        for (int m = -highest; m <= highest; ++m) {
            const double y = std::numbers::pi / 2 * (m - 2 * v);
            const double sinc = y == 0 ? 1 : std::sin(y) / y;
            sum += waves_[static_cast<std::size_t>(m + highest)] * sinc * std::polar(1.0, y);
        }
        return sum;
    }

private:
    static constexpr int halvings = 60;         // until the interval is one of rounding
    static constexpr double first_zero = 1.75;  // a little before that of the unskewed envelope, 2

    double skew_;
    double peak_ = 0;
    double scale_ = 0;  // 1 / P
    double half_width_ = 0;
    std::array<double, wave_count> waves_{};
};

}  // namespace echosieve::detail
