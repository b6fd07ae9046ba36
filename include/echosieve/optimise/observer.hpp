// What an observer sees of a running minimisation, and what it may answer.
#pragma once

#include <concepts>
#include <cstddef>
#include <span>
#include <type_traits>

#include "echosieve/core/detail/scalar.hpp"

namespace echosieve {

/// What an observer wants next.
enum class Control {
    go_on,
    stop,  ///< good enough: the result is usable
    abort  ///< give up: the result is not usable
};

/// Shown to the observer once after the start points and once after each iteration; `best` is valid
/// during the call only.
template <Real R>
struct Progress {
    std::size_t iteration = 0;  ///< 0 after the start points
    std::size_t evaluations = 0;
    R value = 0;  ///< best so far, +infinity while no finite value was found; never rises
    std::span<const R> best;
    R violation = 0;  ///< of constraints at `best`; 0: feasible; +infinity as `value`
};

/// Asked once an iteration. Its answer goes before every other rule that would end the work then.
/// Exceptions that it throws pass through to the caller.
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

// Answers with a truth value, of which nobody knows whether it means on or off: refused.
struct BooleanObserver {
    bool operator()(const Progress<double>&) const { return true; }
};

}  // namespace detail

static_assert(Observer<NoObserver, double> && Observer<const NoObserver&, float>);
static_assert(!Observer<detail::BooleanObserver, double> && !Observer<int, double>);

}  // namespace echosieve
