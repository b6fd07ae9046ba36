// Constraints for optimisers that know none: a sequence of problems without them.
#pragma once

#include <cstddef>
#include <limits>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/lagrangian_run.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/quasi_newton.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

// Symbols (those of objective.hpp, and)
//   mu, lambda   multipliers of g (>= 0) and h;  rho  penalty;  delta  margin of g
//   L(x) = f + sum of (max(0, mu + rho (g + delta))^2 - mu^2) / 2 rho + lambda h + rho h^2 / 2
//   V      largest |h| and |max(g + delta, -mu / rho)|: what feasibility and complementarity lack
// The form of Powell, Hestenes and Rockafellar. An iteration minimises L over the box from the last
// minimiser; then mu <- max(0, mu + rho (g + delta)), lambda <- lambda + rho h, and rho grows where
// V did not fall by a factor: Birgin and Martinez 2014, Practical Augmented Lagrangian Methods,
// algorithm 4.1; compare Nocedal and Wright 2006, algorithm 17.4 (both from memory).

/// Minimises a ConstrainedObjective by an optimiser that knows the box only. Each evaluation is one
/// of the objective and its constraints. Gradients come from a DifferentiableConstrainedObjective,
/// and are left to the inner optimiser otherwise. The result is the best point that was evaluated,
/// by Deb's rules: where equalities are, it makes use of their tolerance.
template <class Inner = QuasiNewton>
requires LimitedOptimiser<Inner>
struct AugmentedLagrangian {
    std::size_t iterations = 40;  ///< minimisations of L
    Inner inner{};                ///< its limits hold for each of these
    double initial_penalty = 0;   ///< rho > 0; or 0: 2 |f| / |violated g, h|^2 at the start, from
                                  ///< 1e-6 to 10
    double penalty_growth = 10;   ///< of rho, > 1
    double largest_penalty = 1e12;
    double required_fall = 0.5;  ///< of V, a factor in (0, 1), or else rho grows
    /// delta >= 0 [unit of g], so that ends are feasible. Grows up to a hundred times as large
    /// where the minimisations prove less accurate than that.
    double margin = 1e-8;
    double feasibility_tolerance = 1e-8;  ///< ends at V <= it, at a minimiser of L [unit of g, h]
    /// Ends when the last two minima of L differ by <= value_tolerance * the larger modulus, and
    /// the last minimiser is feasible.
    double value_tolerance = 1e-10;
    double target = -std::numeric_limits<double>::infinity();  ///< this and the next: see Limits
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();  ///< >= 1

    /// `start` as the inner optimiser takes it. Throws InvalidInput for invalid options of this or
    /// the inner optimiser, a start of another dimension or with a NaN, or a box whose width is not
    /// finite.
    /// Once the workspace has its size, a run allocates its result and
    /// what the inner runs allocate.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R> && Optimiser<Inner, R>
    [[nodiscard]] OptimiseResult<R> minimise(const OptimiseTask<F, R, Watch>& task) const {
        return detail::LagrangianRun(*this, task).run();
    }
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
template <class Inner>
void validate(const AugmentedLagrangian<Inner>& options) {
    require(options.initial_penalty >= 0 && is_finite(options.initial_penalty), "initial_penalty",
            options.initial_penalty, "must be zero or more and finite");
    require(options.penalty_growth > 1 && is_finite(options.penalty_growth), "penalty_growth",
            options.penalty_growth, "must exceed 1 and be finite");
    require(options.largest_penalty > 0 && is_finite(options.largest_penalty), "largest_penalty",
            options.largest_penalty, "must be positive and finite");
    require(options.required_fall > 0 && options.required_fall < 1, "required_fall",
            options.required_fall, "must lie in (0, 1)");
    require(options.margin >= 0 && is_finite(options.margin), "margin", options.margin,
            "must be zero or more and finite");
    require(options.feasibility_tolerance >= 0, "feasibility_tolerance",
            options.feasibility_tolerance, "must be zero or more");
    require(options.value_tolerance >= 0, "value_tolerance", options.value_tolerance,
            "must be zero or more");
    validate(options.inner);
    validate(limits_of(options), 1);
}

static_assert(Optimiser<AugmentedLagrangian<>, double> && Optimiser<AugmentedLagrangian<>, float>);
static_assert(LimitedOptimiser<AugmentedLagrangian<>>);

}  // namespace echosieve
