// The points of a population in an optimiser's memory.
#pragma once

#include <cstddef>
#include <span>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/objective.hpp"

namespace echosieve::detail {

// The points of a population, written coordinate by coordinate: see Points.
template <Real R>
class PointTable {
public:
    PointTable(std::size_t count, std::size_t dimension, Workspace& workspace)
        : count_(count), dimension_(dimension), data_(workspace.take<R>(count * dimension)) {}

    [[nodiscard]] R& operator()(std::size_t i, std::size_t k) noexcept {
        return data_[k * count_ + i];
    }
    [[nodiscard]] R operator()(std::size_t i, std::size_t k) const noexcept {
        return data_[k * count_ + i];
    }
    [[nodiscard]] std::size_t size() const noexcept { return count_; }
    [[nodiscard]] std::span<R> coordinate(std::size_t k) noexcept {
        return data_.subspan(k * count_, count_);
    }
    [[nodiscard]] Points<R> points() const noexcept {
        return {data_.data(), count_, dimension_, count_};
    }
    void copy_point(std::size_t i, const PointTable& from, std::size_t j) noexcept {
        for (std::size_t k = 0; k < dimension_; ++k) {
            (*this)(i, k) = from(j, k);
        }
    }
    void write(std::size_t i, std::span<const R> x) noexcept {
        for (std::size_t k = 0; k < dimension_; ++k) {
            (*this)(i, k) = x[k];
        }
    }

private:
    std::size_t count_;
    std::size_t dimension_;
    std::span<R> data_;
};

/// Coordinates of all points of a population, at most: 32 megabytes a table in double, and a
/// method has several. More are a slip.
inline constexpr std::size_t most_coordinates = std::size_t{1} << 22;

/// Throws InvalidInput for a population of more.
template <Real R>
void check_population(const char* name, std::size_t count, std::size_t dimension) {
    const std::size_t most = most_coordinates;
    if (count > most / dimension) {
        require(false, name, count, concatenate("must not exceed ", most / dimension));
    }
}

// The coordinates in which the box has a width.
template <Real R>
[[nodiscard]] std::span<std::size_t> free_coordinates(const Box<R>& box, Workspace& workspace) {
    const std::span<std::size_t> out = workspace.take<std::size_t>(box.dimension());
    std::size_t count = 0;
    for (std::size_t k = 0; k < box.dimension(); ++k) {
        if (box.width(k) > 0) {
            out[count++] = k;
        }
    }
    return out.first(count);
}

// The best of some points; the first of equals.
template <Real R>
[[nodiscard]] std::size_t best_of(std::span<const Merit<R>> merits) noexcept {
    std::size_t best = 0;
    for (std::size_t i = 1; i < merits.size(); ++i) {
        best = merits[i].better_than(merits[best]) ? i : best;
    }
    return best;
}

}  // namespace echosieve::detail
