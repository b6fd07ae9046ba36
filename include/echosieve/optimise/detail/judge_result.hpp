// What an optimiser from outside the library gives back, judged by the library.
#pragma once

#include <algorithm>
#include <cstddef>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve::detail {

/// By how much x lies outside the box, summed over the dimensions; infinite for a NaN.
template <Real R>
[[nodiscard]] R beyond_box(std::span<const R> x, const Box<R>& box) noexcept {
    R beyond = 0;
    for (std::size_t k = 0; k < x.size(); ++k) {
        if (!is_finite(x[k])) {
            return std::numeric_limits<R>::infinity();
        }
        beyond += std::max(box.lower(k) - x[k], R{0}) + std::max(x[k] - box.upper(k), R{0});
    }
    return beyond;
}

/// The result as it is if the library's own search made it. Any other optimiser may know nothing of
/// constraints, and says violation 0: so they are evaluated at its point, after one evaluation more
/// of the objective, which is counted. A point outside the box violates it by the distance. Without
/// a point or a finite value the status is no_finite_value. Throws InvalidInput for a point of
/// another dimension.
template <Real R, class F>
requires Objective<F, R>
[[nodiscard]] OptimiseResult<R> judged(OptimiseResult<R> result, F& objective, const Box<R>& box) {
    constexpr R infinity = std::numeric_limits<R>::infinity();
    if (result.judged || result.status == OptimiseStatus::not_run) {
        return result;
    }
    result.judged = true;
    if (!result.x.empty() && result.x.size() != box.dimension()) {
        require(false, "size of the optimiser's point", result.x.size(),
                concatenate("must be 0 or the dimension, ", box.dimension()));
    }
    R beyond = beyond_box(std::span<const R>(result.x), box);
    bool known = !result.x.empty() && is_finite(result.value) && is_finite(beyond);
    if constexpr (ConstrainedObjective<F, R>) {
        if (known) {
            const std::span<const R> x(result.x);
            std::vector<R> g(objective.inequalities());
            std::vector<R> h(objective.equalities());
            known = is_finite(static_cast<R>(objective(x)));  // constrain follows upon a value
            ++result.evaluations;
            objective.constrain(x, std::span<R>(g), std::span<R>(h));
            beyond += violation<R>(g, h, static_cast<R>(objective.equality_tolerance()));
            known = known && is_finite(beyond);
        }
    }
    result.violation = known ? beyond : infinity;
    if (!known) {
        result.value = infinity;
        if (result.status != OptimiseStatus::aborted) {
            result.status = OptimiseStatus::no_finite_value;
        }
    }
    return result;
}

}  // namespace echosieve::detail
