// The sampled correlators: delays from the samples themselves, with no echoes fitted.
#pragma once

#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>

#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/scalar.hpp"

namespace echosieve {

// Symbols
//   y1, y2  complex samples (analytic or baseband) of two frames on one grid;  f_m its mixing
//   frequency C = sum_n w_n conj(y1_n) y2_n:  an echo that arrives later by d in y2 turns C by
//   exp(-i 2 pi f d) d = -arg C / (2 pi f) (Kasai et al. 1985) f known (the sensor's), or f = f_m +
//   arg(sum conj(y_n) y_{n+1}) fs / (2 pi) of the samples themselves (two-dimensional
//   autocorrelation, Loupas et al. 1995)

struct SampledDelay {
    double delay =
        0;  ///< positive if the second signal is later; unambiguous within half a period [s]
    double correlation =
        0;                 ///< |C| / sqrt(sum w |y1|^2 sum w |y2|^2), 0 to 1; 0 if either is silent
    double frequency = 0;  ///< that turned the phase into the delay [Hz]
};

namespace detail {

template <Real R>
struct CorrelationSums {
    std::complex<double> cross{0, 0};
    std::complex<double> fast{0, 0};  // lag one sample, both signals
    double energy1 = 0;
    double energy2 = 0;

    CorrelationSums(std::span<const std::complex<R>> y1, std::span<const std::complex<R>> y2,
                    std::span<const double> weights) {
        require(y1.size() == y2.size(), "samples of the second signal", y2.size(),
                concatenate("must equal those of the first, ", y1.size()));
        require(weights.empty() || weights.size() == y1.size(), "number of weights", weights.size(),
                concatenate("must be 0 or ", y1.size()));
        for (std::size_t n = 0; n < y1.size(); ++n) {
            const std::complex<double> a = y1[n];
            const std::complex<double> b = y2[n];
            const double w = weights.empty() ? 1 : weights[n];
            cross += w * std::conj(a) * b;
            energy1 += w * std::norm(a);
            energy2 += w * std::norm(b);
            if (n + 1 < y1.size()) {
                fast += w * (std::conj(a) * std::complex<double>(y1[n + 1]) +
                             std::conj(b) * std::complex<double>(y2[n + 1]));
            }
        }
    }
    [[nodiscard]] SampledDelay delay(double frequency) const {
        const double size = std::sqrt(energy1 * energy2);
        if (!(size > 0)) {
            return {0, 0, frequency};
        }
        return {-std::arg(cross) / (2 * std::numbers::pi * frequency), std::abs(cross) / size,
                frequency};
    }
};

}  // namespace detail

/// Delay from the phase at lag zero with a known centre frequency [Hz]. `weights` are per sample,
/// or empty for 1. Throws InvalidInput if sizes differ or the frequency is not positive.
template <Real R>
[[nodiscard]] SampledDelay phase_delay(std::span<const std::complex<R>> y1,
                                       std::span<const std::complex<R>> y2, double frequency,
                                       std::span<const double> weights = {}) {
    require(frequency > 0 && is_finite(frequency), "frequency", frequency,
            "must be positive and finite [Hz]");
    return detail::CorrelationSums<R>(y1, y2, weights).delay(frequency);
}

/// The same with the centre frequency of the samples in hand: two-dimensional autocorrelation.
/// `grid` gives the sampling rate and the mixing frequency.
template <Real R>
[[nodiscard]] SampledDelay phase_delay_local(std::span<const std::complex<R>> y1,
                                             std::span<const std::complex<R>> y2,
                                             const SamplingGrid& grid,
                                             std::span<const double> weights = {}) {
    validate(grid);
    const detail::CorrelationSums<R> sums(y1, y2, weights);
    return sums.delay(grid.mixing_frequency +
                      std::arg(sums.fast) * grid.sampling_rate / (2 * std::numbers::pi));
}

/// Offset of a peak, within half a sample, from the values at -1, 0 and 1 by a parabola; 0 where
/// there is no peak.
[[nodiscard]] inline double parabolic_peak(double left, double middle, double right) noexcept {
    const double curvature = left - 2 * middle + right;
    return curvature < 0 ? 0.5 * (left - right) / curvature : 0;
}

}  // namespace echosieve
