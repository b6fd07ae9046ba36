// What an objective and an optimiser are; and minimise(), which runs any optimiser.
#pragma once

#include <concepts>
#include <cstddef>
#include <cstdint>
#include <span>
#include <type_traits>

#include "echosieve/core/box.hpp"
#include "echosieve/core/scalar.hpp"
#include "echosieve/optimise/observer.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

/// A function to be minimised over a box. It may give NaN or an infinity: both count as +infinity
/// and are counted. Exceptions that it throws pass through to the caller.
template <class F, class R>
concept Objective = Real<R> && std::invocable<F&, std::span<const R>> &&
                    std::convertible_to<std::invoke_result_t<F&, std::span<const R>>, R>;

namespace detail {

// Stands for the user's objective when a type is asked whether it is an optimiser.
template <Real R>
struct ProbeObjective {
    R operator()(std::span<const R>) const { return 0; }
};

}  // namespace detail

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

static_assert(Objective<detail::ProbeObjective<double>, double>);
static_assert(!Objective<detail::ProbeObjective<float>, double> && !Objective<double, double>);
static_assert(!Objective<detail::ProbeObjective<double>, long double>);

}  // namespace echosieve
