// Filters along frames (slow time): smoothing, slow part, bridging of unusable frames, percentiles.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

#include "echosieve/core/error.hpp"

namespace echosieve {

namespace detail {

/// Index into 0 .. count - 1 of a signal continued by mirroring at its ends (b a | a b c | c b).
[[nodiscard]] inline Eigen::Index mirrored(Eigen::Index index, Eigen::Index count) noexcept {
    const Eigen::Index period = 2 * count;
    index %= period;
    if (index < 0) {
        index += period;
    }
    return index < count ? index : period - 1 - index;
}

/// Taps k = 0 .. K of a symmetric Gaussian kernel of standard deviation sigma [samples], K = 4
/// sigma, sum 1.
[[nodiscard]] inline std::vector<double> gaussian_taps(double sigma) {
    const auto reach = static_cast<std::size_t>(std::ceil(4 * sigma));
    std::vector<double> taps(reach + 1);
    double sum = 0;
    for (std::size_t k = 0; k <= reach; ++k) {
        const double x = static_cast<double>(k) / sigma;
        taps[k] = std::exp(-x * x / 2);
        sum += (k == 0 ? 1 : 2) * taps[k];
    }
    for (double& tap : taps) {
        tap /= sum;
    }
    return taps;
}

}  // namespace detail

/// x smoothed by a Gaussian of standard deviation sigma [samples] >= 0; mirrored at the ends, 0
/// changes nothing.
template <class T>
[[nodiscard]] Eigen::ArrayX<T> gaussian_smooth(const Eigen::Ref<const Eigen::ArrayX<T>>& x,
                                               double sigma) {
    require(sigma >= 0, "sigma", sigma, "must be zero or more [samples]");
    const Eigen::Index count = x.size();
    if (sigma < 0.05 || count < 2) {  // the neighbours' taps are below 1e-80
        return x;
    }
    const std::vector<double> taps = detail::gaussian_taps(sigma);
    const auto reach = static_cast<Eigen::Index>(taps.size()) - 1;
    Eigen::ArrayX<T> padded(count + 2 * reach);
    for (Eigen::Index i = 0; i < padded.size(); ++i) {
        padded[i] = x[detail::mirrored(i - reach, count)];
    }
    Eigen::ArrayX<T> y = taps[0] * padded.segment(reach, count);
    for (Eigen::Index k = 1; k <= reach; ++k) {
        y += taps[static_cast<std::size_t>(k)] *
             (padded.segment(reach - k, count) + padded.segment(reach + k, count));
    }
    return y;
}

/// Mean of the `length` >= 1 samples around each one; the ends repeat the first and the last
/// sample. An even length reaches one sample further back than forward, so it delays by half a
/// sample.
[[nodiscard]] inline Eigen::ArrayXd moving_average(const Eigen::Ref<const Eigen::ArrayXd>& x,
                                                   Eigen::Index length) {
    require(length >= 1, "length", length, "must be at least 1 [samples]");
    const Eigen::Index count = x.size();
    const Eigen::Index before = length / 2;
    Eigen::ArrayXd y(count);
    for (Eigen::Index i = 0; i < count; ++i) {
        double sum = 0;
        for (Eigen::Index k = i - before; k < i - before + length; ++k) {
            sum += x[std::clamp<Eigen::Index>(k, 0, count - 1)];
        }
        y[i] = sum / static_cast<double>(length);
    }
    return y;
}

/// Standard deviation [samples] of the Gaussian whose frequency response falls to exp(-1/2) at
/// `frequency`.
[[nodiscard]] inline double gaussian_sigma(double frequency, double rate) noexcept {
    return rate / (2 * std::numbers::pi * frequency);
}

/// x without its part below `frequency` [Hz], by a Gaussian low-pass.
[[nodiscard]] inline Eigen::ArrayXd without_slow_part(const Eigen::Ref<const Eigen::ArrayXd>& x,
                                                      double frequency, double rate) {
    return x - gaussian_smooth<double>(x, gaussian_sigma(frequency, rate));
}

/// Replaces the samples with usable[i] == false by the straight line between their usable
/// neighbours; before the first and after the last usable sample the nearest one is repeated.
/// Nothing is changed if none is usable.
template <class Array>
void bridge(Array& rows, const std::vector<bool>& usable) {
    const auto count = static_cast<Eigen::Index>(usable.size());
    Eigen::Index before = -1;
    for (Eigen::Index i = 0; i < count; ++i) {
        if (usable[static_cast<std::size_t>(i)]) {
            before = i;
            continue;
        }
        Eigen::Index after = i;
        while (after < count && !usable[static_cast<std::size_t>(after)]) {
            ++after;
        }
        for (; i < after; ++i) {
            if (before >= 0 && after < count) {
                const double t =
                    static_cast<double>(i - before) / static_cast<double>(after - before);
                rows.row(i) = (1 - t) * rows.row(before) + t * rows.row(after);
            } else if (before >= 0) {
                rows.row(i) = rows.row(before);
            } else if (after < count) {
                rows.row(i) = rows.row(after);
            }
        }
        --i;
    }
}

/// Phase [rad] of each x, continued without jumps of more than half a turn; the first in [-pi, pi].
[[nodiscard]] inline Eigen::ArrayXd unwrapped_phase(const Eigen::Ref<const Eigen::ArrayXcd>& x) {
    Eigen::ArrayXd phase(x.size());
    double last = 0;
    for (Eigen::Index i = 0; i < phase.size(); ++i) {
        last += std::remainder(std::arg(x[i]) - last, 2 * std::numbers::pi);
        phase[i] = last;
    }
    return phase;
}

/// The value below which the fraction `part` in [0, 1] of x lies, interpolated. Throws if x is
/// empty.
[[nodiscard]] inline double quantile(const Eigen::Ref<const Eigen::ArrayXd>& x, double part) {
    require(x.size() > 0, "number of values", x.size(), "must be at least 1");
    require(part >= 0 && part <= 1, "part", part, "must lie in [0, 1]");
    std::vector<double> sorted(x.begin(), x.end());
    std::sort(sorted.begin(), sorted.end());
    const double place = part * static_cast<double>(sorted.size() - 1);
    const auto low = static_cast<std::size_t>(place);
    const std::size_t high = std::min(low + 1, sorted.size() - 1);
    return sorted[low] + (place - static_cast<double>(low)) * (sorted[high] - sorted[low]);
}

[[nodiscard]] inline double median(const Eigen::Ref<const Eigen::ArrayXd>& x) {
    return quantile(x, 0.5);
}

}  // namespace echosieve
