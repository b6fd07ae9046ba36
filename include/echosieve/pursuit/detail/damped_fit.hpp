// The steps of a damped Gauss-Newton fit, and when they end.
#pragma once

#include "echosieve/optimise/detail/bounded_step.hpp"
#include "echosieve/pursuit/fit_options.hpp"

namespace echosieve::detail {

/// A step as the model sees it.
struct ModelStep {
    double gain = 0;     ///< by which the residual energy should fall
    double longest = 0;  ///< largest change of a parameter, in its unit
};

/// What ended a fit, and after how many steps, rejected ones included.
struct FitEnd {
    FitStatus status = FitStatus::not_run;
    int iterations = 0;
};

/// Steps until the fit ends. `fit` has energy(), of what its parameters leave; find_step(damping),
/// the ModelStep from there; try_step(), which gives the energy after that step; and accept(),
/// which keeps what was tried.
template <class Fit>
[[nodiscard]] FitEnd run_damped(Fit& fit, const FitOptions& options) {
    Damping damping;
    for (int k = 0; k < options.iterations; ++k) {
        const ModelStep step = fit.find_step(damping.value());
        if (step.longest <= options.step_tolerance) {
            return {FitStatus::converged_step, k};
        }
        // A damped step promises little: only one near the full step may end the fit by its gain.
        if (damping.value() < 1e-2 && step.gain <= options.gain_tolerance * fit.energy()) {
            return {FitStatus::converged_gain, k};
        }
        const double energy = fit.try_step();
        if (damping.judge(fit.energy() - energy, step.gain)) {
            fit.accept();
        }
    }
    return {FitStatus::iteration_limit, options.iterations};
}

}  // namespace echosieve::detail
