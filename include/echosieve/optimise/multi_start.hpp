// A local method from many starts.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <type_traits>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/part_run.hpp"
#include "echosieve/optimise/detail/scatter.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/limits.hpp"
#include "echosieve/optimise/workspace.hpp"

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
    [[nodiscard]] OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                             std::type_identity_t<std::span<const R>> start,
                                             Watch& observer, Workspace& workspace) const;
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
template <class Local>
void validate(const MultiStart<Local>& options) {
    require(options.samples >= 1, "samples", options.samples, "must be at least 1");
    validate(limits_of(options), 1);
}

template <LimitedOptimiser Local>
template <class F, Real R, class Watch>
requires Objective<F, R> && Observer<Watch, R>
OptimiseResult<R> MultiStart<Local>::minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                              std::type_identity_t<std::span<const R>> start,
                                              Watch& observer, Workspace& workspace) const {
    validate(*this);
    const std::size_t n = box.dimension();
    detail::check_search_input(box, start);
    detail::check_population<R>("samples", samples, n);
    validate(limits_of(*this), samples);
    const Workspace::Scope scope(workspace);
    detail::Search<R, F, Watch> search(objective, box, limits_of(*this), observer, workspace);
    detail::PointTable<R> table(samples, n, workspace);
    const auto merits = workspace.take<Merit<R>>(samples);
    const std::span<R> from = workspace.take<R>(n);

    const auto scatter = [&] {
        RandomStream stream(seed, search.iterations());
        detail::scatter(box, stream, samples, table);
        search.evaluate(table, merits);
        std::size_t best = 0;
        for (std::size_t i = 1; i < samples; ++i) {
            best = merits[i].better_than(merits[best]) ? i : best;
        }
        table.points().read(best, from);
    };
    if (start.empty()) {
        scatter();
    } else {
        for (std::size_t k = 0; k < n; ++k) {
            from[k] = std::clamp(start[k], box.lower(k), box.upper(k));
        }
        static_cast<void>(search.evaluate(from));
    }
    const std::size_t local_start = echosieve::start_evaluations(local, n);
    while (search.goes_on(search.iterations() == 0 ? local_start : samples + local_start)) {
        if (search.iterations() > 1) {
            scatter();
        }
        static_cast<void>(detail::run_part(search, local, objective, box,
                                           detail::part_seed(seed, search.iterations()),
                                           std::span<const R>(from), observer, workspace));
    }
    return search.result();
}

}  // namespace echosieve
