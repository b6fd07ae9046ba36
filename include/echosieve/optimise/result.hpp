// When a minimisation ends, who watches it, and what it gives back.
#pragma once

#include <concepts>
#include <cstddef>
#include <limits>
#include <span>
#include <string_view>
#include <type_traits>
#include <vector>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

/// What ends a run, whichever comes first. Every optimiser of the library has members of these
/// names.
struct Limits {
    std::size_t iterations = 0;
    /// Ends before the iteration that would exceed it.
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();
    /// Ends when value <= target at a feasible point.
    double target = -std::numeric_limits<double>::infinity();
    double tolerance = 0;  ///< [unit of the objective], see stagnation_iterations
    /// Ends when the value fell by <= tolerance over so many iterations; 0: never.
    std::size_t stagnation_iterations = 0;
};

/// An optimiser whose end is set by these members: others may run it as a part of theirs.
template <class O>
concept LimitedOptimiser = requires(O& optimiser) {
    { optimiser.iterations } -> std::same_as<std::size_t&>;
    { optimiser.max_evaluations } -> std::same_as<std::size_t&>;
    { optimiser.target } -> std::same_as<double&>;
    { optimiser.tolerance } -> std::same_as<double&>;
    { optimiser.stagnation_iterations } -> std::same_as<std::size_t&>;
};

template <class O>
requires LimitedOptimiser<O>
[[nodiscard]] constexpr Limits limits_of(const O& optimiser) noexcept {
    return {optimiser.iterations, optimiser.max_evaluations, optimiser.target, optimiser.tolerance,
            optimiser.stagnation_iterations};
}

/// `least`: evaluations before the first iteration. Throws InvalidInput.
inline void validate(const Limits& limits, std::size_t least) {
    require(limits.target == limits.target, "target", limits.target, "must be a number");
    require(limits.tolerance >= 0, "tolerance", limits.tolerance, "must be zero or more");
    if (limits.max_evaluations < least) {
        require(false, "max_evaluations", limits.max_evaluations,
                detail::concatenate("must allow the evaluations of the start, ", least));
    }
}

/// What an observer wants next.
enum class Control {
    go_on,
    stop,  ///< good enough: the result is usable
    abort  ///< give up: the result is not usable
};

/// Shown to the observer once after the start points and once after each iteration; `best` is valid
/// during the call only.
template <Real R>
struct Progress {
    std::size_t iteration = 0;  ///< 0 after the start points
    std::size_t evaluations = 0;
    R value = 0;  ///< best so far, +infinity while no finite value was found; never rises
    std::span<const R> best;
    R violation = 0;  ///< of constraints at `best`; 0: feasible; +infinity as `value`
};

/// Asked once an iteration. Its answer goes before every other rule that would end the work then.
/// Exceptions that it throws pass through to the caller.
template <class O, class R>
concept Observer = Real<R> && std::invocable<O&, const Progress<R>&> &&
                   std::same_as<std::invoke_result_t<O&, const Progress<R>&>, Control>;

/// The observer that watches nothing.
struct NoObserver {
    template <Real R>
    constexpr Control operator()(const Progress<R>&) const noexcept {
        return Control::go_on;
    }
};

namespace detail {

// Answers with a truth value, of which nobody knows whether it means on or off: refused.
struct BooleanObserver {
    bool operator()(const Progress<double>&) const { return true; }
};

}  // namespace detail

static_assert(Observer<NoObserver, double> && Observer<const NoObserver&, float>);
static_assert(!Observer<detail::BooleanObserver, double> && !Observer<int, double>);

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
    R violation = 0;  ///< of constraints there, see objective.hpp, and of the box if x lies
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
