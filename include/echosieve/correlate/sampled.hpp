// The sampled correlators: delays from the samples themselves, with no echoes fitted.
#pragma once

#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <span>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"

namespace echosieve {

// Symbols
//   y1, y2   complex samples (analytic or baseband) of two frames on one grid
//   f_m, fs  the grid's mixing frequency and sampling rate;  f the absolute centre frequency
//   C        = sum_n w_n conj(y1_n) y2_n
//
// An echo that arrives later by d in y2 turns C by exp(-i 2 pi f d), in baseband as well, since the
// mixing turns both frames alike: d = -arg C / (2 pi f) (Kasai et al. 1985, IEEE Trans. Sonics
// Ultrasonics 32:458-464). f is the sensor's, or of the samples themselves,
// f = f_m + arg(sum conj(y_n) y_{n+1}) fs / (2 pi) (Loupas et al. 1995, IEEE TUFFC 42:672-688).

struct SampledDelay {
    /// Positive if the second signal is later [s]; NaN if not usable. Unambiguous while
    /// |delay| < 1 / (2 frequency).
    double delay = std::numeric_limits<double>::quiet_NaN();
    double correlation = 0;  ///< |C| / sqrt(sum w |y1|^2 sum w |y2|^2), 0 to 1
    double frequency = 0;    ///< that turned the phase into the delay [Hz]

    /// False if either signal is silent or the frequency is not positive.
    [[nodiscard]] bool usable() const noexcept { return correlation > 0 && frequency > 0; }
};

/// A delay beyond half a period: the largest |C| over whole samples of lag, then the phase.
struct LagDelay {
    double delay = std::numeric_limits<double>::quiet_NaN();  ///< as of SampledDelay [s]
    double envelope_delay =
        std::numeric_limits<double>::quiet_NaN();  ///< peak of |C|, parabola [s]
    double correlation = 0;  ///< |C| at the best lag / sqrt(sum |y1|^2 sum |y2|^2), 0 to 1
    double frequency = 0;    ///< [Hz]
    int lag = 0;             ///< of the largest |C| [samples]
    bool interior = false;   ///< |lag| < max_lag: the peak was seen from both sides

    [[nodiscard]] bool usable() const noexcept { return interior && correlation > 0; }
};

namespace detail {

inline void require_frequency(double frequency) {
    require(frequency > 0 && is_finite(frequency), "frequency", frequency,
            "must be positive and finite [Hz]");
}

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
            require(w >= 0 && is_finite(w), "weight", w, "must be zero or more and finite");
            cross += w * std::conj(a) * b;
            energy1 += w * std::norm(a);
            energy2 += w * std::norm(b);
            if (n + 1 < y1.size()) {
                fast += w * (std::conj(a) * std::complex<double>(y1[n + 1]) +
                             std::conj(b) * std::complex<double>(y2[n + 1]));
            }
        }
        require(is_finite(energy1), "energy of the first signal", energy1,
                "must be finite: no NaN or infinity among the samples");
        require(is_finite(energy2), "energy of the second signal", energy2,
                "must be finite: no NaN or infinity among the samples");
    }
    [[nodiscard]] SampledDelay delay(double frequency) const {
        SampledDelay result;
        result.frequency = frequency;
        const double size = std::sqrt(energy1) * std::sqrt(energy2);
        if (size > 0 && frequency > 0) {
            result.delay = -std::arg(cross) / (2 * std::numbers::pi * frequency);
            result.correlation = std::abs(cross) / size;
        }
        return result;
    }
};

