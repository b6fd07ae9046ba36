// Least squares inside a box, by damped Gauss-Newton steps.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <type_traits>
#include <utility>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/bounded_step.hpp"
#include "echosieve/optimise/detail/damped_steps.hpp"
#include "echosieve/optimise/detail/local_start.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/least_squares.hpp"
#include "echosieve/optimise/limits.hpp"
#include "echosieve/optimise/workspace.hpp"

namespace echosieve {

// Symbols (those of least_squares.hpp, and)
//   s      lengths of the columns of J, or half of what s was at the point before if that is more
//          (a column that vanishes must not set its parameter free at once); the step is sought in
//          s (x' - x), so that units do not matter
//   mu     damping, (J' J + mu I) d = -J' r in these units;  c_k = |J_k' r| / (s_k |r|)
// (Levenberg 1944, Marquardt 1963; the step inside bounds: bounded_step.hpp, how mu is moved:
// damped_steps.hpp.)

/// A local method for a sum of squares. An iteration is one trial: an evaluation of the normal
/// equations, or, of a StagedLeastSquaresObjective, one of the value and, if it fell, the
/// derivatives. Computes in double. What ends it is looked at before a trial is made.
struct LevenbergMarquardt {
    std::size_t iterations = 200;
    double initial_damping = 1e-4;      ///< mu at the start, >= 0
    double damping_fall = 5;            ///< mu is divided by it at most after a step, >= 1
    double largest_step = 1;            ///< of a coordinate, in widths of the box
    double gradient_tolerance = 1e-10;  ///< ends when no free coordinate has c_k > it
    double step_tolerance = 1e-10;      ///< ends when the step is <= it, in widths of the box
    /// Ends when the undamped step promises a fall <= value_tolerance * value, or a trial was no
    /// better and differs by no more. Not less than the rounding unit of R counts.
    double value_tolerance = 1e-12;
    double target = -std::numeric_limits<double>::infinity();  ///< this and the next: see Limits
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();  ///< >= 1

    /// `objective` is a LeastSquaresObjective without constraints. `start` is empty or a point,
    /// clamped to the box; see local_start.hpp for what an empty or unusable start leads to.
    /// Throws InvalidInput for invalid options, a start of another dimension or with a NaN, or a
    /// box whose width is not finite.
    /// Once the workspace has its size, a run allocates its result and
    /// the solver, whose size is that of the box, before the first step.
    template <class F, Real R, class Watch>
    requires Objective<F, R> && Observer<Watch, R>
    [[nodiscard]] OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                             std::type_identity_t<std::span<const R>> start,
                                             Watch& observer, Workspace& workspace) const;
};

/// Throws InvalidInput naming the option, its value and the relation that it breaks.
inline void validate(const LevenbergMarquardt& options) {
    require(options.initial_damping >= 0 && is_finite(options.initial_damping), "initial_damping",
            options.initial_damping, "must be zero or more and finite");
    require(options.damping_fall >= 1 && is_finite(options.damping_fall), "damping_fall",
            options.damping_fall, "must be at least 1 and finite");
    require(options.largest_step > 0, "largest_step", options.largest_step,
            "must be positive [box widths]");
    require(options.gradient_tolerance >= 0, "gradient_tolerance", options.gradient_tolerance,
            "must be zero or more");
    require(options.step_tolerance >= 0, "step_tolerance", options.step_tolerance,
            "must be zero or more [box widths]");
    require(options.value_tolerance >= 0, "value_tolerance", options.value_tolerance,
            "must be zero or more");
    validate(limits_of(options), 1);
}

