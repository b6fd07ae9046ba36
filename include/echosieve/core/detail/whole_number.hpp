// A real number as a whole one: held within bounds before it is cast.
#pragma once

#include <concepts>

namespace echosieve {

/// x without its fraction, held within lowest .. highest; NaN gives lowest. The cast of a double
/// that the whole numbers don't hold is undefined, so bounding what a cast gave comes too late:
/// whatever was computed from options, settings or samples is bounded here. Round beforehand:
/// held_whole(std::ceil(x), ...).
template <std::integral I>
[[nodiscard]] constexpr I held_whole(double x, I lowest, I highest) noexcept {
    if (!(x > static_cast<double>(lowest))) {
        return lowest;
    }
    return x < static_cast<double>(highest) ? static_cast<I>(x) : highest;
}

/// More than any frame, sample, gate or step that is ever counted, and far from where counts
/// overflow when they are added or multiplied by a few.
inline constexpr long most_counted = 1'000'000'000'000;

}  // namespace echosieve
