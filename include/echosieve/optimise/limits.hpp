// When a minimisation ends: the options that all optimisers share.
#pragma once

#include <concepts>
#include <cstddef>
#include <limits>

#include "echosieve/core/error.hpp"

namespace echosieve {

/// What ends a run, whichever comes first. Every optimiser of the library has members of these
/// names.
struct Limits {
    std::size_t iterations = 0;
    /// Ends before the iteration that would exceed it.
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();
    /// Ends when value <= target at a feasible point.
    double target = -std::numeric_limits<double>::infinity();
    double tolerance = 0;  ///< [unit of the objective], see stagnation_iterations
    /// Ends when the value fell by <= tolerance over so many iterations; 0: never.
    std::size_t stagnation_iterations = 0;
};

/// An optimiser whose end is set by these members: others may run it as a part of theirs.
template <class O>
concept LimitedOptimiser = requires(O& optimiser) {
    { optimiser.iterations } -> std::same_as<std::size_t&>;
    { optimiser.max_evaluations } -> std::same_as<std::size_t&>;
    { optimiser.target } -> std::same_as<double&>;
    { optimiser.tolerance } -> std::same_as<double&>;
    { optimiser.stagnation_iterations } -> std::same_as<std::size_t&>;
};

template <class O>
requires LimitedOptimiser<O>
[[nodiscard]] constexpr Limits limits_of(const O& optimiser) noexcept {
    return {optimiser.iterations, optimiser.max_evaluations, optimiser.target, optimiser.tolerance,
            optimiser.stagnation_iterations};
}

/// `least`: evaluations before the first iteration. Throws InvalidInput.
inline void validate(const Limits& limits, std::size_t least) {
    require(limits.target == limits.target, "target", limits.target, "must be a number");
    require(limits.tolerance >= 0, "tolerance", limits.tolerance, "must be zero or more");
    if (limits.max_evaluations < least) {
        require(false, "max_evaluations", limits.max_evaluations,
                detail::concatenate("must allow the evaluations of the start, ", least));
    }
}

}  // namespace echosieve
