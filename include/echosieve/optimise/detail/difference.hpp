// A numeric gradient, coordinate by coordinate.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/point_table.hpp"
#include "echosieve/optimise/objective.hpp"

namespace echosieve {

// Symbols
//   f          objective;  x  the point;  w  width of the box in a coordinate
//   h          step of a difference: root * max(|x|, w / 8), root the third root of the rounding
//              unit: where rounding and the third derivative's part balance
// Central difference (f(x + h) - f(x - h)) / 2h inside the box. Where a side has no room for h,
// both points lie on the other side, at h and 2h: (4 f(x + h) - f(x + 2h) - 3 f(x)) / 2h, of the
// same order h^2. Where neither has, h shrinks to what there is.

/// The two points that one coordinate of a numeric gradient looks at, and their weights.
template <Real R>
struct Difference {
    R first = 0;  ///< coordinates of the two points
    R second = 0;
    R weight_first = 0;  ///< the derivative is the weighted sum of the values there and here
    R weight_second = 0;
    R weight_here = 0;
};

/// The difference to form at x in [lower, upper]; all weights 0 where the bounds leave no room.
template <Real R>
[[nodiscard]] Difference<R> difference_at(R x, R lower, R upper) noexcept {
    const R root = std::cbrt(std::numeric_limits<R>::epsilon());
    const R width = upper - lower;
    R h = root * std::max(std::abs(x), width / 8);
    if (!(width > 0)) {
        return {x, x, 0, 0, 0};
    }
    const R up = upper - x;
    const R down = x - lower;
    if (up >= h && down >= h) {
        const R a = x + h;
        const R b = x - h;
        return {a, b, 1 / (a - b), -1 / (a - b), 0};
    }
    const R sign = up >= down ? R{1} : R{-1};
    const R room = std::max(up, down);
    h = std::min(h, room / 2);
    const R a = std::clamp(x + sign * h, lower, upper);
    const R b = std::clamp(x + sign * 2 * h, lower, upper);
    const R p = a - x;
    const R q = b - x;
    if (!(std::abs(q) > std::abs(p) && std::abs(p) > 0)) {  // no room between roundings
        return {x, x, 0, 0, 0};
    }
    // Of the parabola through the three points, whatever rounding made of h.
    const R first = q / (p * (q - p));
    const R second = -p / (q * (q - p));
    return {a, b, first, second, -(first + second)};
}

namespace detail {

/// A numeric gradient at x, where the value is known: two evaluations by `search` for each
/// coordinate that has room. Where one of the two gives no value the slope towards the other
/// counts, where none does 0.
template <class S, Real R>
void write_differences(S& search, std::span<const R> x, R here, std::span<R> gradient) {
    constexpr R infinity = std::numeric_limits<R>::infinity();
    const std::size_t n = x.size();
    const Box<R>& box = search.task().box;
    Workspace& workspace = search.task().workspace;
    PointTable<R> table(2 * n, n, workspace);
    const std::span<Merit<R>> merits = workspace.take<Merit<R>>(2 * n);
    const auto at = [&](std::size_t k) { return difference_at(x[k], box.lower(k), box.upper(k)); };
    std::size_t used = 0;
    for (std::size_t k = 0; k < n; ++k) {
        const Difference<R> d = at(k);
        if (d.weight_first == 0) {
            continue;
        }
        table.write(used, x);
        table.write(used + 1, x);
        table(used, k) = d.first;
        table(used + 1, k) = d.second;
        used += 2;
    }
    search.evaluate(table.points().part(0, used), merits.first(used));
    used = 0;
    for (std::size_t k = 0; k < n; ++k) {
        const Difference<R> d = at(k);
        if (d.weight_first == 0) {
            gradient[k] = 0;
            continue;
        }
        const R first = merits[used].value;
        const R second = merits[used + 1].value;
        used += 2;
        if (first < infinity && second < infinity) {
            gradient[k] = d.weight_first * first + d.weight_second * second +
                          (d.weight_here == 0 ? R{0} : d.weight_here * here);
        } else if (first < infinity) {
            gradient[k] = (first - here) / (d.first - x[k]);
        } else {
            gradient[k] = second < infinity ? (second - here) / (d.second - x[k]) : R{0};
        }
    }
}

}  // namespace detail

}  // namespace echosieve
