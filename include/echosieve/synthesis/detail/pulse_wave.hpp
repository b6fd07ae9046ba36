// A plausible pulse wave: fast upstroke, dicrotic notch, slow decay, beat after beat.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"

namespace echosieve {

// Symbols
//   s  time since the beat's onset [s];  T  the beat's length [s];  R  rise time [s]
//   s < R:   w = (1 - cos(pi s / R)) / 2
//   s >= R:  w = (d(s - R) - d(T - R)) / (d(0) - d(T - R)),
//            d(x) = exp(-(sqrt(x^2 + k^2) - k) / tau) + h exp(-(x - x_n)^2 / (2 w_n^2))
// with tau the decay time, h and x_n the notch's height and time. The root rounds the peak off, so
// that w has a continuous slope there. In beats shorter than T_s all times shrink with the beat, as
// systole does. Shape and numbers are plausible, not fitted to anything (common practice, no
// source).
//
// An ectopic beat comes early by the prematurity p (of the mean length), rises to its own smaller
// height, and is followed by a pause that makes up for it: lengths (1 - p) and (1 + p). The beat
// after it is an ordinary one.

struct PulseWaveOptions {
    double heart_rate = 1.1;     ///< mean [Hz]
    double variability = 0.03;   ///< standard deviation of the beats' length, relative
    double rise_time = 0.11;     ///< R [s]
    double decay_time = 0.30;    ///< tau [s]
    double notch_height = 0.12;  ///< h, of the wave after the dicrotic notch, of the pulse's height
    double notch_time = 0.24;    ///< x_n, after the peak [s]
    double ectopic_probability = 0;     ///< that a beat which follows an ordinary one is ectopic
    double ectopic_prematurity = 0.35;  ///< p, of the mean length
    double ectopic_height = 0.5;        ///< of an ordinary beat's
};

namespace detail {

inline constexpr double pulse_rounding = 0.02;    // k [s]
inline constexpr double notch_width = 0.045;      // w_n [s]
inline constexpr double unshrunk_beat = 0.6;      // T_s [s]
inline constexpr double largest_deviation = 3.0;  // of a beat's length, in standard deviations
inline constexpr double shortest_beat = 0.05;     // of the mean length, before an ectopic beat
inline constexpr double longest_wave = 1e6;       // some twelve days of beats [s]

}  // namespace detail

/// The limits of rise, decay and notch keep the wave between 0 and 1 with its peak at R.
inline void validate(const PulseWaveOptions& options) {
    require(options.heart_rate > 0 && options.heart_rate <= 5, "heart_rate", options.heart_rate,
            "must lie in (0, 5] [Hz]");
    require(options.variability >= 0 && options.variability <= 0.3, "variability",
            options.variability, "must lie in [0, 0.3]");
    require(options.rise_time >= 0.02 && options.rise_time <= 0.2, "rise_time", options.rise_time,
            "must lie in [0.02, 0.2] [s]");
    require(options.decay_time >= 0.1 && options.decay_time <= 1, "decay_time", options.decay_time,
            "must lie in [0.1, 1] [s]");
    require(options.notch_time >= 0.18 && options.notch_time <= 0.3, "notch_time",
            options.notch_time, "must lie in [0.18, 0.3] [s]");
    // Where the notch's bump sets in, two widths before its middle, the decay has made room for it.
    const double start = options.notch_time - 2 * detail::notch_width - detail::pulse_rounding;
    const double room = std::min(0.3, 1 - std::exp(-start / options.decay_time));
    require(options.notch_height >= 0 && options.notch_height <= room, "notch_height",
            options.notch_height, detail::concatenate("must lie in [0, ", room, "]"));
    require(options.ectopic_probability >= 0 && options.ectopic_probability <= 1,
            "ectopic_probability", options.ectopic_probability, "must lie in [0, 1]");
    require(options.ectopic_prematurity >= 0 && options.ectopic_prematurity <= 0.5,
            "ectopic_prematurity", options.ectopic_prematurity, "must lie in [0, 0.5]");
    require(options.ectopic_height >= 0 && options.ectopic_height <= 1, "ectopic_height",
            options.ectopic_height, "must lie in [0, 1]");
}

/// Beats from before time 0 to after `duration`, and the wave at any time between.
class PulseWave {
public:
    /// Throws InvalidInput for options outside their domain, or unless the duration lies in
    /// [0, 1e6] [s].
    PulseWave(const PulseWaveOptions& options, double duration, RandomStream random)
        : options_(options) {
        validate(options);
        require(duration >= 0 && duration <= detail::longest_wave, "duration", duration,
                detail::concatenate("must lie in [0, ", detail::longest_wave, "] [s]"));
        double onset = -random.uniform() / options.heart_rate;
        bool ectopic = false;
        while (onsets_.size() < 2 || onsets_[onsets_.size() - 2] <= duration) {
            onsets_.push_back(onset);
            heights_.push_back(ectopic ? options.ectopic_height : 1);
            ectopic_.push_back(ectopic);
            // Beyond three standard deviations a beat would be an event, not variability.
            const double deviation =
                std::clamp(random.normal(), -detail::largest_deviation, detail::largest_deviation) *
                options.variability;
            double length = 1 + deviation;
            if (ectopic) {  // the pause
                length += options.ectopic_prematurity;
                ectopic = false;
            } else if (options.ectopic_probability > 0 &&
                       random.uniform() < options.ectopic_probability) {
                ectopic = true;
                // With the variability's largest deviation a beat of some length must be left.
                length = std::max(length - options.ectopic_prematurity, detail::shortest_beat);
            }
            onset += length / options.heart_rate;
        }
    }

