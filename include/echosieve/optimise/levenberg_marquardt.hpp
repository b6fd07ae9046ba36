// Least squares inside a box, by damped Gauss-Newton steps.
#pragma once

#include <cstddef>
#include <limits>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/squares_run.hpp"
#include "echosieve/optimise/least_squares.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

// Symbols (those of least_squares.hpp, and)
//   s      lengths of the columns of J, or half of what s was at the point before if that is more
//          (a column that vanishes must not set its parameter free at once); the step is sought in
//          s (x' - x), so that units do not matter
//   mu     damping, (J' J + mu I) d = -J' r in these units;  c_k = |J_k' r| / (s_k |r|)
// (Levenberg 1944, Marquardt 1963; the step inside bounds: bounded_step.hpp, how mu is moved:
// damped_steps.hpp.)

/// A local method for a sum of squares. An iteration is one trial: an evaluation of the normal
/// equations, or, of a StagedLeastSquaresObjective, one of the value and, if it fell, the
/// derivatives. Computes in double. What ends it is looked at before a trial is made.
struct LevenbergMarquardt {
    std::size_t iterations = 200;
    double initial_damping = 1e-4;      ///< mu at the start, >= 0
    double damping_fall = 5;            ///< mu is divided by it at most after a step, >= 1
    double largest_step = 1;            ///< of a coordinate, in widths of the box
    double gradient_tolerance = 1e-10;  ///< ends when no free coordinate has c_k > it
    double step_tolerance = 1e-10;      ///< ends when the step is <= it, in widths of the box
    /// Ends when the undamped step promises a fall <= value_tolerance * value, or a trial was no
    /// better and differs by no more. Not less than the rounding unit of R counts.
    double value_tolerance = 1e-12;
    double target = -std::numeric_limits<double>::infinity();  ///< this and the next: see Limits
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();  ///< >= 1

    /// `objective` is a LeastSquaresObjective without constraints. `start` is empty or a point,
    /// clamped to the box; see local_start.hpp for what an empty or unusable start leads to.
    /// Throws InvalidInput for invalid options, a start of another dimension or with a NaN, or a
    /// box whose width is not finite.
    /// Once the workspace has its size, a run allocates its result and
    /// the solver, whose size is that of the box, before the first step.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R>
    [[nodiscard]] OptimiseResult<R> minimise(const OptimiseTask<F, R, Watch>& task) const {
        return detail::SquaresRun(*this, task).run();
    }
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
inline void validate(const LevenbergMarquardt& options) {
    require(options.initial_damping >= 0 && is_finite(options.initial_damping), "initial_damping",
            options.initial_damping, "must be zero or more and finite");
    require(options.damping_fall >= 1 && is_finite(options.damping_fall), "damping_fall",
            options.damping_fall, "must be at least 1 and finite");
    require(options.largest_step > 0, "largest_step", options.largest_step,
            "must be positive [box widths]");
    require(options.gradient_tolerance >= 0, "gradient_tolerance", options.gradient_tolerance,
            "must be zero or more");
    require(options.step_tolerance >= 0, "step_tolerance", options.step_tolerance,
            "must be zero or more [box widths]");
    require(options.value_tolerance >= 0, "value_tolerance", options.value_tolerance,
            "must be zero or more");
    validate(limits_of(options), 1);
}

static_assert(Optimiser<LevenbergMarquardt, double> && Optimiser<LevenbergMarquardt, float>);
static_assert(LimitedOptimiser<LevenbergMarquardt>);

}  // namespace echosieve
