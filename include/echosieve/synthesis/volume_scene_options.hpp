// What a recording of an artery in a volume shows: geometry, sensor, motion, and the levels.
#pragma once

#include <cmath>

#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/flat_sensor.hpp"
#include "echosieve/synthesis/detail/gamma_pulse.hpp"
#include "echosieve/synthesis/detail/pulse_wave.hpp"
#include "echosieve/synthesis/detail/scene_checks.hpp"
#include "echosieve/synthesis/scene_events.hpp"

namespace echosieve {

/// Options that SceneOptions has as well mean the same here.
struct VolumeSceneOptions {
    RecordingSettings settings{.sampling_rate = 125e6,
                               .frame_rate = 1000,
                               .start_time = 2 * 5e-3 / 1540,
                               .sensor = {.centre_frequency = 4e6, .bandwidth = 1e6},
                               .sound_speed = 1540};
    double duration = 3;            ///< [s]
    double depth_range = 17e-3;     ///< recorded, from start_time on [m]
    double centre_depth = 13.2e-3;  ///< of the artery's axis below the sensor's middle, at rest [m]
    double diameter = 6.2e-3;       ///< inner, at the end of diastole [m]
    double wall_thickness = 0.65e-3;   ///< inner to outer layer, at the end of diastole [m]
    double distension = 0.45e-3;       ///< of the inner diameter [m]
    double near_share = 0.4;           ///< of the distension that the near wall takes
    double inner_layer_decibels = -5;  ///< peak of the inner layer's echo over the outer's
    /// rms envelope of what scatters between the layers, about, over the outer layer's peak [dB]
    double media_decibels = -24;
    /// standard deviation of the angle between a facet's normal and the beam under which it answers
    /// [rad]
    double wall_spread = 0.12;
    double wall_roughness = 8e-6;    ///< standard deviation of the facets' radius [m]
    double lateral_offset = 0.5e-3;  ///< of the axis from the sensor's middle, across [m]
    double tilt = 0.015;             ///< slope of the axis along y
    double curvature = 2;            ///< of the axis along y, downwards at both ends [1/m]
    /// rms envelope of the tissue's echoes, away from the artery, over the outer layer's peak [dB]
    double clutter_decibels = -6;
    double snr_decibels = 20;            ///< outer layer's peak over the rms noise of a raw sample
    double sensor_half_width = 6e-3;     ///< across the vessel, x [m]
    double sensor_half_length = 3e-3;    ///< along the vessel, y [m]
    double sensor_taper = 1.5e-3;        ///< over which the face fades towards its edges [m]
    double margin = 3e-3;                ///< of tissue beside the sensor on all sides [m]
    double scatterers_per_volume = 1e9;  ///< of the tissue [1/m^3]
    double coupling = 0.6;               ///< of the tissue to the vessel's motion, 0 to 1
    double breathing = 0.3e-3;           ///< peak to peak [m]
    double breathing_rate = 0.23;        ///< [Hz]
    double breathing_gradient = 8;       ///< of the breathing over depth: compression [1/m]
    double attenuation = 0.5;  ///< [dB/cm/MHz], one way; the gain over depth makes up for its loss
    double ring_down_decibels = 12;    ///< over the outer layer, at the first sample
    double ring_down_length = 0.5e-3;  ///< over which it falls by a factor e [m]
    PulseWaveOptions pulse;
    bool artery = true;             ///< false: tissue all over
    double pulsation = 0;           ///< of all tissue with the pulse, peak, downwards [m]
    double pulsation_gradient = 0;  ///< of the pulsation over depth [1/m]; its sign never changes
    SceneEvents events;

    [[nodiscard]] FlatSensor face() const noexcept {
        return {sensor_half_width, sensor_half_length, sensor_taper};
    }
};

/// Throws InvalidInput, naming option, value and limit, for what can't be drawn.
inline void validate(const VolumeSceneOptions& options) {
    detail::check_scene(options);
    const auto within = [](double x, double low, double high, const char* name, const char* unit) {
        require(x >= low && x <= high, name, x,
                detail::concatenate("must lie in [", low, ", ", high, "]", unit));
    };
    detail::require_level(options.media_decibels, "media_decibels");
    detail::require_positive(options.sensor_half_length, "sensor_half_length", "[m]");
    detail::require_positive(options.sensor_taper, "sensor_taper", "[m]");
    within(options.margin, 0, 0.05, "margin", " [m]");
    within(options.wall_roughness, 0, 1e-4, "wall_roughness", " [m]");
    within(options.tilt, -0.3, 0.3, "tilt", "");
    within(options.curvature, -50, 50, "curvature", " [1/m]");
    within(options.wall_spread, 0.01, 0.5, "wall_spread", " [rad]");
    const double slope =
        std::abs(options.tilt) + std::abs(options.curvature) * options.sensor_half_length;
    require(slope <= 3 * options.wall_spread, "tilt", options.tilt,
            detail::concatenate("with the curvature the axis slopes by ", slope,
                                " at most, which must not exceed 3 wall_spread"));
    require(std::abs(options.lateral_offset) <= options.sensor_half_width, "lateral_offset",
            options.lateral_offset, "must leave the artery's axis beneath the sensor [m]");
    within(options.scatterers_per_volume, 0, 1e12, "scatterers_per_volume", " [1/m^3]");
    const double scatterers = options.scatterers_per_volume * 4 *
                              (options.sensor_half_width + options.margin) *
                              (options.sensor_half_length + options.margin) * options.depth_range;
    require(scatterers <= detail::most_scatterers, "scatterers_per_volume",
            options.scatterers_per_volume,
            detail::concatenate("makes ", scatterers, " scatterers, must make no more than ",
                                detail::most_scatterers, " [1/m^3]"));
    const RecordingSettings& settings = options.settings;
    const double bottom = settings.depth(settings.start_time) + options.depth_range;
    require(detail::gamma_survives(settings.sensor, options.attenuation, bottom) &&
                detail::gamma_frequency(settings.sensor, options.attenuation, bottom) >
                    settings.sensor.bandwidth / 2,
            "attenuation", options.attenuation,
            "must leave the pulse's band above 0 Hz at the lowest depth [dB/cm/MHz]");
}

}  // namespace echosieve
