// When a fit of several echoes ends, and what ended it.
#pragma once

#include <optional>
#include <string_view>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

struct FitOptions {
    int iterations = 100;           ///< steps at most, rejected ones included
    double step_tolerance = 1e-9;   ///< in the parameters' units, see parameter_unit: 0.3 fs of an
                                    ///< arrival at 1 MHz of bandwidth
    double gain_tolerance = 1e-10;  ///< part of the residual energy: over 650 samples of noise the
                                    ///< parameters are within 3e-4 of their standard deviations
    std::optional<double> noise_variance{};  ///< of one real component; estimated if not given
    /// An echo is resolvable if its arrival's standard deviation is at most this part of its length
    /// at -6 dB, and none of its parameters is unknowable. The deviation is that of the solution:
    /// where it is of the order of the limit the fit is no longer linear in the noise, and often
    /// takes its own deviation for smaller than it is. Of two free echoes of 1 MHz half a
    /// microsecond apart at 20 dB (326 ns), 317 fits of 400 called theirs resolvable, with an rms
    /// error of 170 ns; at 30 dB all, with 88 ns where the bound is 103 ns. Where that matters ask
    /// `echo_covariance` at the expected echoes.
    double resolvable_fraction = 0.25;
};

inline void validate(const FitOptions& options) {
    require(options.iterations >= 0, "iterations", options.iterations, "must be zero or more");
    require(options.step_tolerance >= 0, "step_tolerance", options.step_tolerance,
            "must be zero or more");
    require(options.gain_tolerance >= 0, "gain_tolerance", options.gain_tolerance,
            "must be zero or more");
    if (options.noise_variance) {
        require(*options.noise_variance > 0 && is_finite(*options.noise_variance), "noise_variance",
                *options.noise_variance, "must be positive and finite");
    }
    require(options.resolvable_fraction > 0, "resolvable_fraction", options.resolvable_fraction,
            "must be positive");
}

enum class FitStatus {
    not_run,
    converged_step,  ///< largest step of a parameter, in its unit, <= step_tolerance
    converged_gain,  ///< gain that the next step promises <= gain_tolerance * residual energy
    iteration_limit  ///< iterations == the option's limit
};

[[nodiscard]] constexpr std::string_view describe(FitStatus status) noexcept {
    switch (status) {
        case FitStatus::not_run:
            return "not run";
        case FitStatus::converged_step:
            return "converged: step small enough";
        case FitStatus::converged_gain:
            return "converged: gain small enough";
        case FitStatus::iteration_limit:
            return "iteration limit";
    }
    return "unknown";
}

/// A minimum was reached.
[[nodiscard]] constexpr bool converged(FitStatus status) noexcept {
    return status == FitStatus::converged_step || status == FitStatus::converged_gain;
}

}  // namespace echosieve
