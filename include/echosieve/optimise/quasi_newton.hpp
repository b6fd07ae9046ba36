// A quasi-Newton method inside a box, for smooth objectives.
#pragma once

#include <cstddef>
#include <limits>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/limited_memory.hpp"
#include "echosieve/optimise/detail/quasi_newton_run.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

/// A local method for smooth objectives of any dimension, whose gradient it takes from a
/// DifferentiableObjective, and from differences (see detail/difference.hpp) otherwise. An
/// iteration is one line search, whose first trial is the full step. Computes in double.
struct QuasiNewton {
    std::size_t iterations = 200;
    std::size_t memory = 20;            ///< pairs that are remembered; 0: steepest descent
    double initial_step = 0.1;          ///< longest change of a coordinate in the first trial, and
                                        ///< whenever nothing is remembered, in widths of the box
    double sufficient_decrease = 1e-4;  ///< c1, 0 < c1 < c2
    double curvature = 0.9;             ///< c2 < 1
    /// Ends when no coordinate's slope, of those that are free to follow it, exceeds this [unit of
    /// the objective for a width of the box].
    double gradient_tolerance = 1e-8;
    double step_tolerance = 1e-12;  ///< ends when a step is <= it, in widths of the box
    /// Ends when the values at the ends of a step differ by <= value_tolerance * the larger modulus
    /// (or down the gradient no step gains, down to those that promise no more).
    double value_tolerance = 1e-13;
    // Of both tolerances not less than the rounding unit of R counts. With a value_tolerance below
    // it the method goes on where values are equal to rounding, by slopes alone (the approximate
    // conditions of Hager and Zhang 2005, SIAM J. Optim. 16:170-192; from memory), as long as they
    // halve from step to step.
    double target = -std::numeric_limits<double>::infinity();  ///< this and the next: see Limits
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();  ///< >= 1

    /// `objective` has no constraints: AugmentedLagrangian takes those. `start` is empty or a
    /// point, clamped to the box; see local_start.hpp for what an empty or unusable start leads to.
    /// Throws InvalidInput for invalid options, a start of another dimension or with a NaN, or a
    /// box whose width is not finite.
    /// Once the workspace has its size, a run allocates the x of its
    /// result and nothing else.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R>
    [[nodiscard]] OptimiseResult<R> minimise(const OptimiseTask<F, R, Watch>& task) const {
        return detail::run_quasi_newton(*this, task);
    }

    /// The same from a memory that an earlier run left, which gets what this run learns: for
    /// objectives that differ little. `pairs` is of the dimension of the box, and goes before the
    /// option memory.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R>
    [[nodiscard]] OptimiseResult<R> minimise(const OptimiseTask<F, R, Watch>& task,
                                             LimitedMemory& pairs) const {
        return detail::QuasiNewtonRun(*this, task, pairs).run();
    }
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
inline void validate(const QuasiNewton& options) {
    require(options.initial_step > 0 && options.initial_step <= 1, "initial_step",
            options.initial_step, "must lie in (0, 1] [box widths]");
    require(options.curvature > 0 && options.curvature < 1, "curvature", options.curvature,
            "must lie in (0, 1)");
    require(options.sufficient_decrease > 0 && options.sufficient_decrease < options.curvature,
            "sufficient_decrease", options.sufficient_decrease,
            "must be positive and below the curvature constant");
    require(options.gradient_tolerance >= 0, "gradient_tolerance", options.gradient_tolerance,
            "must be zero or more");
    require(options.step_tolerance >= 0, "step_tolerance", options.step_tolerance,
            "must be zero or more [box widths]");
    require(options.value_tolerance >= 0, "value_tolerance", options.value_tolerance,
            "must be zero or more");
    validate(limits_of(options), 1);
}

static_assert(Optimiser<QuasiNewton, double> && Optimiser<QuasiNewton, float>);
static_assert(LimitedOptimiser<QuasiNewton>);

}  // namespace echosieve
