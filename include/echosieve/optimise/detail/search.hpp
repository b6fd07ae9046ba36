// What all optimisers do alike: evaluate, count, remember the best point, and know when to end.
#pragma once

#include <algorithm>
#include <cstddef>
#include <limits>
#include <span>
#include <utility>

#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/difference.hpp"
#include "echosieve/optimise/detail/point_table.hpp"
#include "echosieve/optimise/least_squares.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve::detail {

/// Throws InvalidInput for a start of another dimension or with a NaN, or a box whose width is not
/// finite. The texts are put together only when something is wrong: a run allocates nothing here.
template <Real R>
void check_search_input(const Box<R>& box, std::span<const R> start) {
    const std::size_t n = box.dimension();
    if (!start.empty() && start.size() != n) {
        require(false, "size of the start point", start.size(),
                concatenate("must be 0 or the dimension, ", n));
    }
    for (std::size_t k = 0; k < n; ++k) {
        if (!is_finite(box.width(k))) {
            require(false, concatenate("width of the box in dimension ", k), box.width(k),
                    "must be finite");
        }
        if (!start.empty() && start[k] != start[k]) {
            require(false, concatenate("start[", k, "]"), start[k], "must be a number");
        }
    }
}

// One run. An optimiser evaluates its start points, then, while goes_on(), moves and evaluates.
template <class F, Real R, class Watch>
class Search {
public:
    static constexpr R infinity = std::numeric_limits<R>::infinity();

    /// Takes arrays from the task's workspace, and gives back, at its end, all that was taken
    /// since. Throws InvalidInput for a start of another dimension or with a NaN, or a box whose
    /// width is not finite.
    Search(const OptimiseTask<F, R, Watch>& task, const Limits& limits)
        : scope_(task.workspace),
          task_(task),
          objective_(task.objective),
          box_(task.box),
          limits_(limits),
          workspace_(task.workspace) {
        check_search_input(box_, task.start);
        best_point_ = workspace_.take<R>(box_.dimension());
        point_ = workspace_.take<R>(box_.dimension());
        if constexpr (ConstrainedObjective<F, R>) {
            inequalities_ = workspace_.take<R>(objective_.inequalities());
            equalities_ = workspace_.take<R>(objective_.equalities());
        }
    }

    [[nodiscard]] const OptimiseTask<F, R, Watch>& task() const noexcept { return task_; }
    /// The start, or the middle of the box if it is empty, inside the box.
    void write_start(std::span<R> x) const noexcept {
        for (std::size_t k = 0; k < x.size(); ++k) {
            const R at = task_.start.empty() ? box_.lower(k) + box_.width(k) / 2 : task_.start[k];
            x[k] = std::clamp(at, box_.lower(k), box_.upper(k));
        }
    }

    /// Values at many points; one workspace's worth of them at once for a batch objective.
    void evaluate(const Points<R>& points, std::span<Merit<R>> merits) {
        if constexpr (BatchObjective<F, R>) {
            const Workspace::Scope scope(workspace_);
            const std::span<R> values = workspace_.take<R>(points.size());
            objective_.evaluate(points, values);
            for (std::size_t i = 0; i < points.size(); ++i) {
                points.read(i, point_);
                merits[i] = judge(values[i]);
            }
        } else {
            for (std::size_t i = 0; i < points.size(); ++i) {
                points.read(i, point_);
                merits[i] = judge(static_cast<R>(objective_(std::span<const R>(point_))));
            }
        }
    }
    void evaluate(const PointTable<R>& table, std::span<Merit<R>> merits) {
        evaluate(table.points(), merits);
    }
    Merit<R> evaluate(std::span<const R> x) {
        std::ranges::copy(x, point_.begin());
        return judge(static_cast<R>(objective_(std::span<const R>(point_))));
    }

