// One run of quasi-Newton steps inside a box: the search along each of their paths.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <utility>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/limited_memory.hpp"
#include "echosieve/optimise/detail/line_search.hpp"
#include "echosieve/optimise/detail/local_start.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/detail/two_metric.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve {

// Symbols: those of two_metric.hpp.

namespace detail {

// One run. Options are a QuasiNewton.
template <class Options, class F, Real R, class Watch>
class QuasiNewtonRun {
public:
    /// `pairs` is of the dimension of the box.
    QuasiNewtonRun(const Options& options, const OptimiseTask<F, R, Watch>& task,
                   LimitedMemory& pairs)
        : options_((validate(options), options)),
          search_(task, limits_of(options)),
          box_(task.box),
          n_(task.box.dimension()),
          at_(n_, task.workspace),
          trial_(n_, task.workspace),
          good_(n_, task.workspace),
          memory_(pairs),
          raw_(task.workspace.template take<R>(n_)),
          path_(task.box, pairs, options.initial_step, task.workspace),
          change_(task.workspace.template take<double>(n_)),
          least_change_(std::max(options.value_tolerance, rounding)),
          least_step_(std::max(options.step_tolerance, rounding)) {
        static_assert(
            !ConstrainedObjective<F, R>,
            "QuasiNewton knows no constraints beyond the box: AugmentedLagrangian runs it "
            "under constraints");
        require(pairs.dimension() == n_, "dimension of the memory", pairs.dimension(),
                "must be that of the box");
    }

    [[nodiscard]] OptimiseResult<R> run() {
        const std::size_t cost = search_.gradient_cost();
        static_cast<void>(find_local_start(search_, at_.x, cost, [&] {
            evaluate(at_);
            if (search_.remaining() >= cost - 1) {  // or else there is no iteration either
                add_gradient(at_);
            }
            return at_.value < std::numeric_limits<double>::infinity();
        }));
        while (search_.goes_on(cost)) {
            const double before = std::exchange(steepest_, path_.find_free(at_));
            if (steepest_ <= options_.gradient_tolerance) {
                search_.end(OptimiseStatus::converged_gradient);
            } else if (level_ && (!polishes() || steepest_ > before / 2)) {
                search_.end(OptimiseStatus::converged_value);
            } else if (const double slope = path_.find_direction(at_); search_line(slope)) {
                take_step();
            } else if (memory_.size() > 0 && !search_.ended()) {
                memory_.clear();  // and down the gradient, the next time
            } else {
                search_.end(OptimiseStatus::converged_step);
            }
        }
        return search_.result();
    }

private:
    static constexpr double rounding = static_cast<double>(std::numeric_limits<R>::epsilon());

    // With its gradient where that comes with the value.
    void evaluate(SlopePoint<R>& p) {
        if constexpr (DifferentiableObjective<F, R>) {
            p.value = static_cast<double>(search_.value_and_gradient(p.x, raw_).value);
            scale_gradient(p);
        } else {
            p.value = static_cast<double>(search_.evaluate(p.x).value);
            p.has_gradient = false;
        }
    }
    void add_gradient(SlopePoint<R>& p) {
        if constexpr (!DifferentiableObjective<F, R>) {
            if (p.value < std::numeric_limits<double>::infinity()) {
                search_.differences(p.x, static_cast<R>(p.value), raw_);
                scale_gradient(p);
            }
        }
    }
    void scale_gradient(SlopePoint<R>& p) noexcept {
        for (std::size_t k = 0; k < n_; ++k) {
            const double g = static_cast<double>(raw_[k]) * static_cast<double>(box_.width(k));
            p.gradient[k] = is_finite(g) ? g : 0;  // not to be followed
        }
        p.has_gradient = true;
    }

    [[nodiscard]] bool same_value(double a, double b) const noexcept {
        return std::abs(a - b) <= least_change_ * std::max(std::abs(a), std::abs(b));
    }

