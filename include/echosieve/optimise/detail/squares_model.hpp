// A sum of squares about one point, and the steps that its model leads to.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/bounded_step.hpp"

namespace echosieve::detail {

// Symbols: those of levenberg_marquardt.hpp.

// A point, its value and normal equations.
template <Real R>
struct SquaresPoint {
    std::span<R> x, gram, gradient;
    R value = std::numeric_limits<R>::infinity();

    SquaresPoint(std::size_t n, Workspace& workspace)
        : x(workspace.take<R>(n)), gram(workspace.take<R>(n * n)), gradient(workspace.take<R>(n)) {}
};

// The steps that the model at one point leads to.
template <Real R>
class SquaresModel {
public:
    SquaresModel(const Box<R>& box, double largest_step, Workspace& workspace)
        : box_(box),
          largest_step_(largest_step),
          n_(static_cast<Eigen::Index>(box.dimension())),
          solver_(n_, std::numeric_limits<double>::infinity()),
          h_(take(n_ * n_, workspace), n_, n_),
          right_(take(n_, workspace), n_),
          weight_(take(n_, workspace), n_),
          lengths_(take(n_, workspace), n_),
          scale_(take(n_, workspace), n_),
          down_(take(n_, workspace), n_),
          up_(take(n_, workspace), n_),
          step_(take(n_, workspace), n_) {}

    void look_at(const SquaresPoint<R>& at) {
        for (Eigen::Index k = 0; k < n_; ++k) {
            const auto i = static_cast<std::size_t>(k);
            const double square = static_cast<double>(at.gram[i * at.x.size() + i]);
            lengths_[k] = std::max(square > 0 ? std::sqrt(square) : 0, lengths_[k] / 2);
            weight_[k] = square > 0 ? 1 : 0;  // a column of zeros has no say
            const double unit = square > 0 ? lengths_[k] : 1;
            scale_[k] = square > 0 ? 1 / unit : 0;
            right_[k] = -static_cast<double>(at.gradient[i]) * scale_[k];
            const double x = static_cast<double>(at.x[i]);
            const double most = largest_step_ * static_cast<double>(box_.width(i));
            down_[k] = unit * std::max(static_cast<double>(box_.lower(i)) - x, -most);
            up_[k] = unit * std::min(static_cast<double>(box_.upper(i)) - x, most);
        }
        for (Eigen::Index k = 0; k < n_; ++k) {
            for (Eigen::Index j = 0; j < n_; ++j) {
                const auto entry = static_cast<std::size_t>(k * n_ + j);
                h_(j, k) = static_cast<double>(at.gram[entry]) * scale_[j] * scale_[k];
            }
        }
    }
    /// Largest |J_k' r| / s_k of those that no bound holds.
    [[nodiscard]] double slope() const noexcept {
        double largest = 0;
        for (Eigen::Index k = 0; k < n_; ++k) {
            if (weight_[k] > 0 && !held_by_bounds(down_[k], up_[k], right_[k])) {
                largest = std::max(largest, std::abs(right_[k]));
            }
        }
        return largest;
    }
    /// Finds the step, and gives the fall of the value that the model promises.
    double find_step(double damping) {
        const StepProblem problem{h_, right_, weight_, down_, up_};
        solver_.solve(problem, damping, step_);
        solver_.settle(problem, damping, step_);
        double promised = 0;
        for (Eigen::Index k = 0; k < n_; ++k) {
            promised += step_[k] * (2 * right_[k] - h_.col(k).dot(step_));
        }
        return promised;
    }
    [[nodiscard]] double length() const noexcept { return step_.norm(); }
    /// Writes where the step leads to, inside the box; gives its length in widths of the box.
    double write_trial(std::span<const R> x, std::span<R> trial) const noexcept {
        double longest = 0;
        for (Eigen::Index k = 0; k < n_; ++k) {
            const auto i = static_cast<std::size_t>(k);
            const double here = static_cast<double>(x[i]);
            const double way = step_[k] * scale_[k];
            const double most = largest_step_ * static_cast<double>(box_.width(i));
            trial[i] = std::clamp(static_cast<R>(here + way), box_.lower(i), box_.upper(i));
            // On a bound is on it exactly, or it would not be seen to be held there.
            if (way < 0 && step_[k] <= down_[k] && box_.lower(i) - here >= -most) {
                trial[i] = box_.lower(i);
            } else if (way > 0 && step_[k] >= up_[k] && box_.upper(i) - here <= most) {
                trial[i] = box_.upper(i);
            }
            if (trial[i] != x[i]) {
                longest = std::max(longest,
                                   static_cast<double>(std::abs(trial[i] - x[i]) / box_.width(i)));
            }
        }
        return longest;
    }

private:
    [[nodiscard]] static double* take(Eigen::Index count, Workspace& workspace) {
        return workspace.take<double>(static_cast<std::size_t>(count)).data();
    }

    const Box<R>& box_;
    double largest_step_;
    Eigen::Index n_;
    BoundedStep<double> solver_;
    Eigen::Map<Eigen::MatrixXd> h_;
    Eigen::Map<Eigen::VectorXd> right_, weight_, lengths_, scale_, down_, up_, step_;
};

}  // namespace echosieve::detail