    /// Value at x, and the objective's own gradient: one evaluation.
    Merit<R> value_and_gradient(std::span<const R> x, std::span<R> gradient)
    requires DifferentiableObjective<F, R>
    {
        std::ranges::copy(x, point_.begin());
        const R value =
            static_cast<R>(objective_.value_and_gradient(std::span<const R>(point_), gradient));
        return judge(finite(gradient) ? value : infinity);
    }
    /// Value at x and a numeric gradient: two evaluations more for each coordinate that has room.
    Merit<R> value_and_gradient(std::span<const R> x, std::span<R> gradient) {
        const Merit<R> here = evaluate(x);
        differences(x, here.value, gradient);
        return here;
    }
    /// A numeric gradient at x, where the value is known: see write_differences.
    void differences(std::span<const R> x, R here, std::span<R> gradient) {
        const Workspace::Scope scope(workspace_);
        write_differences(*this, x, here, gradient);
    }

    /// Evaluations of value_and_gradient.
    [[nodiscard]] std::size_t gradient_cost() const noexcept {
        return DifferentiableObjective<F, R> ? 1 : 1 + 2 * box_.dimension();
    }

    /// Value at x of a sum of squares, and its normal equations: one evaluation.
    Merit<R> normal_equations(std::span<const R> x, std::span<R> gram, std::span<R> gradient) {
        std::ranges::copy(x, point_.begin());
        const R value =
            static_cast<R>(objective_.normal_equations(std::span<const R>(point_), gram, gradient));
        return judge(finite(gram) && finite(gradient) ? value : infinity);
    }
    /// The normal equations of the point that was evaluated last. False if they are of no use.
    bool derivatives(std::span<R> gram, std::span<R> gradient)
    requires StagedLeastSquaresObjective<F, R>
    {
        result_.evaluations += objective_.derivatives(gram, gradient);
        return finite(gram) && finite(gradient);
    }

    /// Counts what another optimiser did as a part of this run.
    void count(const OptimiseResult<R>& part) noexcept {
        result_.evaluations += part.evaluations;
        result_.non_finite += part.non_finite;
    }
    /// Takes in a point that was evaluated as a part of this run, and counted.
    void take_in(const Merit<R>& merit, std::span<const R> x) {
        if (!x.empty()) {
            remember(merit, x);
        }
    }

    /// Whether another iteration, of so many evaluations at most, is to be made; then it is
    /// counted.
    [[nodiscard]] bool goes_on(std::size_t evaluations) {
        if (result_.status != OptimiseStatus::not_run) {
            return false;
        }
        count_stagnation();
        const Control wish = task_.observer(Progress<R>{
            result_.iterations, result_.evaluations, best_.value, best_point(), best_.violation});
        if (wish != Control::go_on) {
            end(wish == Control::stop ? OptimiseStatus::stopped : OptimiseStatus::aborted);
        } else if (target_reached()) {
            end(OptimiseStatus::target_reached);
        } else if (result_.iterations >= limits_.iterations) {
            end(OptimiseStatus::iteration_limit);
        } else if (remaining() < evaluations) {
            end(OptimiseStatus::evaluation_limit);
        } else if (limits_.stagnation_iterations > 0 && still_ >= limits_.stagnation_iterations) {
            end(OptimiseStatus::stagnated);
        } else {
            ++result_.iterations;
            return true;
        }
        return false;
    }
    /// Ends the run: goes_on() is false from now on. The first reason counts, but the target, if it
    /// is reached, before all but the observer's word.
    void end(OptimiseStatus status) noexcept {
        if (result_.status != OptimiseStatus::not_run) {
            return;
        }
        const bool wished = status == OptimiseStatus::stopped || status == OptimiseStatus::aborted;
        result_.status = !wished && target_reached() ? OptimiseStatus::target_reached : status;
    }
    [[nodiscard]] bool ended() const noexcept { return result_.status != OptimiseStatus::not_run; }

