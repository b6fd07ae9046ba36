// When a damped Gauss-Newton fit of echoes ends.
#pragma once

#include "echosieve/optimise/detail/damped_steps.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve::detail {

/// What ended a fit, and after how many steps, rejected ones included.
struct FitEnd {
    FitStatus status = FitStatus::iteration_limit;
    int iterations = 0;
};

/// Fits add the parts of take_steps to it: energy(), of what their parameters leave, find_step(),
/// try_step() and accept().
template <class Fit>
class DampedFit {
public:
    [[nodiscard]] FitEnd take(const FitOptions& options) {
        options_ = &options;
        // Starts between a full step, whose model is too good for a start so far off, and a small
        // one; no faster back than a third, the courses of crowded echoes being curved.
        end_.iterations = take_steps(fit(), Damping(1e-3, 3), options.iterations);
        return end_;
    }
    [[nodiscard]] bool ends(const ModelStep& step, double damping) noexcept {
        // A damped step promises little: only one near the full step may end the fit by its gain.
        constexpr double hardly_damped = 1e-2;
        if (step.longest <= options_->step_tolerance) {
            end_.status = FitStatus::converged_step;
        } else if (damping < hardly_damped &&
                   step.gain <= options_->gain_tolerance * fit().energy()) {
            end_.status = FitStatus::converged_gain;
        }
        return end_.status != FitStatus::iteration_limit;
    }

private:
    [[nodiscard]] Fit& fit() noexcept { return static_cast<Fit&>(*this); }

    const FitOptions* options_ = nullptr;
    FitEnd end_;
};

}  // namespace echosieve::detail
