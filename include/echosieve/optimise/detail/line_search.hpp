// Which step along a line to try next.
#pragma once

#include <algorithm>
#include <cmath>
#include <limits>

#include "echosieve/core/detail/scalar.hpp"

namespace echosieve {

// Symbols
//   a          step;  f  value there;  slope  df/da
//   c1, c2     a step will do where f <= f(0) + c1 a slope(0) and slope >= c2 slope(0)
// The conditions of Wolfe 1969 and their constants' names: Nocedal and Wright 2006, chapter 3 (from
// memory); the cubic through two points and their slopes: there, equation 3.59.

/// A step that was tried. Value and slope may be missing: not finite.
struct LinePoint {
    double step = 0;
    double value = 0;
    double slope = std::numeric_limits<double>::quiet_NaN();
};

/// Where the cubic through a and b, or without the slope at b the parabola, is least; NaN if it has
/// no minimum.
[[nodiscard]] inline double interpolated_minimum(const LinePoint& a, const LinePoint& b) noexcept {
    const double width = b.step - a.step;
    const double chord = (b.value - a.value) / width;
    if (!is_finite(b.slope)) {
        const double bend = (chord - a.slope) / width;
        return bend > 0 ? a.step - a.slope / (2 * bend) : std::numeric_limits<double>::quiet_NaN();
    }
    const double d = a.slope + b.slope - 3 * chord;
    const double root = std::copysign(std::sqrt(d * d - a.slope * b.slope), width);
    return b.step - width * ((b.slope + root - d) / (b.slope - a.slope + 2 * root));
}

/// A step between `low`, which is good, and `high`, which is not; well inside, so that the interval
/// shrinks.
[[nodiscard]] inline double step_between(const LinePoint& low, const LinePoint& high) noexcept {
    const double width = high.step - low.step;
    // From the start of the line at most half way back: so 60 trials reach every rounding.
    constexpr double least = 0.1;
    const double most = low.step == 0 ? 0.5 : 0.9;
    if (!is_finite(high.value)) {
        return low.step + width / 4;
    }
    const double wanted = (interpolated_minimum(low, high) - low.step) / width;
    return low.step + width * (is_finite(wanted) ? std::clamp(wanted, least, most) : 0.5);
}

/// A step beyond `here`, from where the line still falls steeply; `before` is the one tried before.
[[nodiscard]] inline double step_beyond(const LinePoint& before, const LinePoint& here) noexcept {
    const double width = here.step - before.step;
    const double wanted = interpolated_minimum(before, here);
    constexpr double nearest = 0.1;
    constexpr double farthest = 4;
    return here.step + width * (wanted > here.step
                                    ? std::clamp((wanted - here.step) / width, nearest, farthest)
                                    : farthest);
}

}  // namespace echosieve
