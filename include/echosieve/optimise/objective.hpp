// What can be minimised: a function of one point, and perhaps of many points at once, with its
// gradient, under constraints; and how two points compare under these.
#pragma once

#include <algorithm>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <limits>
#include <span>
#include <type_traits>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"

namespace echosieve {

/// Many points of one dimension as a structure of arrays: all first coordinates side by side, then
/// all second ones, so that a vectorised objective reads a register of one coordinate at a time. A
/// view: valid as long as what it looks at.
template <Real R>
class Points {
public:
    /// One point.
    explicit constexpr Points(std::span<const R> x) noexcept
        : data_(x.data()), count_(1), dimension_(x.size()), stride_(1) {}
    /// Coordinate k of point i is data[k * stride + i]; stride >= count.
    constexpr Points(const R* data, std::size_t count, std::size_t dimension,
                     std::size_t stride) noexcept
        : data_(data), count_(count), dimension_(dimension), stride_(stride) {}

    [[nodiscard]] constexpr std::size_t size() const noexcept { return count_; }
    [[nodiscard]] constexpr std::size_t dimension() const noexcept { return dimension_; }
    [[nodiscard]] constexpr R operator()(std::size_t i, std::size_t k) const noexcept {
        return data_[k * stride_ + i];
    }
    /// Coordinate k of all points.
    [[nodiscard]] constexpr std::span<const R> coordinate(std::size_t k) const noexcept {
        return {data_ + k * stride_, count_};
    }
    /// Writes point i, coordinate by coordinate.
    constexpr void read(std::size_t i, std::span<R> out) const noexcept {
        for (std::size_t k = 0; k < dimension_; ++k) {
            out[k] = (*this)(i, k);
        }
    }
    /// Points first .. end - 1.
    [[nodiscard]] constexpr Points part(std::size_t first, std::size_t end) const noexcept {
        return {data_ + first, end - first, dimension_, stride_};
    }

private:
    const R* data_;
    std::size_t count_;
    std::size_t dimension_;
    std::size_t stride_;
};

/// A function to be minimised over a box. It may give NaN or an infinity: both count as +infinity
/// and are counted. Exceptions that it throws pass through to the caller.
template <class F, class R>
concept Objective = Real<R> && std::invocable<F&, std::span<const R>> &&
                    std::convertible_to<std::invoke_result_t<F&, std::span<const R>>, R>;

/// An objective that also takes many points at once, and writes the value at each: what gains from
/// vector registers or from several threads. An optimiser that has many points ready hands them
/// over together. Values must not depend on which points come together.
template <class F, class R>
concept BatchObjective =
    Objective<F, R> && requires(F& objective, const Points<R>& points, std::span<R> values) {
        { objective.evaluate(points, values) } -> std::same_as<void>;
    };

namespace detail {

// Stand for the user's objective when a type is asked whether it is an optimiser.
template <Real R>
struct ProbeObjective {
    R operator()(std::span<const R>) const { return 0; }
};
template <Real R>
struct ProbeBatch : ProbeObjective<R> {
    void evaluate(const Points<R>&, std::span<R>) const {}
};

}  // namespace detail

static_assert(Objective<detail::ProbeObjective<double>, double>);
static_assert(!Objective<detail::ProbeObjective<float>, double> && !Objective<double, double>);
static_assert(!Objective<detail::ProbeObjective<double>, long double>);
static_assert(BatchObjective<detail::ProbeBatch<float>, float>);
static_assert(!BatchObjective<detail::ProbeBatch<float>, double> &&
              !BatchObjective<detail::ProbeObjective<double>, double>);

/// An objective that gives its value and writes its gradient in one call, which counts as one
/// evaluation. A gradient that is not finite makes the point one of no use.
template <class F, class R>
concept DifferentiableObjective =
    Objective<F, R> && requires(F& objective, std::span<const R> x, std::span<R> gradient) {
        { objective.value_and_gradient(x, gradient) } -> std::convertible_to<R>;
    };

namespace detail {

template <Real R>
struct ProbeGradient : ProbeObjective<R> {
    R value_and_gradient(std::span<const R>, std::span<R>) const { return 0; }
};

}  // namespace detail

static_assert(DifferentiableObjective<detail::ProbeGradient<double>, double>);
static_assert(!DifferentiableObjective<detail::ProbeObjective<double>, double>);

// Symbols
//   g      inequalities, met where g <= 0
//   h      equalities, met where |h| <= equality_tolerance, eps
//   violation = sum of max(g, 0) + sum of max(|h| - eps, 0); a point is feasible where it is 0

/// An objective under constraints. A NaN or an infinity among g or h makes the violation infinite
/// there, except that g = -infinity is met. Optimisers call constrain once for each value, in that
/// order, on the same point.
template <class F, class R>
concept ConstrainedObjective = Objective<F, R> && requires(F& objective, std::span<const R> x,
                                                           std::span<R> g, std::span<R> h) {
    { objective.inequalities() } -> std::convertible_to<std::size_t>;
    { objective.equalities() } -> std::convertible_to<std::size_t>;
    { objective.equality_tolerance() } -> std::convertible_to<R>;
    { objective.constrain(x, g, h) } -> std::same_as<void>;
};

/// One that also knows the slopes of everything: constraint_jacobian writes dg_i / dx_k at
/// jacobian_g[i * dimension + k], and those of h likewise. It is called with points whose value was
/// asked for just before.
template <class F, class R>
concept DifferentiableConstrainedObjective =
    ConstrainedObjective<F, R> && DifferentiableObjective<F, R> &&
    requires(F& objective, std::span<const R> x, std::span<R> jacobian_g, std::span<R> jacobian_h) {
        { objective.constraint_jacobian(x, jacobian_g, jacobian_h) } -> std::same_as<void>;
    };

/// Puts a function and its constraints together: constraint(x, g, h) writes all g and h. A function
/// that is a DifferentiableObjective, and a constraint with jacobian(x, jacobian_g, jacobian_h),
/// make it know its slopes.
template <class F, class C>
struct Constrained {
    F function;
    C constraint;
    std::size_t inequality_count = 0;
    std::size_t equality_count = 0;
    double tolerance = 1e-4;  ///< of equalities, in the unit of h