// sum_n conj(y1_n) y2_{n + lag} over the samples that both have.
template <Real R>
[[nodiscard]] std::complex<double> lagged_product(std::span<const std::complex<R>> y1,
                                                  std::span<const std::complex<R>> y2,
                                                  int lag) noexcept {
    const std::size_t shift = static_cast<std::size_t>(lag < 0 ? -lag : lag);
    const std::size_t skip1 = lag < 0 ? shift : 0;
    const std::size_t skip2 = lag < 0 ? 0 : shift;
    double re = 0;
    double im = 0;
    for (std::size_t n = 0; n + shift < y1.size(); ++n) {
        const std::complex<double> a = y1[n + skip1];
        const std::complex<double> b = y2[n + skip2];
        re += a.real() * b.real() + a.imag() * b.imag();
        im += a.real() * b.imag() - a.imag() * b.real();
    }
    return {re, im};
}

}  // namespace detail

/// Delay from the phase at lag zero with a known centre frequency [Hz], absolute also for baseband
/// samples. `weights` are per sample, or empty for 1. Throws InvalidInput if sizes differ, a sample
/// is not finite, a weight is negative or the frequency is not positive.
template <Real R>
[[nodiscard]] SampledDelay phase_delay(std::span<const std::complex<R>> y1,
                                       std::span<const std::complex<R>> y2, double frequency,
                                       std::span<const double> weights = {}) {
    detail::require_frequency(frequency);
    return detail::CorrelationSums<R>(y1, y2, weights).delay(frequency);
}

/// The same with the centre frequency of the samples in hand: two-dimensional autocorrelation.
/// `grid` gives the sampling rate and the mixing frequency. Not usable if that frequency comes out
/// at 0 Hz or below.
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
/// there is no peak. On a cosine of omega rad a sample the error is
/// cot(omega / 2) tan(omega delta) / 2 - delta: 6.5e-4 samples at most at 31.25 samples a period.
[[nodiscard]] inline double parabolic_peak(double left, double middle, double right) noexcept {
    const double curvature = left - 2 * middle + right;
    return curvature < 0 ? 0.5 * (left - right) / curvature : 0;
}

/// Delay from the largest |C| within max_lag samples (parabola through its neighbours), then from
/// the phase zero next to it. `frequency` as of phase_delay. Right while the envelope's error is
/// below half a period. Throws InvalidInput as phase_delay does, and unless 1 <= max_lag < size.
template <Real R>
[[nodiscard]] LagDelay lag_delay(std::span<const std::complex<R>> y1,
                                 std::span<const std::complex<R>> y2, const SamplingGrid& grid,
                                 double frequency, int max_lag) {
    validate(grid);
    detail::require_frequency(frequency);
    const detail::CorrelationSums<R> sums(y1, y2, {});
    require(max_lag >= 1 && static_cast<std::size_t>(max_lag) < y1.size(), "max_lag", max_lag,
            detail::concatenate("must be at least 1 and below the number of samples, ", y1.size()));
    LagDelay result;
    result.frequency = frequency;
    const double size = std::sqrt(sums.energy1) * std::sqrt(sums.energy2);
    if (!(size > 0)) {
        return result;
    }
    std::complex<double> best{0, 0};
    for (int lag = -max_lag; lag <= max_lag; ++lag) {
        const std::complex<double> product = detail::lagged_product(y1, y2, lag);
        if (std::norm(product) > std::norm(best)) {
            best = product;
            result.lag = lag;
        }
    }
    result.correlation = std::abs(best) / size;
    result.interior = result.lag > -max_lag && result.lag < max_lag;
    if (!result.usable()) {
        return result;
    }
    const double step = grid.step();
    const double offset =
        parabolic_peak(std::abs(detail::lagged_product(y1, y2, result.lag - 1)), std::abs(best),
                       std::abs(detail::lagged_product(y1, y2, result.lag + 1)));
    result.envelope_delay = (result.lag + offset) * step;
    // Baseband: y2 is mixed down at a later time than y1; the turns below undo that.
    const double turns = std::arg(best) / (2 * std::numbers::pi) +
                         grid.mixing_frequency * result.lag * step +
                         frequency * (result.envelope_delay - result.lag * step);
    result.delay = result.envelope_delay - (turns - std::nearbyint(turns)) / frequency;
    return result;
}

}  // namespace echosieve