    // Leaves in good_ a point that will do; false if there is none.
    bool search_line(double slope) {
        const LinePoint start{0, at_.value, slope};
        LinePoint low = start;
        LinePoint high{std::numeric_limits<double>::infinity(), 0};
        double a = 1;
        bool found = false;
        if (!(slope < 0)) {
            return false;
        }
        constexpr int trials = 60;
        for (int trial = 0; trial < trials; ++trial) {
            if (trial > 0 && search_.remaining() < search_.gradient_cost()) {
                if (!found) {
                    search_.end(OptimiseStatus::evaluation_limit);
                }
                return found;
            }
            const bool still = path_.write_trial(at_, a, trial_.x) <= least_step_;
            if (still || (found && std::ranges::equal(trial_.x, good_.x))) {
                return found;
            }
            double model = 0;
            for (std::size_t k = 0; k < n_; ++k) {
                model += at_.gradient[k] * path_.step()[k];
            }
            evaluate(trial_);
            LinePoint here{a, trial_.value};
            const bool falls = trial_.value <= at_.value + options_.sufficient_decrease * model &&
                               trial_.value < low.value;
            if (falls) {
                add_gradient(trial_);
            }
            if (trial_.has_gradient && is_finite(trial_.value)) {
                here.slope = path_.slope_at(trial_);
            }
            if (!falls) {
                if (found) {
                    return true;  // too far: what was found before will do
                }
                if (std::abs(model) <= least_change_ * std::abs(at_.value)) {
                    return end_at_rounding(slope);
                }
                high = here;
            } else {
                std::swap(good_, trial_);
                found = true;
                if (here.slope >= options_.curvature * slope) {
                    return true;
                }
                const LinePoint before = std::exchange(low, here);
                if (!is_finite(high.step)) {
                    a = step_beyond(before, here);
                    continue;
                }
            }
            a = step_between(low, high);
        }
        return found;
    }
    [[nodiscard]] bool polishes() const noexcept { return options_.value_tolerance < rounding; }
    // A step that promises no more than rounding did not gain: is trial_ to be trusted by its
    // slope?
    bool end_at_rounding(double slope) {
        const bool same = same_value(trial_.value, at_.value);
        if (same && polishes()) {
            if (!trial_.has_gradient) {
                add_gradient(trial_);
            }
            const double now = path_.slope_at(trial_);
            if (now >= options_.curvature * slope &&
                now <= (2 * options_.sufficient_decrease - 1) * slope) {
                std::swap(good_, trial_);
                return true;
            }
        }
        if (same || memory_.size() == 0) {
            search_.end(OptimiseStatus::converged_value);
        }
        return false;
    }
    void take_step() {
        for (std::size_t k = 0; k < n_; ++k) {
            path_.step()[k] = path_.way(k, at_.x[k], good_.x[k]);
            change_[k] = good_.gradient[k] - at_.gradient[k];
        }
        memory_.add(path_.step(), change_);
        std::swap(at_, good_);
        level_ = same_value(at_.value, good_.value);
    }

    const Options& options_;
    Search<F, R, Watch> search_;
    const Box<R>& box_;
    std::size_t n_;
    SlopePoint<R> at_, trial_, good_;
    LimitedMemory& memory_;
    std::span<R> raw_;
    TwoMetricPath<R> path_;
    std::span<double> change_;
    double steepest_ = 0;  // slope that can be followed
    bool level_ = false;   // the last step changed the value by rounding or a tolerance at most
    double least_change_;
    double least_step_;
};

template <class Options, class F, Real R, class Watch>
[[nodiscard]] OptimiseResult<R> run_quasi_newton(const Options& options,
                                                 const OptimiseTask<F, R, Watch>& task) {
    check_population<R>("memory", options.memory, task.box.dimension());
    const Workspace::Scope scope(task.workspace);
    LimitedMemory pairs(options.memory, task.box.dimension(), task.workspace);
    return QuasiNewtonRun(options, task, pairs).run();
}

}  // namespace detail

}  // namespace echosieve
