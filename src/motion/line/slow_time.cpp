#include "motion/line/slow_time.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

#include "echosieve/core/error.hpp"

namespace echosieve::detail {

namespace {

constexpr double gaussian_reach = 4;  // sigmas: 6e-5 of the kernel lies beyond

}  // namespace

Eigen::Index mirrored(Eigen::Index index, Eigen::Index count) noexcept {
    const Eigen::Index period = 2 * count;
    index %= period;
    if (index < 0) {
        index += period;
    }
    return index < count ? index : period - 1 - index;
}

std::vector<double> gaussian_taps(double sigma) {
    const auto reach = static_cast<std::size_t>(std::ceil(gaussian_reach * sigma));
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

}  // namespace echosieve::detail

namespace echosieve {

namespace {

constexpr Eigen::Index longest_direct_average = 1000;  // summed sample by sample

// By running sums: the time does not grow with the length.
Eigen::ArrayXd long_average(const Eigen::Ref<const Eigen::ArrayXd>& x, Eigen::Index length) {
    const Eigen::Index count = x.size();
    Eigen::ArrayXd sums(count + 1);
    sums[0] = 0;
    for (Eigen::Index i = 0; i < count; ++i) {
        sums[i + 1] = sums[i] + (x[i] - x[0]);
    }
    Eigen::ArrayXd y(count);
    for (Eigen::Index i = 0; i < count; ++i) {
        const Eigen::Index first = i - length / 2;
        const Eigen::Index begin = std::clamp<Eigen::Index>(first, 0, count);
        const Eigen::Index end = std::clamp<Eigen::Index>(first + length, 0, count);
        const auto beyond = static_cast<double>(first + length - end);  // samples after the last
        y[i] = x[0] + (sums[end] - sums[begin] + beyond * (x[count - 1] - x[0])) /
                          static_cast<double>(length);
    }
    return y;
}

}  // namespace

Eigen::ArrayXd moving_average(const Eigen::Ref<const Eigen::ArrayXd>& x, Eigen::Index length) {
    require(length >= 1, "length", length, "must be at least 1 [samples]");
    const Eigen::Index count = x.size();
    const Eigen::Index before = length / 2;
    Eigen::ArrayXd y(count);
    if (length > longest_direct_average) {
        return long_average(x, length);
    }
    for (Eigen::Index i = 0; i < count; ++i) {
        double sum = 0;
        for (Eigen::Index k = i - before; k < i - before + length; ++k) {
            sum += x[std::clamp<Eigen::Index>(k, 0, count - 1)];
        }
        y[i] = sum / static_cast<double>(length);
    }
    return y;
}

double gaussian_sigma(double frequency, double rate) noexcept {
    return rate / (2 * std::numbers::pi * frequency);
}

Eigen::ArrayXd without_slow_part(const Eigen::Ref<const Eigen::ArrayXd>& x, double frequency,
                                 double rate) {
    return x - gaussian_smooth<double>(x, gaussian_sigma(frequency, rate));
}

Eigen::ArrayXd unwrapped_phase(const Eigen::Ref<const Eigen::ArrayXcd>& x) {
    Eigen::ArrayXd phase(x.size());
    double last = 0;
    for (Eigen::Index i = 0; i < phase.size(); ++i) {
        last += std::remainder(std::arg(x[i]) - last, 2 * std::numbers::pi);
        phase[i] = last;
    }
    return phase;
}

double quantile(const Eigen::Ref<const Eigen::ArrayXd>& x, double part) {
    require(x.size() > 0, "number of values", x.size(), "must be at least 1");
    require(part >= 0 && part <= 1, "part", part, "must lie in [0, 1]");
    std::vector<double> sorted(x.begin(), x.end());
    std::sort(sorted.begin(), sorted.end());
    const double place = part * static_cast<double>(sorted.size() - 1);
    const auto low = static_cast<std::size_t>(place);
    const std::size_t high = std::min(low + 1, sorted.size() - 1);
    return sorted[low] + (place - static_cast<double>(low)) * (sorted[high] - sorted[low]);
}

double median(const Eigen::Ref<const Eigen::ArrayXd>& x) {
    return quantile(x, 0.5);
}

Eigen::ArrayXd slope_of(const Eigen::Ref<const Eigen::ArrayXd>& x) {
    const Eigen::Index last = x.size() - 1;
    Eigen::ArrayXd slope(x.size());
    for (Eigen::Index i = 0; i <= last; ++i) {
        const Eigen::Index from = std::max<Eigen::Index>(i - 1, 0);
        const Eigen::Index to = std::min(i + 1, last);
        slope[i] = (x[to] - x[from]) / static_cast<double>(std::max<Eigen::Index>(to - from, 1));
    }
    return slope;
}

}  // namespace echosieve
