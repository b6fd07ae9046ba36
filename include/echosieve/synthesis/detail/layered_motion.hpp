// How what a layered line shows moves: both walls, viscous tissue, and all of it together.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <optional>
#include <vector>

#include "echosieve/synthesis/detail/pulse_wave.hpp"

namespace echosieve::detail {

// Symbols
//   w(t)  pulse wave;  d distension [m];  s near share;  D inner diameter [m]
//   w_n = w(t),  w_f = mean of w(t - delay - x) with x logistic of standard deviation `smoothing`
//   w_t = mean of w(t - lag y), y exponential of mean 1: a first-order low-pass, as of a viscous
//         body dragged along
//   G(w) = (D / 2 + d w / 2)^2 - (D / 2)^2            what a circle's squared radius grows by
//   r(w) = sqrt(r^2 + G)                              incompressible: of a layer that rests at r
//   r(w) = r + sqrt(r_o^2 + G) - r_o                  stiff: all of the wall as its outer layer
//   z(w) = centre + (1/2 - s) d w -+ sqrt(r(w)^2 - x_0^2)
//                                                     as the line sees it that passes the axis by
//                                                     x_0: a chord
// The means are over so many delays, each in the middle of its share of the probability.

/// Mean of the wave over delays spread about one.
class DelayedWave {
public:
    /// By first-order low-pass of mean delay 1 [s], to be stretched.
    static DelayedWave low_pass() {
        DelayedWave out;
        double mean = 0;
        for (std::size_t k = 0; k < delays; ++k) {
            out.delays_[k] = -std::log1p(-share(k));
            mean += out.delays_[k] / static_cast<double>(delays);
        }
        for (double& delay : out.delays_) {
            delay /= mean;  // what the cut tail lacks
        }
        return out;
    }
    /// About 0, logistic, of standard deviation 1 [s], to be stretched.
    static DelayedWave smoothing() {
        DelayedWave out;
        for (std::size_t k = 0; k < delays; ++k) {
            const double p = share(k);
            out.delays_[k] = std::numbers::sqrt3 / std::numbers::pi * std::log(p / (1 - p));
        }
        return out;
    }
    /// The wave's mean at `time` [s], the delays stretched by `stretch`.
    [[nodiscard]] double operator()(const PulseWave& wave, double time,
                                    double stretch) const noexcept {
        if (stretch == 0) {
            return wave(time);
        }
        double sum = 0;
        for (const double delay : delays_) {
            sum += wave(time - stretch * delay);
        }
        return sum / static_cast<double>(delays);
    }

private:
    // Waves of 20 ms and less, smoothed by 20 ms, follow the kernel to a thousandth.
    static constexpr std::size_t delays = 32;

    static double share(std::size_t k) noexcept {
        return (static_cast<double>(k) + 0.5) / static_cast<double>(delays);
    }
    std::array<double, delays> delays_{};
};

/// Beats counted on between onsets, so that a rhythm of the heart is smooth: 0 at the first onset.
[[nodiscard]] inline double beats_at(const std::vector<double>& onsets, double heart_rate,
                                     double time) noexcept {
    if (onsets.empty() || time < onsets.front()) {
        return (time - (onsets.empty() ? 0 : onsets.front())) * heart_rate;
    }
    const auto after = std::upper_bound(onsets.begin(), onsets.end(), time);
    const double whole = static_cast<double>(after - onsets.begin()) - 1;
    const double since = time - *(after - 1);
    return whole + (after == onsets.end() ? since * heart_rate : since / (*after - *(after - 1)));
}

inline constexpr double swallow_length = 0.8;  // up and back [s]
inline constexpr double cough_frequency = 12;  // of the body's shaking [Hz]
inline constexpr double cough_decay = 0.08;    // [s]
inline constexpr double stiff_motion = 0.35;   // of a wall with a plaque, of a soft one's pulse

/// What swallow and cough move everything by at `time` [s], downwards [m].
template <class Options>
[[nodiscard]] double transient_motion(const Options& options, double time) noexcept {
    double moved = 0;
    if (options.swallow_at) {
        const double x = std::clamp((time - *options.swallow_at) / swallow_length, 0.0, 1.0);
        moved += options.swallow_size * std::pow(std::sin(std::numbers::pi * x), 2);
    }
    if (options.cough_at && time > *options.cough_at) {
        const double u = time - *options.cough_at;
        moved += options.cough_size * std::exp(-u / cough_decay) *
                 std::sin(2 * std::numbers::pi * cough_frequency * u);
    }
    return moved;
}

/// Depth of a wall's layer on the line [m], without what moves everything: `side` -1 near, +1 far,
/// at rest with the radius `rest` [m], the wall's pulse wave being `wave`.
template <class Options>
[[nodiscard]] double layer_depth(const Options& options, int side, double rest,
                                 double wave) noexcept {
    const bool stiff = options.plaque == side;
    const double moved = wave * (stiff ? stiff_motion : 1);
    const double inner = options.diameter / 2 + options.distension * moved / 2;
    const double growth = inner * inner - options.diameter * options.diameter / 4;
    const double outer = options.diameter / 2 + options.wall_thickness;
    const double radius =
        stiff ? rest + std::sqrt(outer * outer + growth) - outer : std::sqrt(rest * rest + growth);
    const double chord =
        std::sqrt(std::max(0.0, radius * radius - options.axis_offset * options.axis_offset));
    return options.centre_depth + (0.5 - options.near_share) * options.distension * moved +
           side * chord;
}

/// What moves at one time.
struct LayeredState {
    double near_wave = 0;
    double far_wave = 0;
    double tissue_wave = 0;  ///< of tissue that pulsates by itself
    double near_push = 0;    ///< of the tissue at the near wall's outer layer, downwards [m]
    double far_push = 0;     ///< at the far wall's
    double breathing = 0;    ///< [m]
    double shift = 0;        ///< of everything, downwards [m]
    double near_strength = 1;
    double far_strength = 1;
    double beats = 0;
    double time = 0;  ///< [s]
};

/// What everything at `depth` [m] moves by but walls: breathing, transients, the sensor's step [m].
template <class Options>
[[nodiscard]] double bulk_motion(const Options& options, const LayeredState& now,
                                 double depth) noexcept {
    return now.shift +
           now.breathing * (1 + options.breathing_gradient * (depth - options.centre_depth));
}

/// Displacement [m] of tissue that rests at `depth` [m], downwards.
template <class Options>
[[nodiscard]] double tissue_motion(const Options& options, const LayeredState& now,
                                   double depth) noexcept {
    const double below = depth - options.centre_depth;
    const double outer = options.diameter / 2 + options.wall_thickness;
    const double chord = std::sqrt(outer * outer - options.axis_offset * options.axis_offset);
    double push = 0;
    if (options.artery) {
        const double beside = std::max(0.0, std::abs(below) - chord);
        push = options.coupling * std::exp(-beside / options.tissue_reach) *
               (below < 0 ? now.near_push : now.far_push);
    } else if (options.beside_share > 0) {
        const auto near_to = [&](double from) {
            return 1 / std::cosh((below - from) / options.tissue_reach);
        };
        push = options.beside_share *
               (now.near_push * near_to(-chord) + now.far_push * near_to(chord));
    }
    const double share = std::max(0.0, 1 + options.pulsation_gradient * below);
    return push + options.pulsation * share * now.tissue_wave + bulk_motion(options, now, depth);
}

}  // namespace echosieve::detail
