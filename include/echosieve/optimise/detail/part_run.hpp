// One optimiser run as a part of another's work.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <span>
#include <utility>

#include "echosieve/core/box.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

/// Evaluations that an optimiser makes before its first iteration: its start_evaluations(dimension)
/// where it has them, else 1.
template <class O>
[[nodiscard]] std::size_t start_evaluations(const O& optimiser, std::size_t dimension) {
    if constexpr (requires { optimiser.start_evaluations(dimension); }) {
        return optimiser.start_evaluations(dimension);
    } else {
        return 1;
    }
}

namespace detail {

// The seed of a run's part number `part`.
[[nodiscard]] inline std::uint64_t part_seed(std::uint64_t seed, std::uint64_t part) noexcept {
    RandomStream stream(seed, ~part);
    const std::uint64_t top = stream();
    return (top << 32) | stream();
}

// What a part shows its observer, as seen from the whole: counts of the whole, the best of both.
template <Real R, class Whole, class Watch>
struct PartObserver {
    const Whole& whole;
    Watch& watch;
    bool same_points = true;  // the part's points are points of the whole

    Control operator()(const Progress<R>& part) {
        const bool better =
            same_points && Merit<R>{part.value, part.violation}.better_than(whole.best());
        return watch(Progress<R>{whole.iterations(), whole.evaluations() + part.evaluations,
                                 better ? part.value : whole.best().value,
                                 better ? part.best : whole.best_point(),
                                 better ? part.violation : whole.best().violation});
    }
};

// Runs `optimiser` on the task with what evaluations the whole has left, at most, and to its
// target. The task's observer watches the whole, which ends when it ends the part. Evaluations are
// counted; so is the point found taken in, if the part's points are those of the whole.
template <class Whole, class O, class F, Real R, class Watch>
[[nodiscard]] OptimiseResult<R> run_part(Whole& whole, O optimiser,
                                         const OptimiseTask<F, R, Watch>& task,
                                         bool same_points = true) {
    std::size_t left = whole.remaining();
    if constexpr (ConstrainedObjective<F, R> && !TakesTask<O, R, F, Watch>) {
        left -= left > 1 ? 1 : 0;  // its result is evaluated once more, see judge_result.hpp
    }
    optimiser.max_evaluations = std::min(optimiser.max_evaluations, left);
    optimiser.target = std::max(optimiser.target, whole.target());
    PartObserver<R, Whole, Watch> observer{whole, task.observer, same_points};
    OptimiseResult<R> part = minimise(
        OptimiseTask{task.objective, task.box, task.seed, task.start, observer, task.workspace},
        optimiser);
    whole.count(part);
    if (same_points) {
        whole.take_in({part.value, part.violation}, part.x);
    }
    if (part.status == OptimiseStatus::stopped || part.status == OptimiseStatus::aborted) {
        whole.end(part.status);
    }
    return part;
}

}  // namespace detail

}  // namespace echosieve