    /// Between 0 (end of diastole) and 1 (systole). `time` [s] in 0 .. duration; before the first
    /// beat 0, and in the beat that begins after the duration as in any other.
    [[nodiscard]] double operator()(double time) const noexcept {
        const auto after = std::upper_bound(onsets_.begin(), onsets_.end() - 1, time);
        const auto beat = after == onsets_.begin() ? after : after - 1;
        const double height = heights_[static_cast<std::size_t>(beat - onsets_.begin())];
        return height * shape(time - *beat, *(beat + 1) - *beat);
    }
    /// Onsets of the beats in [0, duration) [s], where the wave comes later by `delay` [s].
    [[nodiscard]] std::vector<double> onsets(double duration, double delay = 0) const {
        return onsets_where([](std::size_t) { return true; }, duration, delay);
    }
    /// Onsets of the ectopic beats, likewise.
    [[nodiscard]] std::vector<double> ectopic_onsets(double duration, double delay = 0) const {
        return onsets_where([this](std::size_t k) { return bool{ectopic_[k]}; }, duration, delay);
    }

private:
    template <class Wanted>
    [[nodiscard]] std::vector<double> onsets_where(Wanted wanted, double duration,
                                                   double delay) const {
        std::vector<double> inside;
        for (std::size_t k = 0; k < onsets_.size(); ++k) {
            const double onset = onsets_[k] + delay;
            if (wanted(k) && onset >= 0 && onset < duration) {
                inside.push_back(onset);
            }
        }
        return inside;
    }
    [[nodiscard]] double fall(double x) const noexcept {
        constexpr double k = detail::pulse_rounding;
        const double n = (x - options_.notch_time) / detail::notch_width;
        return std::exp(-(std::sqrt(x * x + k * k) - k) / options_.decay_time) +
               options_.notch_height * std::exp(-n * n / 2);
    }
    [[nodiscard]] double shape(double s, double length) const noexcept {
        const double stretch = std::max(1.0, detail::unshrunk_beat / length);
        s *= stretch;
        if (s < options_.rise_time) {
            return 0.5 * (1 - std::cos(std::numbers::pi * std::max(s, 0.0) / options_.rise_time));
        }
        const double last = fall(stretch * length - options_.rise_time);
        return (fall(s - options_.rise_time) - last) / (fall(0) - last);
    }

    PulseWaveOptions options_;
    std::vector<double> onsets_;
    std::vector<double> heights_;  // one an onset
    std::vector<bool> ectopic_;
};

}  // namespace echosieve
