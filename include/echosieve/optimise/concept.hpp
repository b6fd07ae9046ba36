// What an objective, an observer and an optimiser are; and minimise(), which runs any optimiser.
#pragma once

#include <concepts>
#include <cstddef>
#include <cstdint>
#include <span>
#include <utility>

#include "echosieve/core/box.hpp"
#include "echosieve/core/scalar.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

/// A function to be minimised over a box. It may give NaN or an infinity: both count as +infinity
/// and are counted. Exceptions that it throws pass through to the caller.
template <class F, class R>
concept Objective = Real<R> && std::invocable<F&, std::span<const R>> &&
                    std::convertible_to<std::invoke_result_t<F&, std::span<const R>>, R>;

/// What an observer wants next.
enum class Control {
    go_on,
    stop,  ///< good enough: the result is usable
    abort  ///< give up: the result is not usable
};

/// Shown to the observer after each iteration; `best` is valid during the call only.
template <Real R>
struct Progress {
    std::size_t iteration = 0;  ///< 0 after the start points
    std::size_t evaluations = 0;
    R value = 0;  ///< best so far
    std::span<const R> best;
};

template <class O, class R>
concept Observer = Real<R> && std::invocable<O&, const Progress<R>&> &&
                   std::same_as<std::invoke_result_t<O&, const Progress<R>&>, Control>;

/// The observer that watches nothing.
struct NoObserver {
    template <Real R>
    constexpr Control operator()(const Progress<R>&) const noexcept {
        return Control::go_on;
    }
};

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

/// Minimises `objective` over `box`. Throws what the optimiser's validate() or the objective
/// throws.
template <Real R, class F, class O, class Watch = NoObserver>
requires Objective<F, R> && Optimiser<O, R> && Observer<Watch, R>
[[nodiscard]] OptimiseResult<R> minimise(F&& objective, const Box<R>& box, const O& optimiser,
                                         std::uint64_t seed, std::span<const R> start = {},
                                         Watch&& observer = {}) {
    return optimiser.minimise(objective, box, seed, start, observer);
}

}  // namespace echosieve
