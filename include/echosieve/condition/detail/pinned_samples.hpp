// Samples at the rails of what took them: runs of equal ones at a frame's or a recording's
// extremes.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cstddef>
#include <limits>
#include <span>
#include <type_traits>

namespace echosieve::detail {

// Two neighbours may be equal by chance.
inline constexpr std::size_t shortest_flat_run = 3;

template <class T>
struct Extremes {
    T low = std::numeric_limits<T>::max();
    T high = std::numeric_limits<T>::lowest();

    void take(const Extremes& other) noexcept {
        low = std::min(low, other.low);
        high = std::max(high, other.high);
    }
};

// Of a frame of finite samples.
template <class T>
[[nodiscard]] Extremes<T> extremes(std::span<const T> frame) noexcept {
    Extremes<T> out;
    if constexpr (std::is_floating_point_v<T>) {
        if (!frame.empty()) {  // a compiler may not reorder this by itself
            const Eigen::Map<const Eigen::Array<T, Eigen::Dynamic, 1>> x(
                frame.data(), static_cast<Eigen::Index>(frame.size()));
            out = {x.minCoeff(), x.maxCoeff()};
        }
    } else {
        for (const T x : frame) {
            out.low = std::min(out.low, x);
            out.high = std::max(out.high, x);
        }
    }
    return out;
}

// Calls mark(k) for the samples in runs of at least `run` equal ones at `low` and below or `high`
// and above.
template <class T, class Limit, class Mark>
void for_each_pinned(std::span<const T> frame, Limit low, Limit high, std::size_t run, Mark mark) {
    for (std::size_t k = 0; k < frame.size();) {
        std::size_t end = k + 1;
        const auto x = static_cast<Limit>(frame[k]);
        if (x <= low || x >= high) {
            while (end < frame.size() && frame[end] == frame[k]) {
                ++end;
            }
            for (std::size_t j = k; end - k >= run && j < end; ++j) {
                mark(j);
            }
        }
        k = end;
    }
}

// Number of samples in such runs of shortest_flat_run or more.
template <class T, class Limit>
[[nodiscard]] std::size_t pinned_samples(std::span<const T> frame, Limit low, Limit high) noexcept {
    std::size_t count = 0;
    for_each_pinned(frame, low, high, shortest_flat_run, [&](std::size_t) { ++count; });
    return count;
}

}  // namespace echosieve::detail
