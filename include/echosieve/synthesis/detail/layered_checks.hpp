// The checks of a layered scene's options.
#pragma once

#include <algorithm>
#include <cmath>
#include <optional>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/scene_checks.hpp"
#include "echosieve/synthesis/detail/skewed_pulse.hpp"

namespace echosieve::detail {

inline constexpr double no_level = -400;           // what is switched off [dB]
inline constexpr double loudest = 60;              // over the outer layer [dB]
inline constexpr double largest_offset = 0.9;      // of the line from the axis, of the inner radius
inline constexpr double longest_smoothing = 0.05;  // [s]
inline constexpr double longest_lag = 0.1;         // [s]
inline constexpr double largest_wander = 0.3;      // of the gain, rms: it stays above 0
inline constexpr double largest_transient = 10e-3;  // [m]
inline constexpr double fastest_change = 20;        // of tissue [1/s]

template <class Options>
void check_layered_artery(const Options& options) {
    require_within(options.pulse_skew, 0, SkewedEnvelope::most_skew, "pulse_skew", "");
    require_positive(options.diameter, "diameter", "[m]");
    require_positive(options.wall_thickness, "wall_thickness", "[m]");
    require(options.distension >= 0 && options.distension < options.diameter, "distension",
            options.distension, "must be zero or more and below the diameter [m]");
    require_within(options.near_share, 0, 1, "near_share", "");
    const double most = largest_offset * options.diameter / 2;
    require_within(options.axis_offset, -most, most, "axis_offset", " [m]");
    require(options.sub_layers >= 3 && options.sub_layers <= 6, "sub_layers", options.sub_layers,
            "must lie in [3, 6]");
    require_within(options.inner_layer_decibels, no_level, loudest, "inner_layer_decibels",
                   " [dB]");
    require_within(options.middle_layer_decibels, no_level, loudest, "middle_layer_decibels",
                   " [dB]");
    require_within(options.strength_change, 0, 1, "strength_change", "");
    require_within(options.far_delay, 0, longest_lag, "far_delay", " [s]");
    require_within(options.far_smoothing, 0, longest_smoothing, "far_smoothing", " [s]");
    require(options.plaque >= -1 && options.plaque <= 1, "plaque", options.plaque,
            "must be -1 (near wall), 0 (none) or 1 (far wall)");
    require_within(options.plaque_decibels, no_level, loudest, "plaque_decibels", " [dB]");
    const double room = options.diameter / 2 - std::abs(options.axis_offset);
    require(
        options.plaque_thickness >= 0 && (options.plaque == 0 ? is_finite(options.plaque_thickness)
                                                              : options.plaque_thickness < room),
        "plaque_thickness", options.plaque_thickness,
        concatenate("must be zero or more, and leave the line some of the lumen's half of ", room,
                    " [m]"));
}

template <class Options>
void check_layered_tissue(const Options& options) {
    require_within(options.clutter_decibels, no_level, loudest, "clutter_decibels", " [dB]");
    require_within(options.scatterers_per_metre, 0, 1e6, "scatterers_per_metre", " [1/m]");
    const double scatterers = options.scatterers_per_metre * options.depth_range;
    require(scatterers <= most_scatterers, "scatterers_per_metre", options.scatterers_per_metre,
            concatenate("makes ", scatterers, " scatterers, must make no more than ",
                        most_scatterers, " [1/m]"));
    require_within(options.coupling, 0, 1, "coupling", "");
    require_positive(options.tissue_reach, "tissue_reach", "[m]");
    require_within(options.tissue_lag, 0, longest_lag, "tissue_lag", " [s]");
    require_within(options.decorrelation, 0, fastest_change, "decorrelation", " [1/s]");
    // A tissue echo has some ten amplitudes for each time that it changes by.
    const double amplitudes = scatterers * (1 + 10 * options.decorrelation * options.duration);
    require(amplitudes <= most_values / 10, "decorrelation", options.decorrelation,
            concatenate("makes ", amplitudes, " amplitudes of tissue, must make no more than ",
                        most_values / 10, " [1/s]"));
    require_within(options.beside_share, 0, 1, "beside_share", "");
    require_finite(options.pulsation, "pulsation", "[m]");
    require_finite(options.pulsation_gradient, "pulsation_gradient", "[1/m]");
    require_finite(options.breathing, "breathing", "[m]");
    require_within(options.breathing_rate, 0, 5, "breathing_rate", " [Hz]");
    require_finite(options.breathing_gradient, "breathing_gradient", "[1/m]");
    require_finite(options.swallow_at.value_or(0), "swallow_at", "[s]");
    require_finite(options.cough_at.value_or(0), "cough_at", "[s]");
    require_within(options.swallow_size, -largest_transient, largest_transient, "swallow_size",
                   " [m]");
    require_within(options.cough_size, -largest_transient, largest_transient, "cough_size", " [m]");
    require_positive(options.vein_diameter, "vein_diameter", "[m]");
    require_within(options.vein_decibels, no_level, loudest, "vein_decibels", " [dB]");
    require(options.vein_pulsation >= 0 && options.vein_pulsation < options.vein_diameter,
            "vein_pulsation", options.vein_pulsation,
            "must be zero or more and below the vein's diameter [m]");
    require_within(options.vein_rate, 0, 5, "vein_rate", " [Hz]");
}

template <class Options>
void check_layered_receiver(const Options& options) {
    require_within(options.reverberation_decibels, no_level, loudest, "reverberation_decibels",
                   " [dB]");
    require_within(options.reverberation_at, 0, deepest_range, "reverberation_at", " [m]");
    require_within(options.gain_wander, 0, largest_wander, "gain_wander", "");
    require_within(options.interference_decibels, no_level, loudest, "interference_decibels",
                   " [dB]");
    const RecordingSettings& settings = options.settings;
    const double half = settings.sampling_rate / 2;
    const double from_centre =
        std::abs(options.interference_frequency - settings.sensor.centre_frequency);
    require(options.interference_frequency > 0 && options.interference_frequency < half &&
                (options.interference_decibels <= no_level ||
                 from_centre > settings.sensor.bandwidth / 2),
            "interference_frequency", options.interference_frequency,
            concatenate("must lie between 0 and half the sampling rate, ", half,
                        ", and outside the band [Hz]"));
}

/// Walls and vein must lie within the recorded depths at all times, and beside each other.
template <class Options>
void check_layered_depths(const Options& options) {
    require_finite(options.centre_depth, "centre_depth", "[m]");
    require_finite(options.vein_depth, "vein_depth", "[m]");
    const double top = options.settings.depth(options.settings.start_time);
    const double bottom = top + options.depth_range;
    const double moving = std::abs(options.breathing) / 2 + std::abs(options.events.sensor_step) +
                          (options.swallow_at ? std::abs(options.swallow_size) : 0) +
                          (options.cough_at ? std::abs(options.cough_size) : 0);
    const double outer = options.diameter / 2 + options.wall_thickness + options.distension;
    const double reach = outer + moving;
    require(!options.artery ||
                (options.centre_depth - reach > top && options.centre_depth + reach < bottom),
            "centre_depth", options.centre_depth,
            concatenate("both walls must lie within the recorded depths at all times, ", top,
                        " to ", bottom, " [m], with ", reach, " on either side"));
    const double vein = (options.vein_diameter + options.vein_pulsation) / 2;
    require(
        !options.vein || (options.vein_depth - vein > top && options.vein_depth + vein < bottom),
        "vein_depth", options.vein_depth,
        concatenate("must leave the vein within the recorded depths, ", top, " to ", bottom,
                    " [m], with ", vein, " on either side"));
    require(!options.vein || !options.artery ||
                std::abs(options.vein_depth - options.centre_depth) > outer + vein,
            "vein_depth", options.vein_depth,
            concatenate("must leave the vein beside the artery, ", outer + vein,
                        " [m] or more from its axis"));
}

}  // namespace echosieve::detail
