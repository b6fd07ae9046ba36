// What goes wrong during a recording: contact, trigger, converter, beats' lags, a second echo path.
#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

// Symbols
//   S(u) = (1 - cos(pi u)) / 2 for u in 0 .. 1, 0 before, 1 after: a smooth step
//   contact:  level(t) = 10^(L c(t) / 20),  c(t) = S((t - t_0) / e) - S((t - t_0 - T) / e)
//   sensor:   depth of everything += step S((t - t_s) / 50 ms), truth included
//   strength: a wall's amplitude *= 1 + m w(t), w the pulse wave, 0 to 1
// All of it is off by default, and then changes no bit of a rendered recording.

/// Ectopic beats are part of PulseWaveOptions, dropped frames of RenderOptions.
struct SceneEvents {
    double contact_loss_start = 0;      ///< t_0 [s]
    double contact_loss_length = 0.25;  ///< T, from the fall's begin to the rise's [s]
    /// L, of all echoes (not of noise and ring-down) while contact is lost [dB], 0 or less; 0: off
    double contact_loss_decibels = 0;
    double near_strength_modulation = 0;  ///< m of the near wall's echoes, -1 to 1
    double far_strength_modulation = 0;   ///< m of the far wall's echoes, -1 to 1
    double far_wall_lag = 0;  ///< of the far wall's pulse after the near wall's [s]; truth follows
    double tissue_lag = 0;    ///< of the tissue's pulse after the near wall's [s]
    /// extra path of a second, weaker echo of all that the frame holds [m]; 0: off. It is rounded
    /// to a whole sample, and echoes of less depth than the first sample have none.
    double reverberation_depth = 0;
    double reverberation_decibels = -20;  ///< level of that second echo over the first [dB]
    /// rms, normal, the same for the whole frame, ring-down included [s]; the truth does not follow
    double trigger_jitter = 0;
    double sensor_step_time = 0;  ///< t_s [s]
    double sensor_step = 0;       ///< of the sensor, upwards: all depths grow [m]; truth follows
    double clipped_fraction = 0;  ///< chance that a frame's gain bursts
    double clipped_gain_decibels = 40;  ///< of the burst, so that the converter clips [dB]

    /// Factor of all echoes' amplitudes at `time` [s]: 1 unless contact is lost.
    [[nodiscard]] double contact_level(double time) const noexcept;
    /// What `time` [s] has of the sensor's step [m].
    [[nodiscard]] double sensor_shift(double time) const noexcept;
};

namespace detail {

inline constexpr double contact_edge = 0.02;      // e [s]
inline constexpr double sensor_step_rise = 0.05;  // [s]

[[nodiscard]] inline double smooth_step(double u) noexcept {
    return (1 - std::cos(std::numbers::pi * std::clamp(u, 0.0, 1.0))) / 2;
}

}  // namespace detail

inline double SceneEvents::contact_level(double time) const noexcept {
    if (contact_loss_decibels == 0) {
        return 1;
    }
    const double u = (time - contact_loss_start) / detail::contact_edge;
    const double lost = detail::smooth_step(u) -
                        detail::smooth_step(u - contact_loss_length / detail::contact_edge);
    return std::pow(10, contact_loss_decibels * lost / 20);
}

inline double SceneEvents::sensor_shift(double time) const noexcept {
    return sensor_step * detail::smooth_step((time - sensor_step_time) / detail::sensor_step_rise);
}

/// Throws InvalidInput, naming option, value and limit.
inline void validate(const SceneEvents& events) {
    const auto within = [](double x, double low, double high, const char* name, const char* unit) {
        require(x >= low && x <= high, name, x,
                detail::concatenate("must lie in [", low, ", ", high, "]", unit));
    };
    require(is_finite(events.contact_loss_start), "contact_loss_start", events.contact_loss_start,
            "must be finite [s]");
    require(events.contact_loss_length > 0 && is_finite(events.contact_loss_length),
            "contact_loss_length", events.contact_loss_length, "must be positive and finite [s]");
    within(events.contact_loss_decibels, -400, 0, "contact_loss_decibels", " [dB]");
    within(events.near_strength_modulation, -1, 1, "near_strength_modulation", "");
    within(events.far_strength_modulation, -1, 1, "far_strength_modulation", "");
    within(events.far_wall_lag, -0.1, 0.2, "far_wall_lag", " [s]");
    within(events.tissue_lag, -0.1, 0.2, "tissue_lag", " [s]");
    within(events.reverberation_depth, 0, 0.1, "reverberation_depth", " [m]");
    within(events.reverberation_decibels, -400, 0, "reverberation_decibels", " [dB]");
    within(events.trigger_jitter, 0, 1e-6, "trigger_jitter", " [s]");
    require(is_finite(events.sensor_step_time), "sensor_step_time", events.sensor_step_time,
            "must be finite [s]");
    within(events.sensor_step, -5e-3, 5e-3, "sensor_step", " [m]");
    within(events.clipped_fraction, 0, 1, "clipped_fraction", "");
    within(events.clipped_gain_decibels, 0, 120, "clipped_gain_decibels", " [dB]");
}

}  // namespace echosieve
