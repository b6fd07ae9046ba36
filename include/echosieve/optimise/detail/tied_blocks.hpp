// An objective of interchangeable blocks seen with its last blocks held equal.
#pragma once

#include <algorithm>
#include <cstddef>
#include <span>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/point_table.hpp"
#include "echosieve/optimise/least_squares.hpp"
#include "echosieve/optimise/objective.hpp"

namespace echosieve::detail {

// Symbols
//   f      objective of n parameters;  d  parameters of a block
//   y      the free ones: the first blocks, the last of which stands for all that follow
//   T      x = T y;  gradient: T' f';  normal equations: T' J' J T, T' J' r

// Parameters of f, of a block, and how many are free.
struct BlockSizes {
    std::size_t dimension;
    std::size_t block;
    std::size_t free;
};

// f as a function of y. It has the derivatives that f has.
template <Real R, class F>
class TiedBlocks {
public:
    TiedBlocks(F& objective, const BlockSizes& sizes, Workspace& workspace)
        : objective_(objective),
          workspace_(workspace),
          dimension_(sizes.dimension),
          block_(sizes.block),
          free_(sizes.free),
          x_(workspace.take<R>(dimension_)),
          gradient_(workspace.take<R>(dimension_)),
          gram_(workspace.take<R>(LeastSquaresObjective<F, R> ? dimension_ * dimension_ : 0)) {}

    // The free parameter that parameter k of f follows.
    [[nodiscard]] std::size_t leader(std::size_t k) const noexcept {
        return k < free_ ? k : free_ - block_ + k % block_;
    }
    void expand(std::span<const R> y, std::span<R> x) const noexcept {
        for (std::size_t k = 0; k < dimension_; ++k) {
            x[k] = y[leader(k)];
        }
    }

    [[nodiscard]] R operator()(std::span<const R> y) {
        expand(y, x_);
        return static_cast<R>(objective_(std::span<const R>(x_)));
    }

    void evaluate(const Points<R>& points, std::span<R> values)
    requires BatchObjective<F, R>
    {
        const Workspace::Scope scope(workspace_);
        PointTable<R> table(points.size(), dimension_, workspace_);
        for (std::size_t k = 0; k < dimension_; ++k) {
            std::ranges::copy(points.coordinate(leader(k)), table.coordinate(k).begin());
        }
        objective_.evaluate(table.points(), values);
    }

    [[nodiscard]] R value_and_gradient(std::span<const R> y, std::span<R> gradient)
    requires DifferentiableObjective<F, R>
    {
        expand(y, x_);
        const R value = static_cast<R>(
            objective_.value_and_gradient(std::span<const R>(x_), std::span<R>(gradient_)));
        fold(gradient);
        return value;
    }

    [[nodiscard]] R normal_equations(std::span<const R> y, std::span<R> gram, std::span<R> gradient)
    requires LeastSquaresObjective<F, R>
    {
        expand(y, x_);
        const R value = static_cast<R>(objective_.normal_equations(
            std::span<const R>(x_), std::span<R>(gram_), std::span<R>(gradient_)));
        fold(gradient);
        fold_twice(gram);
        return value;
    }

    std::size_t derivatives(std::span<R> gram, std::span<R> gradient)
    requires StagedLeastSquaresObjective<F, R>
    {
        const std::size_t evaluations =
            objective_.derivatives(std::span<R>(gram_), std::span<R>(gradient_));
        fold(gradient);
        fold_twice(gram);
        return evaluations;
    }
    [[nodiscard]] std::size_t derivatives_cost() const
    requires StagedLeastSquaresObjective<F, R>
    {
        return objective_.derivatives_cost();
    }

private:
    void fold(std::span<R> gradient) const noexcept {
        std::ranges::fill(gradient, R{0});
        for (std::size_t k = 0; k < dimension_; ++k) {
            gradient[leader(k)] += gradient_[k];
        }
    }

    void fold_twice(std::span<R> gram) const noexcept {
        std::ranges::fill(gram, R{0});
        for (std::size_t j = 0; j < dimension_; ++j) {
            for (std::size_t i = 0; i < dimension_; ++i) {
                gram[leader(j) * free_ + leader(i)] += gram_[j * dimension_ + i];
            }
        }
    }

    F& objective_;
    Workspace& workspace_;
    std::size_t dimension_;
    std::size_t block_;
    std::size_t free_;
    std::span<R> x_;
    std::span<R> gradient_;
    std::span<R> gram_;
};

}  // namespace echosieve::detail
