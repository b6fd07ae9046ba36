// Runs of optimisers that are made of others, begun again and again.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <span>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/part_run.hpp"
#include "echosieve/optimise/detail/point_table.hpp"
#include "echosieve/optimise/detail/scatter.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve::detail {

// Options are a MultiStart.
template <class Options, class F, Real R, class Watch>
[[nodiscard]] OptimiseResult<R> run_multi_start(const Options& options,
                                                const OptimiseTask<F, R, Watch>& task) {
    validate(options);
    Search search(task, limits_of(options));
    const std::size_t n = task.box.dimension();
    check_population<R>("samples", options.samples, n);
    validate(limits_of(options), options.samples);
    PointTable<R> table(options.samples, n, task.workspace);
    const std::span<Merit<R>> merits = task.workspace.template take<Merit<R>>(options.samples);
    const std::span<R> from = task.workspace.template take<R>(n);
    const auto scatter_samples = [&] {
        RandomStream stream(task.seed, search.iterations());
        scatter(task.box, stream, options.samples, table);
        search.evaluate(table, merits);
        table.points().read(best_of(std::span<const Merit<R>>(merits)), from);
    };
    if (task.start.empty()) {
        scatter_samples();
    } else {
        search.write_start(from);
        static_cast<void>(search.evaluate(from));
    }
    const std::size_t local_start = start_evaluations(options.local, n);
    while (search.goes_on(search.iterations() == 0 ? local_start : options.samples + local_start)) {
        if (search.iterations() > 1) {
            scatter_samples();
        }
        static_cast<void>(run_part(
            search, options.local,
            OptimiseTask{task.objective, task.box, part_seed(task.seed, search.iterations()), from,
                         task.observer, task.workspace}));
    }
    return search.result();
}

// Options are a GlobalThenLocal.
template <class Options, class F, Real R, class Watch>
[[nodiscard]] OptimiseResult<R> run_global_then_local(const Options& options,
                                                      const OptimiseTask<F, R, Watch>& task) {
    validate(options);
    Search search(task, limits_of(options));
    const std::size_t n = task.box.dimension();
    const std::span<R> from = task.workspace.template take<R>(n);
    search.write_start(from);
    static_cast<void>(search.evaluate(from));

    const auto run = [&](const auto& optimiser, std::size_t part, std::span<const R> x) {
        return run_part(search, optimiser,
                        OptimiseTask{task.objective, task.box, part_seed(task.seed, part), x,
                                     task.observer, task.workspace});
    };
    const std::size_t global_start = start_evaluations(options.global, n);
    const std::size_t local_start = start_evaluations(options.local, n);
    double global_iterations = static_cast<double>(options.global.iterations);
    while (search.goes_on(global_start)) {
        const bool first = search.iterations() == 1;
        auto global = options.global;
        constexpr double most = 1e15;  // far from where a count overflows
        global.iterations = static_cast<std::size_t>(std::min(global_iterations, most));
        global_iterations *= options.growth;
        const OptimiseResult<R> found =
            run(global, 2 * search.iterations(), first ? task.start : std::span<const R>{});
        if (!search.ended() && !search.target_reached() && search.remaining() >= local_start) {
            static_cast<void>(
                run(options.local, 2 * search.iterations() + 1, std::span<const R>(found.x)));
        }
    }
    return search.result();
}

}  // namespace echosieve::detail
