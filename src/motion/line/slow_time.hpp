// Filters along frames (slow time): smoothing, slow part, bridging of unusable frames, percentiles.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

namespace detail {

/// Index into 0 .. count - 1 of a signal continued by mirroring at its ends (b a | a b c | c b).
[[nodiscard]] Eigen::Index mirrored(Eigen::Index index, Eigen::Index count) noexcept;

/// Taps k = 0 .. K of a symmetric Gaussian kernel of standard deviation sigma [samples], K = 4
/// sigma, sum 1.
[[nodiscard]] std::vector<double> gaussian_taps(double sigma);

}  // namespace detail

/// Up to this sigma [samples] every sample is smoothed by itself.
inline constexpr double longest_direct_sigma = 2000;

namespace detail {

/// x smoothed by a sigma far beyond longest_direct_sigma: means over a few hundredths of it, those
/// smoothed, and straight lines between them. The error is 1e-5 of what is left.
template <class T>
[[nodiscard]] Eigen::ArrayX<T> long_smooth(const Eigen::Ref<const Eigen::ArrayX<T>>& x,
                                           double sigma);

}  // namespace detail

/// x smoothed by a Gaussian of standard deviation sigma [samples] >= 0; mirrored at the ends, 0
/// changes nothing. Takes no longer the longer sigma is, beyond longest_direct_sigma.
template <class T>
[[nodiscard]] Eigen::ArrayX<T> gaussian_smooth(const Eigen::Ref<const Eigen::ArrayX<T>>& x,
                                               double sigma) {
    require(sigma >= 0, "sigma", sigma, "must be zero or more [samples]");
    const Eigen::Index count = x.size();
    constexpr double no_smoothing = 0.05;  // the neighbours' taps are below 1e-80
    if (sigma < no_smoothing || count < 2) {
        return x;
    }
    if (sigma > longest_direct_sigma) {
        return detail::long_smooth<T>(x, sigma);
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

template <class T>
Eigen::ArrayX<T> detail::long_smooth(const Eigen::Ref<const Eigen::ArrayX<T>>& x, double sigma) {
    constexpr double parts_a_sigma = 200;  // leaves the error that is promised
    const auto count = static_cast<double>(x.size());
    const Eigen::Index parts =
        held_whole(std::ceil(count * parts_a_sigma / sigma), Eigen::Index{1}, x.size());
    const double length = count / static_cast<double>(parts);  // of a part [samples]
    const auto first = [&](Eigen::Index k) {
        return static_cast<Eigen::Index>(std::round(static_cast<double>(k) * length));
    };
    Eigen::ArrayX<T> means(parts);
    for (Eigen::Index k = 0; k < parts; ++k) {
        means[k] = x.segment(first(k), first(k + 1) - first(k)).mean();
    }
    // The mirrored means repeat after twice their number: what is smoothed further is their mean.
    constexpr double longest_sigma = 4;  // over the number of means
    const double longest = longest_sigma * static_cast<double>(parts);
    const Eigen::ArrayX<T> smooth =
        parts > 1 ? gaussian_smooth<T>(means, std::min(sigma / length, longest)) : means;
    Eigen::ArrayX<T> y(x.size());
    for (Eigen::Index i = 0; i < y.size(); ++i) {
        const double place = std::clamp((static_cast<double>(i) + 0.5) / length - 0.5, 0.0,
                                        static_cast<double>(parts - 1));
        const auto k = static_cast<Eigen::Index>(place);
        const double t = place - static_cast<double>(k);
        y[i] = (1 - t) * smooth[k] + t * smooth[std::min(k + 1, parts - 1)];
    }
    return y;
}

/// Mean of the `length` >= 1 samples around each one; the ends repeat the first and the last
/// sample. An even length reaches one sample further back than forward, so it delays by half a
/// sample.
[[nodiscard]] Eigen::ArrayXd moving_average(const Eigen::Ref<const Eigen::ArrayXd>& x,
                                            Eigen::Index length);

/// Standard deviation [samples] of the Gaussian whose frequency response falls to exp(-1/2) at
/// `frequency`.
[[nodiscard]] double gaussian_sigma(double frequency, double rate) noexcept;

/// x without its part below `frequency` [Hz], by a Gaussian low-pass.
[[nodiscard]] Eigen::ArrayXd without_slow_part(const Eigen::Ref<const Eigen::ArrayXd>& x,
                                               double frequency, double rate);

/// Change of x from frame to frame, by its neighbours on both sides; at the ends by one.
[[nodiscard]] Eigen::ArrayXd slope_of(const Eigen::Ref<const Eigen::ArrayXd>& x);

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
[[nodiscard]] Eigen::ArrayXd unwrapped_phase(const Eigen::Ref<const Eigen::ArrayXcd>& x);

/// The value below which the fraction `part` in [0, 1] of x lies, interpolated. Throws if x is
/// empty.
[[nodiscard]] double quantile(const Eigen::Ref<const Eigen::ArrayXd>& x, double part);

[[nodiscard]] double median(const Eigen::Ref<const Eigen::ArrayXd>& x);

}  // namespace echosieve
