// What a minimisation gives back.
#pragma once

#include <cstddef>
#include <limits>
#include <string_view>
#include <vector>

#include "echosieve/core/detail/scalar.hpp"

namespace echosieve {

/// Why a minimisation ended.
enum class OptimiseStatus {
    not_run,
    target_reached,      ///< value <= target at a feasible point
    converged_gradient,  ///< no component of the projected gradient > gradient_tolerance
    converged_step,      ///< the step was <= step_tolerance, in box widths
    converged_value,     ///< the values compared differ by <= value_tolerance
    ill_conditioned,     ///< the condition of the covariance exceeded condition_limit
    stagnated,  ///< value fell by no more than tolerance over stagnation_iterations iterations
    iteration_limit,   ///< iterations == the option's limit
    evaluation_limit,  ///< the next iteration would exceed max_evaluations
    stopped,           ///< the observer returned stop
    aborted,           ///< the observer returned abort
    no_finite_value    ///< the work ended, for whichever reason, without one finite value of the
                       ///< objective
};

[[nodiscard]] constexpr std::string_view describe(OptimiseStatus status) noexcept {
    switch (status) {
        case OptimiseStatus::not_run:
            return "not run";
        case OptimiseStatus::target_reached:
            return "target reached";
        case OptimiseStatus::converged_gradient:
            return "converged: gradient";
        case OptimiseStatus::converged_step:
            return "converged: step";
        case OptimiseStatus::converged_value:
            return "converged: value";
        case OptimiseStatus::ill_conditioned:
            return "ill-conditioned";
        case OptimiseStatus::stagnated:
            return "stagnated";
        case OptimiseStatus::iteration_limit:
            return "iteration limit";
        case OptimiseStatus::evaluation_limit:
            return "evaluation limit";
        case OptimiseStatus::stopped:
            return "stopped by the observer";
        case OptimiseStatus::aborted:
            return "aborted by the observer";
        case OptimiseStatus::no_finite_value:
            return "no finite value found";
    }
    return "unknown";
}

template <Real R>
struct OptimiseResult {
    OptimiseStatus status = OptimiseStatus::not_run;
    std::vector<R> x;                              ///< best point; empty if not run
    R value = std::numeric_limits<R>::infinity();  ///< objective there
    R violation = 0;  ///< of constraints there, see constraints.hpp, and of the box if x lies
                      ///< outside; +infinity while no finite value was found
    std::size_t evaluations = 0;
    std::size_t non_finite = 0;  ///< evaluations that gave a NaN or an infinity
    std::size_t iterations = 0;
    /// value and violation were evaluated by the library at x: its optimisers set it, minimise()
    /// sees to it for all others
    bool judged = false;

    /// x meets all constraints and bounds.
    [[nodiscard]] bool feasible() const noexcept { return usable() && violation == 0; }

    /// x holds a point with a finite value, and nobody aborted.
    [[nodiscard]] bool usable() const noexcept {
        return status != OptimiseStatus::not_run && status != OptimiseStatus::aborted &&
               status != OptimiseStatus::no_finite_value;
    }
};

}  // namespace echosieve
