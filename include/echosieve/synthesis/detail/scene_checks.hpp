// The checks that the options of every scene share.
#pragma once

#include <cmath>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recorded_lines.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/attenuation.hpp"
#include "echosieve/synthesis/detail/pulse_wave.hpp"

namespace echosieve::detail {

inline constexpr double most_scatterers = 1e6;
// Larger recordings than this (2 GB of int16) are taken for a slip in the options.
inline constexpr double most_values = 1e9;
inline constexpr double longest_line_delay = 1;  // of the slowest pulse wave over a neck [s]
inline constexpr double deepest_range = 100;     // [m], beyond what any start_time leaves room for

inline void require_positive(double x, const char* name, const char* unit) {
    require(x > 0 && is_finite(x), name, x, concatenate("must be positive and finite ", unit));
}

inline void require_finite(double x, const char* name, const char* unit) {
    require(is_finite(x), name, x, concatenate("must be finite ", unit));
}

inline void require_within(double x, double low, double high, const char* name, const char* unit) {
    require(x >= low && x <= high, name, x,
            concatenate("must lie in [", low, ", ", high, "]", unit));
}

inline void require_level(double x, const char* name) {
    require(std::abs(x) <= 400, name, x, "must lie in [-400, 400] [dB]");
}

/// Frames of a scene's recording, and samples of each.
template <class Options>
[[nodiscard]] double frames_of(const Options& options) noexcept {
    return std::round(options.duration * options.settings.frame_rate);
}
template <class Options>
[[nodiscard]] double samples_of(const Options& options) noexcept {
    return std::floor(options.settings.arrival(options.depth_range) *
                      options.settings.sampling_rate);
}

/// Throws InvalidInput, naming option, value and limit, for what is recorded of a scene and how.
template <class Options>
void check_recording(const Options& options) {
    validate(options.settings);
    validate(options.pulse);
    validate(options.events);
    require_positive(options.duration, "duration", "[s]");
    require_positive(options.depth_range, "depth_range", "[m]");
    require(options.line < most_lines, "line", options.line,
            concatenate("must be below ", most_lines));
    require_within(options.line_delay, -longest_line_delay, longest_line_delay, "line_delay",
                   " [s]");
    require(options.depth_range <= deepest_range, "depth_range", options.depth_range,
            concatenate("must not exceed ", deepest_range, " [m]"));
    const double values = frames_of(options) * samples_of(options);
    require(values <= most_values, "frames * samples a frame", values,
            concatenate("must not exceed ", most_values));
    require_positive(options.ring_down_length, "ring_down_length", "[m]");
    require_level(options.snr_decibels, "snr_decibels");
    require_level(options.ring_down_decibels, "ring_down_decibels");
}

/// Throws InvalidInput, naming option, value and limit, for the options that scenes in two and
/// three dimensions have, before a scene draws a beat or a scatterer. The walls, plus `more` [m] on
/// either side, must stay within the recorded depths.
template <class Options>
void check_scene(const Options& options, double more = 0) {
    check_recording(options);
    require_positive(options.diameter, "diameter", "[m]");
    require_positive(options.wall_thickness, "wall_thickness", "[m]");
    require_positive(options.sensor_half_width, "sensor_half_width", "[m]");
    require_level(options.inner_layer_decibels, "inner_layer_decibels");
    require_level(options.clutter_decibels, "clutter_decibels");
    require_finite(options.breathing, "breathing", "[m]");
    require_finite(options.breathing_gradient, "breathing_gradient", "[1/m]");
    require_finite(options.pulsation, "pulsation", "[m]");
    require_finite(options.pulsation_gradient, "pulsation_gradient", "[1/m]");
    require(options.wall_spread >= 0 && options.wall_spread <= 0.5, "wall_spread",
            options.wall_spread, "must lie in [0, 0.5] [rad]");
    require(options.distension >= 0 && options.distension < options.diameter, "distension",
            options.distension, "must be zero or more and below the diameter [m]");
    require(options.near_share >= 0 && options.near_share <= 1, "near_share", options.near_share,
            "must lie in [0, 1]");
    require(options.coupling >= 0 && options.coupling <= 1, "coupling", options.coupling,
            "must lie in [0, 1]");
    require(options.breathing_rate >= 0 && options.breathing_rate <= 5, "breathing_rate",
            options.breathing_rate, "must lie in [0, 5] [Hz]");
    require(options.attenuation >= 0 && options.attenuation <= 5, "attenuation",
            options.attenuation, "must lie in [0, 5] [dB/cm/MHz]");
    const double top = options.settings.depth(options.settings.start_time);
    const double bottom = top + options.depth_range;
    const Sensor& sensor = options.settings.sensor;
    require(attenuated_frequency(sensor, options.attenuation, bottom) > sensor.bandwidth / 2,
            "attenuation", options.attenuation,
            "must leave the band above 0 Hz at the lowest depth [dB/cm/MHz]");
    const double reach = options.diameter / 2 + options.wall_thickness + options.distension +
                         std::abs(options.breathing) / 2 + std::abs(options.events.sensor_step) +
                         more;
    require(!options.artery ||
                (options.centre_depth - reach > top && options.centre_depth + reach < bottom),
            "centre_depth", options.centre_depth,
            concatenate("both walls must lie within the recorded depths at all times, ", top,
                        " to ", bottom, " [m], with ", reach, " on either side"));
    require_finite(options.centre_depth, "centre_depth", "[m]");
}

}  // namespace echosieve::detail
