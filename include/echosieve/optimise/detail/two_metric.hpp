// Quasi-Newton directions inside a box, and the path along one.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/limited_memory.hpp"

namespace echosieve {

// Symbols (those of limited_memory.hpp and line_search.hpp, and)
//   u      a point in widths of the box;  g  gradient by u;  d  direction;  P  clamps to the box
//   binding: on a bound, or nearer to it than the projected gradient is long, and g pushes outwards
// Binding coordinates go to their bounds, d = -H g in the others, and the path u(a) = P(u + a d) is
// searched: two-metric projection (Bertsekas 1982, SIAM J. Control Optim. 20:221-246; from memory).

namespace detail {

// A point, its value and its gradient by u.
template <Real R>
struct SlopePoint {
    std::span<R> x;
    std::span<double> gradient;
    double value = std::numeric_limits<double>::infinity();
    bool has_gradient = false;

    SlopePoint(std::size_t n, Workspace& workspace)
        : x(workspace.take<R>(n)), gradient(workspace.take<double>(n)) {}
};

// The direction from one point, and the way along it.
template <Real R>
class TwoMetricPath {
public:
    TwoMetricPath(const Box<R>& box, LimitedMemory& memory, double initial_step,
                  Workspace& workspace)
        : box_(box),
          n_(box.dimension()),
          memory_(memory),
          initial_step_(initial_step),
          free_(workspace.take<char>(n_)),
          direction_(workspace.take<double>(n_)),
          step_(workspace.take<double>(n_)) {}

    /// In widths of the box, as written last.
    [[nodiscard]] std::span<double> step() const noexcept { return step_; }

    // Widths of the box from `from` to `to`.
    [[nodiscard]] double way(std::size_t k, R from, R to) const noexcept {
        return to == from ? 0
                          : (static_cast<double>(to) - static_cast<double>(from)) /
                                static_cast<double>(box_.width(k));
    }
    // From here to the bound that the gradient points away from, in widths of the box.
    [[nodiscard]] double room_downhill(const SlopePoint<R>& at, std::size_t k) const noexcept {
        return way(k, at.x[k], at.gradient[k] > 0 ? box_.lower(k) : box_.upper(k));
    }
    // Marks what is free; gives the largest slope that can be followed.
    double find_free(const SlopePoint<R>& at) noexcept {
        double largest = 0;
        double reach = 0;  // longest move of P(u - gamma g)
        for (std::size_t k = 0; k < n_; ++k) {
            const double g = at.gradient[k];
            const double room = std::abs(room_downhill(at, k));
            largest = room > 0 ? std::max(largest, std::abs(g)) : largest;
            reach = std::max(reach, std::min(memory_.gamma() * std::abs(g), room));
        }
        constexpr double nearest = 1e-3;
        const double near = std::min(nearest, reach);
        for (std::size_t k = 0; k < n_; ++k) {
            direction_[k] = at.gradient[k] == 0 ? 0 : room_downhill(at, k);
            const bool binding = at.gradient[k] != 0 && std::abs(direction_[k]) <= near;
            free_[k] = binding || box_.width(k) == 0 ? 0 : 1;
        }
        return largest;
    }
    // Writes the direction; gives the slope along it.
    double find_direction(const SlopePoint<R>& at) noexcept {
        const auto follow_gradient = [&] {
            for (std::size_t k = 0; k < n_; ++k) {
                if (free_[k] != 0) {
                    direction_[k] = -at.gradient[k];
                }
            }
        };
        follow_gradient();
        bool curved = memory_.apply(free_, direction_);
        double slope = slope_at(at);
        double steepest = 0;
        double longest = 0;
        for (std::size_t k = 0; k < n_; ++k) {
            steepest += free_[k] != 0 ? at.gradient[k] * at.gradient[k] : 0;
            longest += free_[k] != 0 ? direction_[k] * direction_[k] : 0;
        }
        if (curved && !(slope < -1e-12 * std::sqrt(steepest) * std::sqrt(longest))) {
            memory_.clear();
            follow_gradient();
            curved = false;
        }
        double largest = 0;
        for (std::size_t k = 0; k < n_; ++k) {
            largest = free_[k] != 0 ? std::max(largest, std::abs(direction_[k])) : largest;
        }
        // No coordinate crosses the box in the first trial.
        const double most = curved ? std::max(largest, 1.0) : largest / initial_step_;
        for (std::size_t k = 0; k < n_; ++k) {
            direction_[k] = free_[k] != 0 && most > 0 ? direction_[k] / most : direction_[k];
        }
        return slope_at(at);
    }
    // Along the path: a coordinate that the bounds stopped moves no more.
    [[nodiscard]] double slope_at(const SlopePoint<R>& p) const noexcept {
        double sum = 0;
        for (std::size_t k = 0; k < n_; ++k) {
            const R bound = direction_[k] > 0 ? box_.upper(k) : box_.lower(k);
            sum += p.x[k] == bound ? 0 : p.gradient[k] * direction_[k];
        }
        return sum;
    }
    // Writes x at step a of the path; gives the length of the step there.
    double write_trial(const SlopePoint<R>& at, double a, std::span<R> x) noexcept {
        double longest = 0;
        for (std::size_t k = 0; k < n_; ++k) {
            const double move = std::clamp(a * direction_[k], -1.0, 1.0);
            const R to = static_cast<R>(static_cast<double>(at.x[k]) +
                                        move * static_cast<double>(box_.width(k)));
            x[k] = std::clamp(to, box_.lower(k), box_.upper(k));
            if (free_[k] == 0 && a >= 1 && direction_[k] != 0) {
                x[k] = direction_[k] > 0 ? box_.upper(k) : box_.lower(k);
            }
            step_[k] = way(k, at.x[k], x[k]);
            longest = std::max(longest, std::abs(step_[k]));
        }
        return longest;
    }

private:
    const Box<R>& box_;
    std::size_t n_;
    LimitedMemory& memory_;
    double initial_step_;
    std::span<char> free_;
    std::span<double> direction_;  // in widths of the box
    std::span<double> step_;
};

}  // namespace detail

}  // namespace echosieve
