// Restarts: a local method from many starts, and a global method that finds the basin before a
// local one that finds its bottom.
#pragma once

#include <algorithm>
#include <cstddef>
#include <limits>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/part_run.hpp"
#include "echosieve/optimise/detail/restarts.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

/// Each iteration scatters `samples` points over the box as a Latin hypercube, evaluates them as
/// one batch and runs the local method from the best of them; the first iteration runs it from the
/// start point, if there is one. With many samples few local runs are wasted on poor starts; with
/// one, all that is spent is spent on local runs. The observer is asked within local runs too, with
/// the number of the iteration that is under way. Constraints are left to the local method.
template <LimitedOptimiser Local>
struct MultiStart {
    Local local{};
    std::size_t samples = 10;     ///< points that a local run's start is the best of; at least 1
    std::size_t iterations = 50;  ///< local runs
    double target = -std::numeric_limits<double>::infinity();  ///< this and the next: see Limits
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();

    [[nodiscard]] std::size_t start_evaluations(std::size_t dimension) const {
        return std::max(samples, echosieve::start_evaluations(local, dimension));
    }

    /// Throws InvalidInput for invalid options, a start of another dimension or with a NaN, or a
    /// box whose width is not finite; and what the local method throws.
    /// It allocates the x of each local run's result.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R>
    [[nodiscard]] OptimiseResult<R> minimise(const OptimiseTask<F, R, Watch>& task) const {
        return detail::run_multi_start(*this, task);
    }
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
template <class Local>
void validate(const MultiStart<Local>& options) {
    require(options.samples >= 1, "samples", options.samples, "must be at least 1");
    validate(limits_of(options), 1);
}

/// Each iteration runs the global method, ended by its own iterations and stagnation rule, and then
/// the local method from the best point that this found. The next iteration starts afresh with
/// another seed and `growth` times the iterations: an easy problem ends soon, and a hard one gets
/// longer and longer searches. The first global run starts from the start point, if there is one.
/// The observer is asked within both runs too, with the number of the iteration under way.
template <LimitedOptimiser Global, LimitedOptimiser Local>
struct GlobalThenLocal {
    Global global{};
    Local local{};
    double growth = 1.5;  ///< of the global method's iterations from restart to restart, >= 1
    std::size_t iterations = 20;  ///< global runs, each with its local one
    double target = -std::numeric_limits<double>::infinity();  ///< this and the next: see Limits
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();

    [[nodiscard]] std::size_t start_evaluations(std::size_t) const { return 1; }

    /// Evaluates the start point, or the box's centre, first. Throws InvalidInput for invalid
    /// options, a start of another dimension or with a NaN, or a box whose width is not finite; and
    /// what both methods throw.
    /// It allocates the x of each run's result.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R>
    [[nodiscard]] OptimiseResult<R> minimise(const OptimiseTask<F, R, Watch>& task) const {
        return detail::run_global_then_local(*this, task);
    }
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
template <class Global, class Local>
void validate(const GlobalThenLocal<Global, Local>& options) {
    require(options.growth >= 1 && is_finite(options.growth), "growth", options.growth,
            "must be at least 1 and finite");
    validate(limits_of(options), 1);
}

}  // namespace echosieve
