// One run of damped Gauss-Newton steps over a sum of squares.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/damped_steps.hpp"
#include "echosieve/optimise/detail/local_start.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/detail/squares_model.hpp"
#include "echosieve/optimise/least_squares.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve::detail {

// Options are a LevenbergMarquardt, whose symbols these are.
template <class Options, class F, Real R, class Watch>
class SquaresRun {
public:
    SquaresRun(const Options& options, const OptimiseTask<F, R, Watch>& task)
        : options_((validate(options), options)),
          search_(task, limits_of(options)),
          at_(task.box.dimension(), task.workspace),
          next_(task.box.dimension(), task.workspace),
          model_(task.box, options.largest_step, task.workspace),
          damping_(options.initial_damping, options.damping_fall),
          least_change_(std::max(options.value_tolerance,
                                 static_cast<double>(std::numeric_limits<R>::epsilon()))) {
        static_assert(LeastSquaresObjective<F, R>,
                      "LevenbergMarquardt needs an objective with normal_equations(): see "
                      "LeastSquaresObjective and SumOfSquares in least_squares.hpp");
        static_assert(!ConstrainedObjective<F, R>,
                      "LevenbergMarquardt knows no constraints beyond the box");
        if constexpr (StagedLeastSquaresObjective<F, R>) {
            derivatives_cost_ = task.objective.derivatives_cost();
        }
    }

    [[nodiscard]] OptimiseResult<R> run() {
        const std::size_t cost = 1 + derivatives_cost_;
        // Where no more than the value may be asked for, that is all.
        const auto usable = [&] {
            return search_.remaining() < cost ? search_.evaluate(at_.x).value < -infinity
                                              : evaluate(at_, infinity);
        };
        bool moved = find_local_start(search_, at_.x, cost, usable);
        while (search_.goes_on(cost)) {
            if (std::exchange(moved, false)) {
                model_.look_at(at_);
                if (model_.slope() <=
                    options_.gradient_tolerance * std::sqrt(static_cast<double>(at_.value))) {
                    search_.end(OptimiseStatus::converged_gradient);
                    continue;
                }
            }
            moved = step();
        }
        return search_.result();
    }

private:
    static constexpr R infinity = std::numeric_limits<R>::infinity();

    // One trial, or an end. True if it led to a better point.
    [[nodiscard]] bool step() {
        const double value = static_cast<double>(at_.value);
        double promised = model_.find_step(damping_.value());
        if (promised <= least_change_ * value) {
            // Small for its damping, perhaps.
            if (model_.find_step(0) <= least_change_ * value) {
                search_.end(OptimiseStatus::converged_value);
                return false;
            }
            promised = model_.find_step(damping_.value());
        }
        if (model_.write_trial(at_.x, next_.x) <= options_.step_tolerance) {
            search_.end(OptimiseStatus::converged_step);
            return false;
        }
        const bool worth = evaluate(next_, at_.value);
        const double fall = value - static_cast<double>(next_.value);
        if (damping_.judge(worth ? fall : -1, promised)) {
            std::swap(at_, next_);
            return true;
        }
        if (std::abs(fall) <= least_change_ * value) {
            search_.end(OptimiseStatus::converged_value);
        } else {
            shorten(promised);
        }
        return false;
    }
    // Bounds hide much of the damping: a step that is hardly another is not worth a trial.
    void shorten(double promised) {
        constexpr double another = 0.75;  // of the length
        constexpr int most = 60;          // raises of the damping, each twice the one before
        const double longest = another * model_.length();
        for (int k = 0; k < most; ++k) {
            model_.find_step(damping_.value());
            if (model_.length() <= longest) {
                break;
            }
            damping_.judge(-1, promised);
        }
    }
    // Evaluates p as the objective does it; false if there is nothing to go on from. A value that
    // is not below `limit` is not worth its derivatives.
    [[nodiscard]] bool evaluate(SquaresPoint<R>& p, R limit) {
        if constexpr (StagedLeastSquaresObjective<F, R>) {
            p.value = search_.evaluate(p.x).value;
            return p.value < limit && search_.remaining() >= derivatives_cost_ &&
                   search_.derivatives(p.gram, p.gradient);
        } else {
            p.value = search_.normal_equations(p.x, p.gram, p.gradient).value;
            return p.value < limit;
        }
    }

    const Options& options_;
    Search<F, R, Watch> search_;
    SquaresPoint<R> at_;
    SquaresPoint<R> next_;
    SquaresModel<R> model_;
    Damping damping_;
    std::size_t derivatives_cost_ = 0;
    double least_change_;
};

}  // namespace echosieve::detail
