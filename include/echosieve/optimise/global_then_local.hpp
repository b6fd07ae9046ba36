// A global method that finds the basin, a local one that finds its bottom, and restarts.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <type_traits>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/part_run.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/limits.hpp"
#include "echosieve/optimise/workspace.hpp"

namespace echosieve {

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
    [[nodiscard]] OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                             std::type_identity_t<std::span<const R>> start,
                                             Watch& observer, Workspace& workspace) const;
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
template <class Global, class Local>
void validate(const GlobalThenLocal<Global, Local>& options) {
    require(options.growth >= 1 && is_finite(options.growth), "growth", options.growth,
            "must be at least 1 and finite");
    validate(limits_of(options), 1);
}

template <LimitedOptimiser Global, LimitedOptimiser Local>
template <class F, Real R, class Watch>
requires Objective<F, R> && Observer<Watch, R>
OptimiseResult<R> GlobalThenLocal<Global, Local>::minimise(
    F& objective, const Box<R>& box, std::uint64_t seed,
    std::type_identity_t<std::span<const R>> start, Watch& observer, Workspace& workspace) const {
    validate(*this);
    const std::size_t n = box.dimension();
    detail::check_search_input(box, start);
    const Workspace::Scope scope(workspace);
    detail::Search<R, F, Watch> search(objective, box, limits_of(*this), observer, workspace);
    const std::span<R> from = workspace.take<R>(n);
    for (std::size_t k = 0; k < n; ++k) {
        from[k] = start.empty()
                      ? std::clamp(box.lower(k) + box.width(k) / 2, box.lower(k), box.upper(k))
                      : std::clamp(start[k], box.lower(k), box.upper(k));
    }
    static_cast<void>(search.evaluate(from));

    const auto run = [&](const auto& optimiser, std::size_t part, std::span<const R> x) {
        return detail::run_part(search, optimiser, objective, box, detail::part_seed(seed, part), x,
                                observer, workspace);
    };
    const std::size_t global_start = echosieve::start_evaluations(global, n);
    const std::size_t local_start = echosieve::start_evaluations(local, n);
    double global_iterations = static_cast<double>(global.iterations);
    while (search.goes_on(global_start)) {
        const bool first = search.iterations() == 1;
        Global part = global;
        constexpr double most = 1e15;
        part.iterations = static_cast<std::size_t>(std::min(global_iterations, most));
        global_iterations *= growth;
        const OptimiseResult<R> found =
            run(part, 2 * search.iterations(), first ? start : std::span<const R>{});
        if (!search.ended() && !search.target_reached() && search.remaining() >= local_start) {
            static_cast<void>(run(local, 2 * search.iterations() + 1, std::span<const R>(found.x)));
        }
    }
    return search.result();
}

}  // namespace echosieve
