// Objectives that are sums of squares, and know the normal equations of a step.
#pragma once

#include <concepts>
#include <cstddef>
#include <span>

#include "echosieve/core/scalar.hpp"
#include "echosieve/optimise/objective.hpp"

namespace echosieve {

// Symbols
//   r      residuals;  J  their Jacobian, residuals x dimension
//   value = sum of r^2;  gram = J' J;  gradient = J' r, half the gradient of the value

/// A sum of squares that writes J' J (dimension x dimension, symmetric) and J' r, and gives the
/// value, in one call, which counts as one evaluation. Residuals that were projected (variable
/// projection) fit in as well as plain ones.
template <class F, class R>
concept LeastSquaresObjective =
    Objective<F, R> &&
    requires(F& objective, std::span<const R> x, std::span<R> gram, std::span<R> gradient) {
        { objective.normal_equations(x, gram, gradient) } -> std::convertible_to<R>;
    };

namespace detail {

template <Real R>
struct ProbeSquares : ProbeObjective<R> {
    R normal_equations(std::span<const R>, std::span<R>, std::span<R>) const { return 0; }
};

}  // namespace detail

static_assert(LeastSquaresObjective<detail::ProbeSquares<double>, double>);
static_assert(!LeastSquaresObjective<detail::ProbeObjective<double>, double>);

}  // namespace echosieve
