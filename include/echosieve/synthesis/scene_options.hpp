// What a synthetic recording shows: the artery, the tissue, how they move, and the levels of it
// all.
#pragma once

#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/pulse_wave.hpp"
#include "echosieve/synthesis/detail/scene_checks.hpp"
#include "echosieve/synthesis/scene_events.hpp"

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
    bool artery = true;  ///< false: tissue all over, and nothing that it moves with but its own
    /// of all tissue with the pulse at the axis's depth, peak, downwards; beside the artery's push
    /// [m]
    double pulsation = 0;
    double pulsation_gradient = 0;  ///< of the pulsation over depth [1/m]; its sign never changes
    SceneEvents events;
};

/// Throws InvalidInput, naming option, value and limit, for what can't be drawn.
inline void validate(const SceneOptions& options) {
    detail::check_scene(options);
    detail::require_finite(options.slip, "slip", "[m/s]");
    require(options.scatterers_per_square >= 0 && options.scatterers_per_square <= 1e9,
            "scatterers_per_square", options.scatterers_per_square, "must lie in [0, 1e9] [1/m^2]");
    const double scatterers =
        options.scatterers_per_square * 2 * options.sensor_half_width * options.depth_range;
    require(scatterers <= detail::most_scatterers, "scatterers_per_square",
            options.scatterers_per_square,
            detail::concatenate("makes ", scatterers, " scatterers, must make no more than ",
                                detail::most_scatterers, " [1/m^2]"));
}

}  // namespace echosieve
