// The simplex method of Nelder and Mead inside a box, for objectives without derivatives.
#pragma once

#include <cstddef>
#include <limits>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/simplex.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

/// The method of Nelder and Mead 1965 (simplex.hpp), which only compares: values of equal points
/// under constraints by Deb's rules. Trials are clamped to the box, which may press the simplex
/// flat into a bound: from there it looks back into the box each time it has halved, and when it
/// has converged it is built anew about its best vertex, until that no longer gains. An iteration
/// is one trial, with what follows from it.
struct NelderMead {
    std::size_t iterations = 2000;
    double reflection = 1;     ///< > 0
    double expansion = 2;      ///< > 1
    double contraction = 0.5;  ///< in (0, 1)
    double shrinkage = 0.5;    ///< in (0, 1)
    /// Instead of these constants those for m > 1: 1, 1 + 2 / m, 3 / 4 - 1 / 2 m, 1 - 1 / m (Gao
    /// and Han 2012, Comput. Optim. Appl. 51:259-277; from memory).
    bool adaptive = false;
    double initial_size = 0.1;  ///< edge of the first simplex, in widths of the box, in (0, 1]
    std::size_t restarts = 5;   ///< at most, each with a tenth of that edge, after convergence
    /// Converges when no vertex is farther from the best in any coordinate than step_tolerance
    /// [box widths], and the values of best and worst differ by <= value_tolerance times the larger
    /// modulus or the fall since the start (or the simplex is as small as the rounding of R).
    double step_tolerance = 1e-8;
    double value_tolerance = 1e-12;
    double target = -std::numeric_limits<double>::infinity();  ///< this and the next: see Limits
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();  ///< >= 1

    /// `start` is empty or a point, clamped to the box, that is the first vertex; see
    /// local_start.hpp for what an empty or unusable start leads to. Throws InvalidInput for
    /// invalid options, a start of another dimension or with a NaN, or a box whose width is not
    /// finite.
    /// Once the workspace has its size, a run allocates the x of its
    /// result and nothing else.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R>
    [[nodiscard]] OptimiseResult<R> minimise(const OptimiseTask<F, R, Watch>& task) const {
        return detail::SimplexRun(*this, task).run();
    }
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
inline void validate(const NelderMead& options) {
    require(options.reflection > 0 && is_finite(options.reflection), "reflection",
            options.reflection, "must be positive and finite");
    require(options.expansion > 1 && is_finite(options.expansion), "expansion", options.expansion,
            "must exceed 1 and be finite");
    require(options.contraction > 0 && options.contraction < 1, "contraction", options.contraction,
            "must lie in (0, 1)");
    require(options.shrinkage > 0 && options.shrinkage < 1, "shrinkage", options.shrinkage,
            "must lie in (0, 1)");
    require(options.initial_size > 0 && options.initial_size <= 1, "initial_size",
            options.initial_size, "must lie in (0, 1] [box widths]");
    require(options.step_tolerance >= 0, "step_tolerance", options.step_tolerance,
            "must be zero or more [box widths]");
    require(options.value_tolerance >= 0, "value_tolerance", options.value_tolerance,
            "must be zero or more");
    validate(limits_of(options), 1);
}

static_assert(Optimiser<NelderMead, double> && Optimiser<NelderMead, float>);
static_assert(LimitedOptimiser<NelderMead>);

}  // namespace echosieve
