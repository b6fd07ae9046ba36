// A plausible pulse wave: fast upstroke, dicrotic notch, slow decay, beat after beat.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <numbers>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"

namespace echosieve {

// Symbols
//   s  time since the beat's onset [s];  T  the beat's length [s];  R  rise time [s]
//   s < R:   w = (1 - cos(pi s / R)) / 2
//   s >= R:  w = (d(s) - d(T)) / (d(R) - d(T)),  d(s) = exp(-(sqrt((s - R)^2 + k^2) - k) / tau) +
//   notch(s)
// The root rounds the peak off, so that w has a continuous slope there. Shape and numbers are
// plausible, not fitted to anything (common practice, no source).

struct PulseWaveOptions {
    double heart_rate = 1.1;     ///< mean [Hz]
    double variability = 0.03;   ///< standard deviation of the beats' length, relative
    double rise_time = 0.11;     ///< R [s]
    double decay_time = 0.30;    ///< tau [s]
    double notch_height = 0.12;  ///< of the wave after the dicrotic notch, of the pulse's height
    double notch_time = 0.24;    ///< after the peak [s]
};

inline void validate(const PulseWaveOptions& options) {
    require(options.heart_rate > 0 && options.heart_rate <= 5, "heart_rate", options.heart_rate,
            "must lie in (0, 5] [Hz]");
    require(options.variability >= 0 && options.variability <= 0.3, "variability",
            options.variability, "must lie in [0, 0.3]");
    require(options.rise_time > 0 && options.rise_time < 0.4 / options.heart_rate, "rise_time",
            options.rise_time, "must be positive and below 0.4 of a beat [s]");
    require(options.decay_time > 0, "decay_time", options.decay_time, "must be positive [s]");
    require(options.notch_height >= 0 && options.notch_height <= 0.5, "notch_height",
            options.notch_height, "must lie in [0, 0.5]");
}

/// Beats from before time 0 to after `duration`, and the wave at any time between.
class PulseWave {
public:
    /// Throws InvalidInput for options outside their domain.
    PulseWave(const PulseWaveOptions& options, double duration, RandomStream random)
        : options_(options) {
        validate(options);
        double onset = -random.uniform() / options.heart_rate;
        while (onsets_.size() < 2 || onsets_[onsets_.size() - 2] <= duration) {
            onsets_.push_back(onset);
            // Beyond three standard deviations a beat would be an event, not variability.
            const double deviation = std::clamp(random.normal(), -3.0, 3.0) * options.variability;
            onset += (1 + deviation) / options.heart_rate;
        }
    }

    /// Between 0 (end of diastole) and 1 (systole). `time` [s] in 0 .. duration.
    [[nodiscard]] double operator()(double time) const noexcept {
        const auto after = std::upper_bound(onsets_.begin(), onsets_.end() - 1, time);
        const auto beat = after == onsets_.begin() ? after : after - 1;
        return shape(time - *beat, *(beat + 1) - *beat);
    }
    /// Onsets of the beats in [0, duration) [s].
    [[nodiscard]] std::vector<double> onsets(double duration) const {
        std::vector<double> inside;
        std::copy_if(onsets_.begin(), onsets_.end(), std::back_inserter(inside),
                     [&](double t) { return t >= 0 && t < duration; });
        return inside;
    }

private:
    [[nodiscard]] double fall(double s) const noexcept {
        constexpr double rounding = 0.02;      // k [s]
        constexpr double notch_width = 0.045;  // [s]
        const double x = (s - options_.notch_time) / notch_width;
        return std::exp(-(std::sqrt(s * s + rounding * rounding) - rounding) /
                        options_.decay_time) +
               options_.notch_height * std::exp(-x * x / 2);
    }
    [[nodiscard]] double shape(double s, double length) const noexcept {
        if (s < options_.rise_time) {
            return 0.5 * (1 - std::cos(std::numbers::pi * std::max(s, 0.0) / options_.rise_time));
        }
        const double last = fall(length - options_.rise_time);
        return (fall(s - options_.rise_time) - last) / (fall(0) - last);
    }

    PulseWaveOptions options_;
    std::vector<double> onsets_;
};

}  // namespace echosieve
