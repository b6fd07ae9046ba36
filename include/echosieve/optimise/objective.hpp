// What can be minimised: a function of one point, and perhaps of many points at once.
#pragma once

#include <concepts>
#include <cstddef>
#include <span>
#include <type_traits>

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

}  // namespace echosieve
