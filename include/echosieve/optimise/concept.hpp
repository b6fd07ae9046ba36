// What an optimiser is; and minimise(), which runs any optimiser.
#pragma once

#include <concepts>
#include <cstddef>
#include <cstdint>
#include <span>
#include <type_traits>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/optimise/detail/judge_result.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/observer.hpp"
#include "echosieve/optimise/result.hpp"
#include "echosieve/optimise/workspace.hpp"

namespace echosieve {

namespace detail {

// An optimiser that takes its arrays from a workspace, as those of the library do.
template <class O, class R, class F, class Watch>
concept UsesWorkspace =
    requires(const O& optimiser, F& objective, const Box<R>& box, std::uint64_t seed,
             std::span<const R> start, Watch& observer, Workspace& workspace) {
        {
            optimiser.minimise(objective, box, seed, start, observer, workspace)
        } -> std::same_as<OptimiseResult<R>>;
    };
// One that doesn't, as a user's need not.
template <class O, class R, class F, class Watch>
concept UsesNoWorkspace = requires(const O& optimiser, F& objective, const Box<R>& box,
                                   std::uint64_t seed, std::span<const R> start, Watch& observer) {
    {
        optimiser.minimise(objective, box, seed, start, observer)
    } -> std::same_as<OptimiseResult<R>>;
};

}  // namespace detail

/// An optimiser minimises any objective over a box with a seed and an observer:
/// minimise(objective, box, seed, start, observer) const, and a Workspace as sixth argument if it
/// likes. Options are its members; a const object may be shared between threads. Every evaluation
/// lies inside the box, `start` (empty, or a point, which is clamped to the box) is evaluated
/// first, and the same seed gives the same bits.
template <class O, class R>
concept Optimiser =
    Real<R> && (detail::UsesWorkspace<O, R, detail::ProbeObjective<R>, NoObserver> ||
                detail::UsesNoWorkspace<O, R, detail::ProbeObjective<R>, NoObserver>);

/// Minimises `objective` over `box` with the arrays of a workspace, which may serve many runs. What
/// an optimiser from outside the library gives back is judged anew, see judge_result.hpp: one that
/// is blind to constraints can't call its point feasible.
template <Real R, class F, class O, class Watch>
requires Objective<F, R> && Optimiser<O, R> && Observer<Watch, R>
[[nodiscard]] OptimiseResult<R> minimise_in(Workspace& workspace, F& objective, const Box<R>& box,
                                            const O& optimiser, std::uint64_t seed,
                                            std::type_identity_t<std::span<const R>> start,
                                            Watch& observer) {
    if constexpr (detail::UsesWorkspace<O, R, F, Watch>) {
        return detail::judged(optimiser.minimise(objective, box, seed, start, observer, workspace),
                              objective, box);
    } else {
        return detail::judged(optimiser.minimise(objective, box, seed, start, observer), objective,
                              box);
    }
}

/// Minimises `objective` over `box`, which alone settles the scalar type: so `start` may be any
/// contiguous range of R. Throws what the optimiser's validate(), the objective or the observer
/// throws, and InvalidInput if the optimiser gives back a point of another dimension than the box.
template <Real R, class F, class O, class Watch = NoObserver>
requires Objective<F, R> && Optimiser<O, R> && Observer<Watch, R>
[[nodiscard]] OptimiseResult<R> minimise(F&& objective, const Box<R>& box, const O& optimiser,
                                         std::uint64_t seed,
                                         std::type_identity_t<std::span<const R>> start = {},
                                         Watch&& observer = {}) {
    Workspace workspace;
    return minimise_in(workspace, objective, box, optimiser, seed, start, observer);
}

}  // namespace echosieve
