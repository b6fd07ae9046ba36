// When a pursuit ends, and how it says why.
#pragma once

#include <cmath>
#include <numbers>
#include <optional>
#include <string_view>

#include "echosieve/core/error.hpp"
#include "echosieve/core/scalar.hpp"

namespace echosieve {

/// An atom must beat noise: the chance that noise alone gives such an atom is at most
/// `probability`.
struct FalseAlarm {
    double noise_variance =
        0;  ///< of one sample: E n^2 of real, E |n|^2 of complex noise; white, Gaussian
    double probability = 0.01;
};

/// A pursuit ends when the first of these holds, or the strategy's number of atoms is reached.
struct Stop {
    double residual_fraction = 0;  ///< residual energy <= this part of the signal's energy
    std::optional<FalseAlarm>
        false_alarm;  ///< the next atom's energy is what noise alone would give
};

inline void validate(const Stop& stop) {
    require(stop.residual_fraction >= 0 && stop.residual_fraction < 1, "residual_fraction",
            stop.residual_fraction, "must lie in [0, 1)");
    if (stop.false_alarm) {
        require(stop.false_alarm->noise_variance > 0 && is_finite(stop.false_alarm->noise_variance),
                "noise_variance", stop.false_alarm->noise_variance, "must be positive and finite");
        require(stop.false_alarm->probability > 0 && stop.false_alarm->probability < 1,
                "probability", stop.false_alarm->probability, "must lie in (0, 1)");
    }
}

enum class PursuitStatus {
    not_run,
    atom_count,       ///< number of atoms == the strategy's
    residual_small,   ///< residual energy <= residual_fraction * signal energy, or no more than
                      ///< rounding
    not_significant,  ///< the next atom's T = energy / variance was below the false-alarm threshold
    exhausted,        ///< the dictionary had no atom that reduces the residual
    silent            ///< the signal's energy is 0
};

[[nodiscard]] constexpr std::string_view describe(PursuitStatus status) noexcept {
    switch (status) {
        case PursuitStatus::not_run:
            return "not run";
        case PursuitStatus::atom_count:
            return "number of atoms reached";
        case PursuitStatus::residual_small:
            return "residual small enough";
        case PursuitStatus::not_significant:
            return "next atom not above the noise";
        case PursuitStatus::exhausted:
            return "dictionary exhausted";
        case PursuitStatus::silent:
            return "silent signal";
    }
    return "unknown";
}

/// Threshold on T = r^2 for the largest envelope of noise filtered by one atom at any arrival
/// within `duration` [s], for a decay alpha [1/s^2]: solves P = 1 - exp(-(D sqrt(alpha / 2 pi) r +
/// 1) exp(-r^2 / 2)) (Rice 1945, Davies 1977). A search over frequency and bandwidth as well raises
/// the true probability: at 4 MHz +-25 % and 10 us the 5 % threshold grows from 12.6 to 16
/// (simulated).
[[nodiscard]] inline double false_alarm_threshold(double duration, double alpha,
                                                  double probability) {
    require(duration >= 0 && is_finite(duration), "duration", duration,
            "must be zero or more and finite [s]");
    require(alpha > 0 && is_finite(alpha), "alpha", alpha, "must be positive and finite [1/s^2]");
    require(probability > 0 && probability < 1, "probability", probability, "must lie in (0, 1)");
    const double rate = duration * std::sqrt(alpha / (2 * std::numbers::pi));
    const double wanted = -std::log1p(-probability);
    // The expected number of crossings falls with r beyond 1, where any threshold of use lies.
    double low = 0;
    double high = 60;
    for (int k = 0; k < 100; ++k) {
        const double r = (low + high) / 2;
        const bool above = r < 1 || (rate * r + 1) * std::exp(-r * r / 2) > wanted;
        (above ? low : high) = r;
    }
    return low * low;
}

}  // namespace echosieve
