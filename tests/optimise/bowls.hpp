// One simple objective in all the forms that the local methods take, which counts what is asked of
// it.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <stdexcept>
#include <utility>
#include <vector>

#include "echosieve/core/box.hpp"
#include "echosieve/optimise/augmented_lagrangian.hpp"
#include "echosieve/optimise/levenberg_marquardt.hpp"
#include "echosieve/optimise/nelder_mead.hpp"
#include "echosieve/optimise/quasi_newton.hpp"

namespace echosieve::test {

/// Sum of (k + 1) ((x_k - c_k) / w_k)^2, w the widths of the box (1 for none); not a number where
/// x_0 < nan_below.
template <Real R>
struct Bowl {
    Box<R> box;
    std::vector<R> centre;
    R nan_below = -std::numeric_limits<R>::infinity();
    std::size_t throws_at = 0;  ///< the call that throws; 0: none
    std::size_t calls = 0;
    std::size_t outside = 0;
    std::size_t non_finite = 0;
    std::vector<R> first{};  ///< the first point that was asked for

    Bowl(Box<R> where, std::vector<R> minimiser)
        : box(std::move(where)), centre(std::move(minimiser)) {}
    [[nodiscard]] R unit(std::size_t k) const { return box.width(k) > 0 ? box.width(k) : R{1}; }
    [[nodiscard]] R weight(std::size_t k) const { return static_cast<R>(k + 1); }
    R operator()(std::span<const R> x) {
        if (++calls == throws_at) {
            throw std::runtime_error("enough");
        }
        outside += box.contains(x) ? 0 : 1;
        if (first.empty()) {
            first.assign(x.begin(), x.end());
        }
        R sum = 0;
        for (std::size_t k = 0; k < x.size(); ++k) {
            const R r = (x[k] - centre[k]) / unit(k);
            sum += weight(k) * r * r;
        }
        if (x[0] < nan_below) {
            ++non_finite;
            return std::numeric_limits<R>::quiet_NaN();
        }
        return sum;
    }
};

template <Real R>
struct SlopedBowl : Bowl<R> {
    using Bowl<R>::Bowl;
    R value_and_gradient(std::span<const R> x, std::span<R> gradient) {
        for (std::size_t k = 0; k < x.size(); ++k) {
            gradient[k] =
                2 * this->weight(k) * ((x[k] - this->centre[k]) / this->unit(k)) / this->unit(k);
        }
        return (*this)(x);
    }
};

template <Real R>
struct SquaresBowl : Bowl<R> {
    using Bowl<R>::Bowl;
    R normal_equations(std::span<const R> x, std::span<R> gram, std::span<R> gradient) {
        std::ranges::fill(gram, R{0});
        for (std::size_t k = 0; k < x.size(); ++k) {
            const R slope = std::sqrt(this->weight(k)) / this->unit(k);
            gram[k * x.size() + k] = slope * slope;
            gradient[k] =
                slope * std::sqrt(this->weight(k)) * ((x[k] - this->centre[k]) / this->unit(k));
        }
        return (*this)(x);
    }
};

/// Under a constraint: x_0 - c_0 no more than `fence` widths.
template <Real R>
struct FencedBowl : Bowl<R> {
    using Bowl<R>::Bowl;
    R fence = 2;

    [[nodiscard]] std::size_t inequalities() const { return 1; }
    [[nodiscard]] std::size_t equalities() const { return 0; }
    [[nodiscard]] R equality_tolerance() const { return R(1e-4); }
    void constrain(std::span<const R> x, std::span<R> g, std::span<R>) const {
        g[0] = (x[0] - this->centre[0]) / this->unit(0) - fence;
    }
};

// A method and the form of the objective that it takes; `start_cost`: evaluations of the start in
// n dimensions.
struct Squares {
    using Method = LevenbergMarquardt;
    template <Real R>
    using Objective = SquaresBowl<R>;
    static std::size_t start_cost(std::size_t) { return 1; }
};
struct Numeric {
    using Method = QuasiNewton;
    template <Real R>
    using Objective = Bowl<R>;
    static std::size_t start_cost(std::size_t n) { return 1 + 2 * n; }
};
struct Analytic {
    using Method = QuasiNewton;
    template <Real R>
    using Objective = SlopedBowl<R>;
    static std::size_t start_cost(std::size_t) { return 1; }
};
struct Simplex {
    using Method = NelderMead;
    template <Real R>
    using Objective = Bowl<R>;
    static std::size_t start_cost(std::size_t) { return 1; }
};
struct Fenced {
    using Method = AugmentedLagrangian<>;
    template <Real R>
    using Objective = FencedBowl<R>;
    static std::size_t start_cost(std::size_t) { return 1; }
};

}  // namespace echosieve::test
