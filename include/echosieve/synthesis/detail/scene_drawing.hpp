// What a random scene draws beside the numbers of its ranges: events, what only one kind of scene
// has, and the sensor.
#pragma once

#include <cmath>
#include <cstdint>
#include <limits>

#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/pulse_wave.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "echosieve/synthesis/volume_scene.hpp"

namespace echosieve {

/// SNR [dB] over the noise of a raw sample that makes `in_band` [dB] over the noise within the -6
/// dB bandwidth B: of white noise up to half the sampling rate, that band holds the power's
/// fraction 2 B / sampling rate.
[[nodiscard]] inline double raw_snr_decibels(double in_band,
                                             const RecordingSettings& settings) noexcept {
    return in_band - 10 * std::log10(settings.sampling_rate / (2 * settings.sensor.bandwidth));
}

namespace detail {

// Streams of the seed that neither a scene nor its rendering draws from.
inline constexpr std::uint64_t scene_drawing_stream = std::numeric_limits<std::uint64_t>::max() - 8;
inline constexpr std::uint64_t event_drawing_stream = scene_drawing_stream - 1;

template <class Range>
[[nodiscard]] double draw(const Range& range, RandomStream& random) noexcept {
    return random.uniform(range.from, range.to);
}

/// Events: each with the same probability, or one kind alone. All numbers are drawn in any case, so
/// that one event leaves the others as they are.
template <class Ranges>
void draw_events(const Ranges& ranges, RandomStream& random, SceneEvents& events,
                 PulseWaveOptions& pulse) {
    const auto maybe = [&](EventKind kind, double& option, double from, double to) {
        const double chance = random.uniform();
        const double x = random.uniform(from, to);
        const bool happens =
            ranges.only_event ? *ranges.only_event == kind : chance < ranges.event_probability;
        if (happens) {
            option = x;
        }
    };
    events.contact_loss_start = ranges.duration * random.uniform(0.2, 0.8);
    maybe(EventKind::contact_loss, events.contact_loss_decibels, -40, -15);
    maybe(EventKind::near_strength, events.near_strength_modulation, -0.5, 0.5);
    maybe(EventKind::far_strength, events.far_strength_modulation, -0.5, 0.5);
    maybe(EventKind::far_wall_lag, events.far_wall_lag, 0, 0.02);
    maybe(EventKind::tissue_lag, events.tissue_lag, 0, 0.05);
    events.reverberation_decibels = random.uniform(-25.0, -10.0);
    maybe(EventKind::reverberation, events.reverberation_depth, 1e-3, 8e-3);
    maybe(EventKind::trigger_jitter, events.trigger_jitter, 0.5e-9, 8e-9);
    events.sensor_step_time = ranges.duration * random.uniform(0.2, 0.8);
    maybe(EventKind::sensor_step, events.sensor_step, -0.5e-3, 0.5e-3);
    maybe(EventKind::clipping, events.clipped_fraction, 0, 0.02);
    maybe(EventKind::ectopic_beats, pulse.ectopic_probability, 0.1, 0.3);
}

/// Level and lost frames.
template <class Ranges>
void draw_render(const Ranges& ranges, RandomStream& random, RenderOptions& out) {
    out.wall_counts = draw(ranges.wall_counts, random);
    out.dropped_fraction = draw(ranges.dropped_fraction, random);
    const double drop_kind = random.uniform();
    out.drop_kind = drop_kind < 1.0 / 3   ? DropKind::zeros
                    : drop_kind < 2.0 / 3 ? DropKind::noise
                                          : DropKind::repeat;
}

/// What only one kind of scene has.
template <class Ranges>
void draw_own(const Ranges& ranges, RandomStream& random, SceneOptions& out) {
    out.slip = draw(ranges.slip, random);
}
template <class Ranges>
void draw_own(const Ranges& ranges, RandomStream& random, VolumeSceneOptions& out) {
    out.lateral_offset = draw(ranges.lateral_offset, random);
    out.tilt = draw(ranges.tilt, random);
    out.curvature = draw(ranges.curvature, random);
    out.wall_roughness = draw(ranges.wall_roughness, random);
    out.media_decibels = draw(ranges.media_decibels, random);
    out.sensor_half_width = draw(ranges.sensor_half_width, random);
    out.sensor_half_length = draw(ranges.sensor_half_length, random);
}

/// One of two sensors, and 500 or 1000 frames a second.
template <class Ranges>
[[nodiscard]] RecordingSettings draw_settings(const Ranges& ranges, RandomStream& random) {
    RecordingSettings settings = SceneOptions{}.settings;
    const bool high = random.uniform() < 0.5;
    settings.sensor = high ? Sensor{.centre_frequency = 7.5e6, .bandwidth = 3e6}
                           : Sensor{.centre_frequency = 4e6, .bandwidth = 1e6};
    settings.sampling_rate = !ranges.coarse_sampling ? 125e6 : high ? 60e6 : 40e6;
    settings.frame_rate = random.uniform() < 0.5 ? 500 : 1000;
    return settings;
}

}  // namespace detail

}  // namespace echosieve