    [[nodiscard]] std::size_t remaining() const noexcept {
        return limits_.max_evaluations - std::min(limits_.max_evaluations, result_.evaluations);
    }
    /// Part of the run that was over when this iteration began, by the limit that comes first.
    [[nodiscard]] double progress() const noexcept {
        const auto part = [](std::size_t done, std::size_t all) {
            return all < std::numeric_limits<std::size_t>::max()
                       ? static_cast<double>(done) / static_cast<double>(all)
                       : 0;
        };
        if (result_.iterations == 0) {
            return 0;
        }
        return std::max(part(result_.iterations - 1, limits_.iterations),
                        part(result_.evaluations, limits_.max_evaluations));
    }
    [[nodiscard]] std::size_t evaluations() const noexcept { return result_.evaluations; }
    [[nodiscard]] std::size_t iterations() const noexcept { return result_.iterations; }
    [[nodiscard]] const Merit<R>& best() const noexcept { return best_; }
    [[nodiscard]] std::span<const R> best_point() const noexcept { return best_point_; }
    [[nodiscard]] double target() const noexcept { return limits_.target; }
    /// Constraints at the point that was evaluated last.
    [[nodiscard]] std::span<const R> inequalities() const noexcept { return inequalities_; }
    [[nodiscard]] std::span<const R> equalities() const noexcept { return equalities_; }
    [[nodiscard]] bool target_reached() const noexcept {
        return best_.feasible() && static_cast<double>(best_.value) <= limits_.target;
    }

    [[nodiscard]] OptimiseResult<R> result() {
        if (!found_ && result_.status != OptimiseStatus::aborted) {
            result_.status = OptimiseStatus::no_finite_value;
        }
        result_.value = best_.value;
        result_.violation = best_.violation;
        result_.judged = true;
        result_.x.assign(best_point_.begin(), best_point_.end());
        return std::move(result_);
    }

private:
    [[nodiscard]] static bool finite(std::span<const R> x) noexcept {
        return std::ranges::all_of(x, [](R v) { return is_finite(v); });
    }

    // Of the value at point_, which is counted.
    Merit<R> judge(R value) {
        ++result_.evaluations;
        Merit<R> merit{value, 0};
        if constexpr (ConstrainedObjective<F, R>) {
            objective_.constrain(std::span<const R>(point_), inequalities_, equalities_);
            merit.violation = violation<R>(inequalities_, equalities_,
                                           static_cast<R>(objective_.equality_tolerance()));
        }
        if (!is_finite(merit.value) || !is_finite(merit.violation)) {
            ++result_.non_finite;
            merit = {infinity, infinity};
        }
        remember(merit, point_);
        return merit;
    }
    void remember(const Merit<R>& merit, std::span<const R> x) {
        if (!found_ || merit.better_than(best_)) {
            // What has no value yet is remembered only as a point inside the box.
            found_ = merit.value < infinity;
            best_ = merit;
            std::ranges::copy(x, best_point_.begin());
        }
    }
    void count_stagnation() noexcept {
        const R fall = reference_.value - best_.value;
        const bool fell = best_.violation < reference_.violation ||
                          (best_.violation == reference_.violation &&
                           static_cast<double>(fall) > limits_.tolerance);
        if (result_.iterations == 0 || fell) {
            reference_ = best_;
            still_ = 0;
        } else {
            ++still_;
        }
    }

    Workspace::Scope scope_;
    OptimiseTask<F, R, Watch> task_;
    F& objective_;
    const Box<R>& box_;
    Limits limits_;
    Workspace& workspace_;
    std::span<R> best_point_;
    std::span<R> point_;  // the one that is being evaluated
    std::span<R> inequalities_;
    std::span<R> equalities_;
    OptimiseResult<R> result_;
    Merit<R> best_;
    bool found_ = false;
    Merit<R> reference_;  // at the start of the stagnation count
    std::size_t still_ = 0;
};

}  // namespace echosieve::detail
