// What a synthetic recording shows: the artery, the tissue, how they move, and the levels of it
// all.
#pragma once

#include <cmath>
#include <numbers>

#include "echosieve/atoms/bandwidth.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/core/scalar.hpp"
#include "echosieve/synthesis/pulse_wave.hpp"

namespace echosieve {

struct SceneOptions {
    RecordingSettings settings{.sampling_rate = 125e6,
                               .frame_rate = 1000,
                               .start_time = 2 * 5e-3 / 1540,
                               .sensor = {.centre_frequency = 4e6, .bandwidth = 1e6},
                               .sound_speed = 1540};
    double duration = 3;               ///< [s]
    double depth_range = 17e-3;        ///< recorded, from start_time on [m]
    double centre_depth = 13.2e-3;     ///< of the artery's axis, at rest [m]
    double diameter = 6.2e-3;          ///< inner, at the end of diastole [m]
    double wall_thickness = 0.65e-3;   ///< inner to outer layer, at the end of diastole [m]
    double distension = 0.45e-3;       ///< of the inner diameter [m]
    double near_share = 0.4;           ///< of the distension that the near wall takes
    double inner_layer_decibels = -5;  ///< peak of the inner layer's echo over the outer's
    double wall_spread =
        0.12;  ///< standard deviation of the angle under which wall pieces answer [rad]
    /// rms envelope of the tissue's echoes, where it fills the sensor's width, over the outer
    /// layer's peak
    double clutter_decibels = -6;
    /// outer layer's peak, of its envelope with the artery at rest, over the rms noise of a raw
    /// sample (white to half the sampling rate: within the sensor's band there is far less)
    double snr_decibels = 20;
    double sensor_half_width = 6e-3;     ///< [m]
    double scatterers_per_square = 4e6;  ///< tissue scatterers over the cross-section [1/m^2]
    double coupling = 0.5;               ///< of the tissue to the vessel's pulse, 0 to 1
    double breathing = 0.3e-3;           ///< peak to peak [m]
    double breathing_rate = 0.23;        ///< [Hz]
    double breathing_gradient = 8;       ///< of the breathing over depth [1/m]
    double slip = 0;                     ///< speed of the tissue past the vessel, downwards [m/s]
    double attenuation = 0.5;  ///< [dB/cm/MHz], one way; the gain over depth makes up for its loss
    double ring_down_decibels =
        12;  ///< of the sensor's ring-down over the outer layer, at the first sample
    double ring_down_length = 0.5e-3;  ///< over which it falls by a factor e [m]
    PulseWaveOptions pulse;
};

namespace detail {

inline constexpr double most_scatterers = 1e6;

/// f0 - g sigma_f^2, g the loss per frequency in nepers: attenuation that grows with frequency
/// shifts a Gaussian band down and keeps its width (Kuc and Schwartz 1979, from memory).
[[nodiscard]] inline double attenuated_frequency(const Sensor& sensor, double attenuation,
                                                 double depth) noexcept {
    const double nepers_per_hertz = attenuation * 2 * depth * 100 / 8.685889638 * 1e-6;
    const double sigma_square =
        decay_from_bandwidth(sensor.bandwidth) / (2 * std::numbers::pi * std::numbers::pi);
    return sensor.centre_frequency - nepers_per_hertz * sigma_square;
}

}  // namespace detail

/// Throws InvalidInput, naming option, value and limit, for what can't be drawn.
inline void validate(const SceneOptions& options) {
    validate(options.settings);
    validate(options.pulse);
    const auto positive = [](double x, const char* name, const char* unit) {
        require(x > 0 && is_finite(x), name, x,
                detail::concatenate("must be positive and finite ", unit));
    };
    const auto finite = [](double x, const char* name, const char* unit) {
        require(is_finite(x), name, x, detail::concatenate("must be finite ", unit));
    };
    const auto level = [](double x, const char* name) {
        require(std::abs(x) <= 400, name, x, "must lie in [-400, 400] [dB]");
    };
    positive(options.duration, "duration", "[s]");
    positive(options.depth_range, "depth_range", "[m]");
    positive(options.diameter, "diameter", "[m]");
    positive(options.wall_thickness, "wall_thickness", "[m]");
    positive(options.sensor_half_width, "sensor_half_width", "[m]");
    positive(options.ring_down_length, "ring_down_length", "[m]");
    level(options.inner_layer_decibels, "inner_layer_decibels");
    level(options.clutter_decibels, "clutter_decibels");
    level(options.snr_decibels, "snr_decibels");
    level(options.ring_down_decibels, "ring_down_decibels");
    finite(options.breathing, "breathing", "[m]");
    finite(options.breathing_gradient, "breathing_gradient", "[1/m]");
    finite(options.slip, "slip", "[m/s]");
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
    require(options.scatterers_per_square >= 0 && options.scatterers_per_square <= 1e9,
            "scatterers_per_square", options.scatterers_per_square, "must lie in [0, 1e9] [1/m^2]");
    const double scatterers =
        options.scatterers_per_square * 2 * options.sensor_half_width * options.depth_range;
    require(scatterers <= detail::most_scatterers, "scatterers_per_square",
            options.scatterers_per_square,
            detail::concatenate("makes ", scatterers, " scatterers, must make no more than ",
                                detail::most_scatterers, " [1/m^2]"));
    const double top = options.settings.depth(options.settings.start_time);
    const double bottom = top + options.depth_range;
    const Sensor& sensor = options.settings.sensor;
    require(
        detail::attenuated_frequency(sensor, options.attenuation, bottom) > sensor.bandwidth / 2,
        "attenuation", options.attenuation,
        "must leave the band above 0 Hz at the lowest depth [dB/cm/MHz]");
    const double reach = options.diameter / 2 + options.wall_thickness + options.distension +
                         std::abs(options.breathing) / 2;
    require(options.centre_depth - reach > top && options.centre_depth + reach < bottom,
            "centre_depth", options.centre_depth,
            detail::concatenate("both walls must lie within the recorded depths at all times, ",
                                top, " to ", bottom, " [m], with ", reach, " on either side"));
}

}  // namespace echosieve
