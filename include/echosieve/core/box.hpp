// A box of parameters: where a search may go.
#pragma once

#include <cstddef>
#include <span>
#include <utility>
#include <vector>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

/// Bounds lower[k] <= x[k] <= upper[k], both finite; equal bounds hold a parameter fixed.
template <Real R>
class Box {
public:
    /// Throws InvalidInput if the sizes differ or are zero, a bound is not finite, or lower >
    /// upper.
    Box(std::vector<R> lower, std::vector<R> upper)
        : lower_(std::move(lower)), upper_(std::move(upper)) {
        require(!lower_.empty(), "dimension of the box", lower_.size(), "must be at least 1");
        if (lower_.size() != upper_.size()) {
            require(false, "number of upper bounds", upper_.size(),
                    detail::concatenate("must equal the number of lower bounds, ", lower_.size()));
        }
        for (std::size_t k = 0; k < lower_.size(); ++k) {
            // The texts are put together only when something is wrong: boxes are made in loops.
            if (is_finite(lower_[k]) && is_finite(upper_[k]) && lower_[k] <= upper_[k]) {
                continue;
            }
            require(is_finite(lower_[k]), detail::concatenate("lower[", k, "]"), lower_[k],
                    "must be finite");
            require(is_finite(upper_[k]), detail::concatenate("upper[", k, "]"), upper_[k],
                    "must be finite");
            require(false, detail::concatenate("lower[", k, "]"), lower_[k],
                    detail::concatenate("must not exceed upper[", k, "] = ", upper_[k]));
        }
    }

    [[nodiscard]] std::size_t dimension() const noexcept { return lower_.size(); }
    [[nodiscard]] R lower(std::size_t k) const noexcept { return lower_[k]; }
    [[nodiscard]] R upper(std::size_t k) const noexcept { return upper_[k]; }
    [[nodiscard]] R width(std::size_t k) const noexcept { return upper_[k] - lower_[k]; }
    [[nodiscard]] std::span<const R> lower() const noexcept { return lower_; }
    [[nodiscard]] std::span<const R> upper() const noexcept { return upper_; }

    /// False if x has another dimension, a NaN, or a coordinate outside.
    [[nodiscard]] bool contains(std::span<const R> x) const noexcept {
        if (x.size() != dimension()) {
            return false;
        }
        for (std::size_t k = 0; k < x.size(); ++k) {
            if (!(x[k] >= lower_[k] && x[k] <= upper_[k])) {
                return false;
            }
        }
        return true;
    }

private:
    std::vector<R> lower_;
    std::vector<R> upper_;
};

}  // namespace echosieve
