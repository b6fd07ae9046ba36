// Evolution with an adapted covariance matrix: for smooth problems, also ill-conditioned and
// rotated ones, that may have many local optima.
#pragma once

#include <cmath>
#include <cstddef>
#include <limits>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/covariance_run.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

// Symbols
//   u         a point in box widths from the lower bounds, over the coordinates that have a width
//   n         their number;  lambda  the population
//   m, sigma, C   see covariance_distribution.hpp
// Points are folded back into the box: beyond a bound the objective is its own mirror image, and
// the distribution knows no bounds. (Hansen 2016, arXiv:1604.00772; restarts with a growing
// population: Auger and Hansen 2005, CEC, "IPOP".)

/// Draws a whole population, then evaluates all, then learns. Only the order of the values counts:
/// any rising function of the objective takes the same course as long as no run ends by
/// value_tolerance, and so does a box that is shifted or scaled. Constraints by Deb's rules. The
/// first run sets out from `start` or, without one, from a point at random, and ends where one of
/// four criteria holds: value_tolerance, step_tolerance, condition_limit, flat_iterations. The next
/// sets out at random with more points; after the last restart the work ends. Computes in double
/// whatever R is. Point i of run r draws from stream 2^32 r + i of the seed.
struct CovarianceAdaptation {
    std::size_t population = 0;     ///< lambda of the first run, >= 3; 0: 4 + floor(3 ln n)
    std::size_t iterations = 1000;  ///< of all runs together
    double initial_step = 0.3;      ///< sigma at the start of each run, in box widths
    /// How often a point that falls outside the box is drawn anew, before it is folded back.
    std::size_t redraws = 1;
    std::size_t restarts = 9;
    double population_growth = 2;  ///< factor of the population from run to run, >= 1
    /// A run ends when the best values of its last 10 + 30 n / lambda iterations differ by no more
    /// than this part of their greatest modulus.
    double value_tolerance = 1e-13;
    /// ... when no coordinate's standard deviation, nor its path, exceeds this [box widths].
    double step_tolerance = 1e-11;
    /// ... when the condition of C exceeds this.
    double condition_limit = 1e14;
    /// ... when the best 70 % of the points had one value in so many iterations in a row.
    std::size_t flat_iterations = 10;
    double target = -std::numeric_limits<double>::infinity();  ///< this and the next: see Limits
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();  ///< >= 1

    /// `start` is empty or a point, clamped to the box. Throws InvalidInput for invalid options, a
    /// start of another dimension or with a NaN, or a box whose width is not finite.
    /// Once the workspace has its size, a run allocates the x of its
    /// result and nothing else.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R>
    [[nodiscard]] OptimiseResult<R> minimise(const OptimiseTask<F, R, Watch>& task) const {
        return detail::CovarianceRun(*this, task).run();
    }
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
inline void validate(const CovarianceAdaptation& options) {
    require(options.population == 0 || options.population >= 3, "population", options.population,
            "must be 0 or at least 3");
    require(options.initial_step > 0 && options.initial_step <= 1, "initial_step",
            options.initial_step, "must lie in (0, 1] [box widths]");
    require(options.population_growth >= 1 && is_finite(options.population_growth),
            "population_growth", options.population_growth, "must be at least 1 and finite");
    require(std::pow(options.population_growth, static_cast<double>(options.restarts)) <= 0x1p20,
            "restarts", options.restarts, "must not grow the population more than 2^20-fold");
    require(options.value_tolerance >= 0, "value_tolerance", options.value_tolerance,
            "must be zero or more");
    require(options.step_tolerance >= 0, "step_tolerance", options.step_tolerance,
            "must be zero or more [box widths]");
    require(options.condition_limit > 1, "condition_limit", options.condition_limit,
            "must exceed 1");
    require(options.flat_iterations >= 1, "flat_iterations", options.flat_iterations,
            "must be at least 1");
    validate(limits_of(options), 1);
}

static_assert(Optimiser<CovarianceAdaptation, double> && Optimiser<CovarianceAdaptation, float>);
static_assert(LimitedOptimiser<CovarianceAdaptation>);

}  // namespace echosieve
