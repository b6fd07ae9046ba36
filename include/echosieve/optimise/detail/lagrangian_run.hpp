// One run of an augmented Lagrangian: minimisations without constraints, one after the other.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <utility>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/detail/lagrangian_function.hpp"
#include "echosieve/optimise/detail/limited_memory.hpp"
#include "echosieve/optimise/detail/part_run.hpp"
#include "echosieve/optimise/detail/point_table.hpp"
#include "echosieve/optimise/detail/search.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/result.hpp"

namespace echosieve::detail {

[[nodiscard]] constexpr bool converged(OptimiseStatus status) noexcept {
    return status == OptimiseStatus::converged_gradient ||
           status == OptimiseStatus::converged_step || status == OptimiseStatus::converged_value ||
           status == OptimiseStatus::stagnated;
}

// Options are an AugmentedLagrangian, whose symbols these are.
template <class Options, class F, Real R, class Watch>
class LagrangianRun {
public:
    LagrangianRun(const Options& options, const OptimiseTask<F, R, Watch>& task)
        : options_((validate(options), options)),
          search_(task, limits_of(options)),
          lagrangian_(search_, std::max(options.margin, options.margin > 0 ? rounding : 0),
                      options.initial_penalty),
          pairs_(checked_memory(), task.box.dimension(), task.workspace),
          x_(task.workspace.template take<R>(task.box.dimension())) {
        static_assert(ConstrainedObjective<F, R>,
                      "AugmentedLagrangian needs an objective with constraints: see "
                      "ConstrainedObjective and Constrained in objective.hpp");
    }

    [[nodiscard]] OptimiseResult<R> run() {
        search_.write_start(x_);
        static_cast<void>(lagrangian_(std::span<const R>(x_)));
        while (search_.goes_on(start_evaluations(options_.inner, x_.size()))) {
            const OptimiseResult<R> result = run_inner();
            if (!result.usable()) {
                search_.end(result.status);
                continue;
            }
            std::ranges::copy(result.x, x_.begin());
            const double now = lagrangian_.lack();
            const double above = look_at_end(result, now);
            lagrangian_.update_multipliers();
            raise(now);
            look_at_progress(now, above);
        }
        return search_.result();
    }

private:
    static constexpr double rounding = static_cast<double>(std::numeric_limits<R>::epsilon());
    static constexpr double infinity = std::numeric_limits<double>::infinity();
    // Where the minimisations prove less accurate than the margin, it may grow so often, and what
    // lacks less than that is not far off.
    static constexpr double margin_growth = 100;

    [[nodiscard]] std::size_t checked_memory() const {
        std::size_t memory = 0;
        if constexpr (requires { options_.inner.memory; }) {
            memory = options_.inner.memory;
        }
        check_population<R>("memory", memory, search_.task().box.dimension());
        return memory;
    }

    // Minimises L as far as it is worth.
    [[nodiscard]] OptimiseResult<R> run_inner() {
        auto inner = options_.inner;
        inner.max_evaluations = std::min(inner.max_evaluations, search_.remaining());
        if constexpr (requires { inner.value_tolerance; }) {
            inner.value_tolerance = lagrangian_.worthwhile_change(inner.value_tolerance, lack_);
        }
        lagrangian_.forget_best();
        const auto at_target = [&](const Progress<R>&) {
            return search_.target_reached() ? Control::stop : Control::go_on;
        };
        const OptimiseTask part{lagrangian_, search_.task().box, search_.task().seed,
                                x_,          at_target,          search_.task().workspace};
        // From one L to the next the curvature changes little: what was learnt is kept, if it can.
        if constexpr (requires { inner.minimise(part, pairs_); }) {
            return inner.minimise(part, pairs_);
        } else {
            return minimise(part, inner);
        }
    }
    // Ends the search where this minimiser will do. By how much the best feasible value lies above
    // the minimum.
    double look_at_end(const OptimiseResult<R>& result, double now) {
        const double before = std::exchange(minimum_, static_cast<double>(result.value));
        const double above = search_.best().feasible()
                                 ? static_cast<double>(search_.best().value) - minimum_
                                 : infinity;
        if (converged(result.status)) {
            if (now <= std::max(options_.feasibility_tolerance, rounding)) {
                search_.end(result.status);
            } else if (std::max(std::abs(before - minimum_), above) <=
                       options_.value_tolerance * std::abs(minimum_)) {
                search_.end(OptimiseStatus::converged_value);
            }
        }
        return above;
    }
    // The penalty where V did not fall enough, or the margin where that did not help.
    void raise(double now) {
        const double most = margin_growth * options_.margin;
        const bool fell =
            now <= options_.required_fall * lack_ || now <= options_.feasibility_tolerance;
        if (!fell && stuck_ && now <= most) {
            lagrangian_.raise_margin(most);
        } else if (!fell) {
            lagrangian_.raise_penalty(options_.penalty_growth, options_.largest_penalty);
        }
        stuck_ = !fell;
        lack_ = now;
    }
    // Ends the search where nothing improves any more.
    void look_at_progress(double now, double above) {
        constexpr std::size_t patience = 5;  // minimisations without a smaller V
        constexpr double far = 1e-6;         // of the minimum: worth a feasible end
        const double most = margin_growth * options_.margin;
        still_ = now < least_ ? 0 : still_ + 1;
        least_ = std::min(least_, now);
        if (still_ < patience || !(now <= most)) {
            return;
        }
        if (above > far * std::abs(minimum_) && lagrangian_.margin() < most) {
            lagrangian_.set_margin(most);  // a feasible end costs what it costs
            still_ = 0;
        } else {
            search_.end(OptimiseStatus::stagnated);
        }
    }

    const Options& options_;
    Search<F, R, Watch> search_;
    LagrangianFunction<F, R, Watch> lagrangian_;
    LimitedMemory pairs_;
    std::span<R> x_;
    double lack_ = infinity;  // V of the last minimiser
    double minimum_ = infinity;
    double least_ = infinity;  // V so far
    std::size_t still_ = 0;
    bool stuck_ = false;
};

}  // namespace echosieve::detail