namespace detail {

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
        solver_.solve(h_, right_, weight_, damping, down_, up_, step_);
        solver_.settle(h_, right_, weight_, damping, down_, up_, step_);
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

// Evaluates p as the objective does it; false if there is nothing to go on from. A value that is
// not below `limit` is not worth its derivatives.
template <Real R, class F, class Watch>
bool evaluate_squares(Search<R, F, Watch>& search, SquaresPoint<R>& p, R limit,
                      [[maybe_unused]] std::size_t derivatives_cost) {
    if constexpr (StagedLeastSquaresObjective<F, R>) {
        p.value = search.evaluate(p.x).value;
        return p.value < limit && search.remaining() >= derivatives_cost &&
               search.derivatives(p.gram, p.gradient);
    } else {
        p.value = search.normal_equations(p.x, p.gram, p.gradient).value;
        return p.value < limit;
    }
}

}  // namespace detail

template <class F, Real R, class Watch>
requires Objective<F, R> && Observer<Watch, R>
OptimiseResult<R> LevenbergMarquardt::minimise(F& objective, const Box<R>& box, std::uint64_t seed,
                                               std::type_identity_t<std::span<const R>> start,
                                               Watch& observer, Workspace& workspace) const {
    static_assert(LeastSquaresObjective<F, R>,
                  "LevenbergMarquardt needs an objective with normal_equations(): see "
                  "LeastSquaresObjective and SumOfSquares in least_squares.hpp");
    static_assert(!ConstrainedObjective<F, R>,
                  "LevenbergMarquardt knows no constraints beyond the box");
    validate(*this);
    detail::check_search_input(box, start);
    const Workspace::Scope scope(workspace);
    detail::Search<R, F, Watch> search(objective, box, limits_of(*this), observer, workspace);
    detail::SquaresPoint<R> at(box.dimension(), workspace);
    detail::SquaresPoint<R> next(box.dimension(), workspace);
    detail::SquaresModel<R> model(box, largest_step, workspace);
    Damping damping(initial_damping, damping_fall);
    std::size_t cost = 1;
    if constexpr (StagedLeastSquaresObjective<F, R>) {
        cost += objective.derivatives_cost();
    }
    const double least_change =
        std::max(value_tolerance, static_cast<double>(std::numeric_limits<R>::epsilon()));
    const auto evaluate = [&](detail::SquaresPoint<R>& p, R limit) {
        return detail::evaluate_squares(search, p, limit, cost - 1);
    };

    // Where no more than the value may be asked for, that is all.
    const auto usable = [&] {
        return search.remaining() < cost
                   ? search.evaluate(at.x).value < -std::numeric_limits<R>::infinity()
                   : evaluate(at, std::numeric_limits<R>::infinity());
    };
    bool moved = detail::find_local_start(search, box, seed, start, at.x, cost, usable);
    while (search.goes_on(cost)) {
        const double value = static_cast<double>(at.value);
        if (std::exchange(moved, false)) {
            model.look_at(at);
            if (model.slope() <= gradient_tolerance * std::sqrt(value)) {
                search.end(OptimiseStatus::converged_gradient);
                continue;
            }
        }
        double promised = model.find_step(damping.value());
        if (promised <= least_change * value) {
            // Small for its damping, perhaps.
            if (model.find_step(0) <= least_change * value) {
                search.end(OptimiseStatus::converged_value);
                continue;
            }
            promised = model.find_step(damping.value());
        }
        if (model.write_trial(at.x, next.x) <= step_tolerance) {
            search.end(OptimiseStatus::converged_step);
            continue;
        }
        const bool worth = evaluate(next, at.value);
        const double fall = value - static_cast<double>(next.value);
        if (damping.judge(worth ? fall : -1, promised)) {
            std::swap(at, next);
            moved = true;
        } else if (std::abs(fall) <= least_change * value) {
            search.end(OptimiseStatus::converged_value);
        } else {
            // Bounds hide much of the damping: a step that is hardly another is not worth a trial.
            const double longest = 0.75 * model.length();
            for (int k = 0; k < 60; ++k) {
                model.find_step(damping.value());
                if (model.length() <= longest) {
                    break;
                }
                damping.judge(-1, promised);
            }
        }
    }
    return search.result();
}

static_assert(Optimiser<LevenbergMarquardt, double> && Optimiser<LevenbergMarquardt, float>);
static_assert(LimitedOptimiser<LevenbergMarquardt>);

}  // namespace echosieve
