// The noise of a sampled signal, from the signal itself.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

// Symbols
//   x       samples = echoes + white noise of standard deviation sigma
//   D^k x   k-th difference: D x_n = x_{n+1} - x_n
//
// A difference turns an echo of frequency f down by 2 sin(pi f / fs), and white noise up by
// sqrt(2 k choose k): at 4 MHz and 125 MHz four of them leave 1.6e-3 of an echo, and 8.4 of the
// noise. The median of |D^4 x| is 0.6745 of its standard deviation (normal distribution) and does
// not mind a few echoes (Donoho and Johnstone 1994, Biometrika 81:425-455, for wavelet
// coefficients).

inline constexpr std::size_t noise_differences = 4;

/// sigma of real samples that are taken well above twice the echoes' frequency (by four times or
/// more; slower, the echoes count as noise). Unbiased to the order of 1 / size for white noise; its
/// own relative standard deviation is about 1.9 / sqrt(size) (measured, see the tests). Throws
/// InvalidInput for fewer than 16 samples or one that is not finite.
template <Real R>
[[nodiscard]] double noise_deviation(std::span<const R> samples) {
    require(samples.size() >= 16, "number of samples", samples.size(), "must be at least 16");
    std::vector<double> differences;
    differences.reserve(samples.size());
    for (const R sample : samples) {
        require(is_finite(sample), "sample", sample, "must be finite");
        differences.push_back(static_cast<double>(sample));
    }
    for (std::size_t k = 0; k < noise_differences; ++k) {
        for (std::size_t n = 0; n + 1 < differences.size(); ++n) {
            differences[n] = differences[n + 1] - differences[n];
        }
        differences.pop_back();
    }
    for (double& difference : differences) {
        difference = std::abs(difference);
    }
    const auto middle = differences.begin() + static_cast<std::ptrdiff_t>(differences.size() / 2);
    std::nth_element(differences.begin(), middle, differences.end());
    constexpr double normal_median = 0.674489750196082;  // of |x|, x ~ N(0, 1)
    constexpr double gain = 8.366600265340756;           // sqrt(8 choose 4)
    return *middle / (normal_median * gain);
}

}  // namespace echosieve
