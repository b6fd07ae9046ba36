// From what ranges random scenes are drawn.
#pragma once

#include <cmath>
#include <optional>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

/// Numbers are drawn uniformly in [from, to), or are `from` where both are equal.
struct DrawRange {
    double from = 0;
    double to = 0;
};

/// What SceneEvents and PulseWaveOptions can make happen, a draw of each.
enum class EventKind {
    contact_loss,
    near_strength,
    far_strength,
    far_wall_lag,
    tissue_lag,
    reverberation,
    trigger_jitter,
    sensor_step,
    clipping,
    ectopic_beats
};

/// The ranges are wide on purpose, plausible, and not fitted to anything (common practice, no
/// source).
struct DrawOptions {
    double duration = 2.5;  ///< of a recording [s]
    /// true: 40 MHz for the sensor of 4 MHz and 60 MHz for that of 7.5 MHz, which keep the band
    /// whole; false: 125 MHz
    bool coarse_sampling = true;
    double event_probability = 0;         ///< that each kind of event happens
    std::optional<EventKind> only_event;  ///< this kind happens for certain, no other does

    DrawRange heart_rate{50.0 / 60, 125.0 / 60};  ///< [Hz]
    DrawRange rise_time{0.07, 0.15};              ///< [s]
    DrawRange decay_time{0.22, 0.4};              ///< [s]
    DrawRange notch_time{0.2, 0.28};              ///< [s]
    DrawRange notch_height{0.02, 0.18};
    DrawRange diameter{4.5e-3, 7.5e-3};        ///< inner [m]
    DrawRange wall_thickness{0.5e-3, 0.9e-3};  ///< [m]
    DrawRange distension{120e-6, 750e-6};      ///< of the inner diameter [m]
    DrawRange near_share{0.25, 0.5};
    DrawRange wall_spread{0.06, 0.16};            ///< [rad]
    DrawRange inner_layer_decibels{-9, -2};       ///< over the outer layer [dB]
    DrawRange wall_over_tissue_decibels{-3, 12};  ///< outer layer's peak over tissue's rms [dB]
    /// outer layer's peak over the rms of the noise within the sensor's band, see
    /// raw_snr_decibels [dB]
    DrawRange in_band_snr_decibels{8, 30};
    DrawRange ring_down_decibels{0, 12};         ///< [dB]
    DrawRange ring_down_length{0.3e-3, 0.7e-3};  ///< [m]
    DrawRange coupling{0.05, 0.9};
    DrawRange breathing{0.1e-3, 0.8e-3};   ///< peak to peak [m]
    DrawRange breathing_rate{0.15, 0.35};  ///< [Hz]
    DrawRange breathing_gradient{0, 20};   ///< [1/m]
    DrawRange attenuation{0.3, 0.8};       ///< [dB/cm/MHz]
    DrawRange wall_counts{500, 1500};      ///< [counts]
    DrawRange dropped_fraction{0, 0.02};
    /// size of the pulsation where there is no artery; up or down [m]
    DrawRange pulsation{50e-6, 400e-6};
    DrawRange pulsation_gradient{-40, 40};  ///< [1/m]
    DrawRange slip{-0.02e-3, 0.02e-3};      ///< of the tissue past the vessel, Scene alone [m/s]

    // VolumeScene alone.
    DrawRange lateral_offset{-1.5e-3, 1.5e-3};  ///< [m]
    DrawRange tilt{-0.03, 0.03};
    DrawRange curvature{0, 5};                   ///< [1/m]
    DrawRange wall_roughness{2e-6, 15e-6};       ///< [m]
    DrawRange media_decibels{-30, -18};          ///< [dB]
    DrawRange sensor_half_width{5e-3, 7e-3};     ///< [m]
    DrawRange sensor_half_length{2.5e-3, 4e-3};  ///< [m]
};

/// SNR [dB] over the noise of a raw sample that makes `in_band` [dB] over the noise within the -6
/// dB bandwidth B: of white noise up to half the sampling rate, that band holds the power's
/// fraction 2 B / sampling rate.
[[nodiscard]] inline double raw_snr_decibels(double in_band,
                                             const RecordingSettings& settings) noexcept {
    return in_band - 10 * std::log10(settings.sampling_rate / (2 * settings.sensor.bandwidth));
}

/// Throws InvalidInput, naming option, value and limit. Whether a range's values suit a scene, the
/// scene's own validate says.
inline void validate(const DrawOptions& options) {
    require(options.duration > 0 && is_finite(options.duration), "duration", options.duration,
            "must be positive and finite [s]");
    require(options.event_probability >= 0 && options.event_probability <= 1, "event_probability",
            options.event_probability, "must lie in [0, 1]");
    const auto range = [](const DrawRange& r, const char* name) {
        require(is_finite(r.from) && is_finite(r.to) && r.from <= r.to, name, r.from,
                detail::concatenate("must be finite and not exceed the range's end ", r.to));
    };
    range(options.heart_rate, "heart_rate");
    range(options.rise_time, "rise_time");
    range(options.decay_time, "decay_time");
    range(options.notch_time, "notch_time");
    range(options.notch_height, "notch_height");
    range(options.diameter, "diameter");
    range(options.wall_thickness, "wall_thickness");
    range(options.distension, "distension");
    range(options.near_share, "near_share");
    range(options.wall_spread, "wall_spread");
    range(options.inner_layer_decibels, "inner_layer_decibels");
    range(options.wall_over_tissue_decibels, "wall_over_tissue_decibels");
    range(options.in_band_snr_decibels, "in_band_snr_decibels");
    range(options.ring_down_decibels, "ring_down_decibels");
    range(options.ring_down_length, "ring_down_length");
    range(options.coupling, "coupling");
    range(options.breathing, "breathing");
    range(options.breathing_rate, "breathing_rate");
    range(options.breathing_gradient, "breathing_gradient");
    range(options.attenuation, "attenuation");
    range(options.wall_counts, "wall_counts");
    range(options.dropped_fraction, "dropped_fraction");
    range(options.pulsation, "pulsation");
    range(options.pulsation_gradient, "pulsation_gradient");
    range(options.slip, "slip");
    range(options.lateral_offset, "lateral_offset");
    range(options.tilt, "tilt");
    range(options.curvature, "curvature");
    range(options.wall_roughness, "wall_roughness");
    range(options.media_decibels, "media_decibels");
    range(options.sensor_half_width, "sensor_half_width");
    range(options.sensor_half_length, "sensor_half_length");
}

}  // namespace echosieve
