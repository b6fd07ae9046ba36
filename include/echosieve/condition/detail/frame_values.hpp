// What several looks at a recording's frames share: a median, whether a frame is finite, and frames
// spread evenly over all.
#pragma once

#include <algorithm>
#include <cstddef>
#include <span>
#include <type_traits>
#include <vector>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve::detail {

// The upper median; 0 of nothing.
[[nodiscard]] inline double middle(std::vector<double> values) {
    if (values.empty()) {
        return 0;
    }
    const auto place = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), place, values.end());
    return *place;
}

template <class T>
[[nodiscard]] bool all_finite(std::span<const T> frame) noexcept {
    if constexpr (std::is_floating_point_v<T>) {
        bool all = true;  // no early end: so it is vectorised
        for (const T x : frame) {
            all &= is_finite(x);
        }
        return all;
    } else {
        return true;
    }
}

// Of `most` frames spread evenly over the recording those that are finite; none without samples.
template <class T>
[[nodiscard]] std::vector<std::size_t> spread_frames(const FrameView<T>& frames, std::size_t most) {
    std::vector<std::size_t> chosen;
    const std::size_t wanted = frames.samples() > 0 ? std::min(most, frames.frames()) : 0;
    for (std::size_t n = 0; n < wanted; ++n) {
        const std::size_t i = n * frames.frames() / wanted;
        if (all_finite(frames[i])) {
            chosen.push_back(i);
        }
    }
    return chosen;
}

}  // namespace echosieve::detail