    template <Real R>
    [[nodiscard]] auto operator()(std::span<const R> x) {
        return function(x);
    }
    [[nodiscard]] std::size_t inequalities() const noexcept { return inequality_count; }
    [[nodiscard]] std::size_t equalities() const noexcept { return equality_count; }
    [[nodiscard]] double equality_tolerance() const noexcept { return tolerance; }
    template <Real R>
    void constrain(std::span<const R> x, std::span<R> g, std::span<R> h) {
        constraint(x, g, h);
    }
    template <Real R>
    requires DifferentiableObjective<F, R>
    R value_and_gradient(std::span<const R> x, std::span<R> gradient) {
        return static_cast<R>(function.value_and_gradient(x, gradient));
    }
    template <Real R>
    requires requires(C& c, std::span<const R> x, std::span<R> j) { c.jacobian(x, j, j); }
    void constraint_jacobian(std::span<const R> x, std::span<R> jacobian_g,
                             std::span<R> jacobian_h) {
        constraint.jacobian(x, jacobian_g, jacobian_h);
    }
};

// clang 16 deduces no aggregates by itself.
template <class F, class C, class... Rest>
Constrained(F, C, Rest...) -> Constrained<F, C>;

/// Sum by which constraints are violated; 0: feasible. Never NaN.
template <Real R>
[[nodiscard]] R violation(std::span<const R> g, std::span<const R> h,
                          R equality_tolerance) noexcept {
    R sum = 0;
    for (const R x : g) {
        sum += x <= 0 ? R{0} : x;
    }
    for (const R x : h) {
        const R beyond = std::abs(x) - equality_tolerance;
        sum += beyond <= 0 ? R{0} : beyond;
    }
    return is_finite(sum) ? sum : std::numeric_limits<R>::infinity();
}

/// What a point is worth. Neither member is ever NaN.
template <Real R>
struct Merit {
    R value = std::numeric_limits<R>::infinity();
    R violation = std::numeric_limits<R>::infinity();

    [[nodiscard]] constexpr bool feasible() const noexcept { return violation == 0; }
    /// By the rules of Deb 2000, Comput. Methods Appl. Mech. Engrg. 186:311-338: a feasible point
    /// is better than one that is not; of two feasible ones the lower value is better, of two
    /// others the smaller violation (and of equal violations the lower value).
    [[nodiscard]] constexpr bool better_than(const Merit& other) const noexcept {
        return violation < other.violation || (violation == other.violation && value < other.value);
    }
};

namespace detail {

template <Real R>
struct ProbeConstrained : ProbeObjective<R> {
    [[nodiscard]] std::size_t inequalities() const { return 0; }
    [[nodiscard]] std::size_t equalities() const { return 0; }
    [[nodiscard]] R equality_tolerance() const { return 0; }
    void constrain(std::span<const R>, std::span<R>, std::span<R>) const {}
};

}  // namespace detail

static_assert(ConstrainedObjective<detail::ProbeConstrained<double>, double>);
static_assert(!ConstrainedObjective<detail::ProbeObjective<double>, double>);

}  // namespace echosieve
