// Equality constraints that are eased at first, so that a population can move along them.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/objective.hpp"

namespace echosieve {

// Symbols
//   eps(s)   level: a violation <= eps counts as none when points of the population are compared
//   s        part of the run that is over, 0 to 1
//   eps(s) = eps(0) (1 - s / s_c)^cp for s < s_c, 0 from there on; eps(0) is the violation of the
//   start's best part theta

/// The epsilon level of Takahama and Sakai 2006 (Constrained optimization by the epsilon
/// constrained differential evolution, IEEE CEC; from memory). By Deb's rules alone a population
/// gathers where it first meets an equality, a surface as thin as its tolerance, and stays there.
/// Objectives without equalities are not eased, and the best point of a run is always the one by
/// Deb's rules.
struct EpsilonLevel {
    double theta = 0.2;    ///< part of the start's points whose violation is let pass, 0 to 1
    double control = 0.2;  ///< s_c, 0 to 1; 0: never eased
    double exponent = 5;   ///< cp > 0

    /// eps at s for a given eps(0).
    template <Real R>
    [[nodiscard]] R at(double part, R first) const noexcept {
        return part < control ? first * static_cast<R>(std::pow(1 - part / control, exponent))
                              : R{0};
    }

    /// eps(0) of these start points; `scratch` has their number. 0 where no violation is finite.
    template <Real R>
    [[nodiscard]] R first(std::span<const Merit<R>> start, std::span<R> scratch) const noexcept {
        std::size_t count = 0;
        for (const Merit<R>& merit : start) {
            if (is_finite(merit.violation)) {
                scratch[count++] = merit.violation;
            }
        }
        if (count == 0) {
            return 0;
        }
        const auto rank = static_cast<std::size_t>(theta * static_cast<double>(start.size()));
        const std::span<R> finite = scratch.first(count);
        const auto chosen = finite.begin() + static_cast<std::ptrdiff_t>(std::min(rank, count - 1));
        std::ranges::nth_element(finite, chosen);
        return *chosen;
    }
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
inline void validate(const EpsilonLevel& level) {
    require(level.theta >= 0 && level.theta <= 1, "theta", level.theta, "must lie in [0, 1]");
    require(level.control >= 0 && level.control <= 1, "control", level.control,
            "must lie in [0, 1]");
    require(level.exponent > 0 && is_finite(level.exponent), "exponent", level.exponent,
            "must be positive and finite");
}

/// What a point is worth while violations up to `level` are let pass.
template <Real R>
[[nodiscard]] constexpr Merit<R> eased(const Merit<R>& merit, R level) noexcept {
    return {merit.value, merit.violation <= level ? R{0} : merit.violation};
}

namespace detail {

template <Real R, class F>
[[nodiscard]] bool has_equalities([[maybe_unused]] F& objective) {
    if constexpr (ConstrainedObjective<F, R>) {
        return objective.equalities() > 0;
    } else {
        return false;
    }
}

}  // namespace detail

}  // namespace echosieve
