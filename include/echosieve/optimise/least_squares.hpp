// Objectives that are sums of squares, and know the normal equations of a step.
#pragma once

#include <algorithm>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <limits>
#include <span>
#include <utility>
#include <vector>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
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

/// One whose normal equations can wait until the value is known to be of use. derivatives() writes
/// those of the point that it was last called with, and gives the number of evaluations that this
/// took besides: never more than derivatives_cost().
template <class F, class R>
concept StagedLeastSquaresObjective =
    LeastSquaresObjective<F, R> &&
    requires(F& objective, std::span<R> gram, std::span<R> gradient) {
        { objective.derivatives(gram, gradient) } -> std::same_as<std::size_t>;
        { objective.derivatives_cost() } -> std::convertible_to<std::size_t>;
    };

/// What a user gives: residual_count() residuals, written by residuals(x, r).
template <class F, class R>
concept ResidualFunction = Real<R> && requires(F& function, std::span<const R> x, std::span<R> r) {
    { function.residual_count() } -> std::convertible_to<std::size_t>;
    function.residuals(x, r);
};

/// One that also writes its Jacobian, column by column: j[k * residual_count() + i] = dr_i / dx_k.
template <class F, class R>
concept ResidualJacobian =
    ResidualFunction<F, R> &&
    requires(F& function, std::span<const R> x, std::span<R> j) { function.jacobian(x, j); };

/// Makes an objective of residuals. Without a Jacobian of theirs it forms forward differences
/// inside the box, (r(x + h e_k) - r(x)) / h with h = root * max(|x_k|, w_k / 8), root the square
/// root of the rounding unit, w the box's width, h < 0 where there is more room below; each takes
/// an evaluation. Sums are formed in double. It allocates when made.
template <class F, Real R = double>
requires ResidualFunction<F, R>
class SumOfSquares {
public:
    /// Throws InvalidInput for a function of no residuals.
    SumOfSquares(F function, const Box<R>& box)
        : function_(std::move(function)),
          box_(box),
          count_(static_cast<std::size_t>(function_.residual_count())),
          point_(box.dimension()),
          residuals_(count_),
          moved_(ResidualJacobian<F, R> ? 0 : count_),
          jacobian_(count_ * box.dimension()) {
        require(count_ > 0, "number of residuals", count_, "must be at least 1");
    }

    [[nodiscard]] R operator()(std::span<const R> x) {
        std::ranges::copy(x, point_.begin());
        function_.residuals(std::span<const R>(point_), std::span<R>(residuals_));
        return static_cast<R>(product(residuals_.data(), residuals_.data()));
    }
    R normal_equations(std::span<const R> x, std::span<R> gram, std::span<R> gradient) {
        const R value = (*this)(x);
        static_cast<void>(derivatives(gram, gradient));
        return value;
    }
    /// Of the point that was last evaluated.
    std::size_t derivatives(std::span<R> gram, std::span<R> gradient) {
        const std::size_t n = point_.size();
        const std::size_t evaluations = write_jacobian();
        for (std::size_t k = 0; k < n; ++k) {
            const R* const column = jacobian_.data() + k * count_;
            gradient[k] = static_cast<R>(product(column, residuals_.data()));
            for (std::size_t j = 0; j <= k; ++j) {
                gram[k * n + j] = static_cast<R>(product(column, jacobian_.data() + j * count_));
                gram[j * n + k] = gram[k * n + j];
            }
        }
        return evaluations;
    }
    [[nodiscard]] std::size_t derivatives_cost() const noexcept {
        return ResidualJacobian<F, R> ? 0 : point_.size();
    }
    /// The full gradient, 2 J' r. Left to the search, which counts what it takes, where the user
    /// gave no Jacobian.
    R value_and_gradient(std::span<const R> x, std::span<R> gradient)
    requires ResidualJacobian<F, R>
    {
        const R value = (*this)(x);
        static_cast<void>(write_jacobian());
        for (std::size_t k = 0; k < point_.size(); ++k) {
            gradient[k] =
                static_cast<R>(2 * product(jacobian_.data() + k * count_, residuals_.data()));
        }
        return value;
    }

    /// Residuals of the point that was last evaluated.
    [[nodiscard]] std::span<const R> residuals() const noexcept { return residuals_; }
    [[nodiscard]] const F& function() const noexcept { return function_; }

private:
    // Four sums side by side: as fast as one register of them.
    [[nodiscard]] double product(const R* a, const R* b) const noexcept {
        double s[4] = {};
        std::size_t i = 0;
        for (; i + 4 <= count_; i += 4) {
            for (std::size_t l = 0; l < 4; ++l) {
                s[l] += static_cast<double>(a[i + l]) * static_cast<double>(b[i + l]);
            }
        }
        for (; i < count_; ++i) {
            s[0] += static_cast<double>(a[i]) * static_cast<double>(b[i]);
        }
        return (s[0] + s[1]) + (s[2] + s[3]);
    }
    std::size_t write_jacobian() {
        if constexpr (ResidualJacobian<F, R>) {
            function_.jacobian(std::span<const R>(point_), std::span<R>(jacobian_));
            return 0;
        } else {
            std::size_t evaluations = 0;
            for (std::size_t k = 0; k < point_.size(); ++k) {
                evaluations += write_column(k);
            }
            return evaluations;
        }
    }
    std::size_t write_column(std::size_t k) {
        const std::span<R> column(jacobian_.data() + k * count_, count_);
        const R here = point_[k];
        const R up = box_.upper(k) - here;
        const R down = here - box_.lower(k);
        const R wanted = std::sqrt(std::numeric_limits<R>::epsilon()) *
                         std::max(std::abs(here), box_.width(k) / 8);
        const R step = std::min(wanted, std::max(up, down));
        point_[k] = std::clamp(up >= wanted || up >= down ? here + step : here - step,
                               box_.lower(k), box_.upper(k));
        const R h = point_[k] - here;  // as rounding made it
        if (h == 0) {
            point_[k] = here;
            std::ranges::fill(column, R{0});
            return 0;
        }
        function_.residuals(std::span<const R>(point_), std::span<R>(moved_));
        point_[k] = here;
        for (std::size_t i = 0; i < count_; ++i) {
            column[i] = (moved_[i] - residuals_[i]) / h;
        }
        return 1;
    }

    F function_;
    Box<R> box_;
    std::size_t count_;
    std::vector<R> point_;
    std::vector<R> residuals_;
    std::vector<R> moved_;
    std::vector<R> jacobian_;
};

namespace detail {

template <Real R>
struct ProbeSquares : ProbeObjective<R> {
    R normal_equations(std::span<const R>, std::span<R>, std::span<R>) const { return 0; }
};
template <Real R>
struct ProbeResiduals {
    [[nodiscard]] std::size_t residual_count() const { return 1; }
    void residuals(std::span<const R>, std::span<R>) const {}
};

}  // namespace detail

static_assert(LeastSquaresObjective<detail::ProbeSquares<double>, double>);
static_assert(!LeastSquaresObjective<detail::ProbeObjective<double>, double>);
static_assert(
    StagedLeastSquaresObjective<SumOfSquares<detail::ProbeResiduals<float>, float>, float>);
static_assert(!StagedLeastSquaresObjective<detail::ProbeSquares<double>, double>);

}  // namespace echosieve
