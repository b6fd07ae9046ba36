// What an optimiser is; and minimise(), which runs any optimiser.
#pragma once

#include <concepts>
#include <cstddef>
#include <cstdint>
#include <span>
#include <type_traits>

#include "echosieve/core/box.hpp"
#include "echosieve/core/scalar.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/observer.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

/// An optimiser minimises any objective over a box with a seed and an observer. Options are its
/// members; a const object may be shared between threads. Every evaluation lies inside the box,
/// `start` (empty, or a point, which is clamped to the box) is evaluated first, and the same seed
/// gives the same bits.
template <class O, class R>
concept Optimiser =
    Real<R> && requires(const O& optimiser, detail::ProbeObjective<R>& objective, const Box<R>& box,
                        std::uint64_t seed, std::span<const R> start, NoObserver& observer) {
        {
            optimiser.minimise(objective, box, seed, start, observer)
        } -> std::same_as<OptimiseResult<R>>;
    };

/// Minimises `objective` over `box`, which alone settles the scalar type: so `start` may be any
/// contiguous range of R. Throws what the optimiser's validate(), the objective or the observer
/// throws.
template <Real R, class F, class O, class Watch = NoObserver>
requires Objective<F, R> && Optimiser<O, R> && Observer<Watch, R>
[[nodiscard]] OptimiseResult<R> minimise(F&& objective, const Box<R>& box, const O& optimiser,
                                         std::uint64_t seed,
                                         std::type_identity_t<std::span<const R>> start = {},
                                         Watch&& observer = {}) {
    return optimiser.minimise(objective, box, seed, start, observer);
}

}  // namespace echosieve
