// Random scenes, number by number: everything that a recording depends on drawn from its seed.
#pragma once

#include <algorithm>
#include <cstdint>
#include <limits>

#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/draw_options.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/renderable_scene.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "echosieve/synthesis/volume_scene.hpp"

namespace echosieve {

/// What a random recording shows: an artery; or none, to count false alarms: tissue that breathes,
/// or that also pulsates, all of it up or all of it down.
enum class LineKind { artery, breathing_tissue, pulsating_tissue };

/// What is needed to render a random recording: S is Scene or VolumeScene.
template <RenderableScene S>
struct DrawnScene {
    std::uint64_t seed = 0;
    typename S::Options options;
    RenderOptions render;
    double in_band_snr_decibels = 0;  ///< see raw_snr_decibels [dB]
};

namespace detail {

// Streams of the seed that neither a scene nor its rendering draws from.
inline constexpr std::uint64_t scene_drawing_stream = std::numeric_limits<std::uint64_t>::max() - 8;
inline constexpr std::uint64_t event_drawing_stream = scene_drawing_stream - 1;

[[nodiscard]] inline double draw(const DrawRange& range, RandomStream& random) noexcept {
    return random.uniform(range.from, range.to);
}

/// Events: each with the same probability, or one kind alone. All numbers are drawn in any case, so
/// that one event leaves the others as they are.
inline void draw_events(const DrawOptions& ranges, RandomStream& random, SceneEvents& events,
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

/// What only one kind of scene has.
inline void draw_own(const DrawOptions& ranges, RandomStream& random, SceneOptions& out) {
    out.slip = draw(ranges.slip, random);
}
inline void draw_own(const DrawOptions& ranges, RandomStream& random, VolumeSceneOptions& out) {
    out.lateral_offset = draw(ranges.lateral_offset, random);
    out.tilt = draw(ranges.tilt, random);
    out.curvature = draw(ranges.curvature, random);
    out.wall_roughness = draw(ranges.wall_roughness, random);
    out.media_decibels = draw(ranges.media_decibels, random);
    out.sensor_half_width = draw(ranges.sensor_half_width, random);
    out.sensor_half_length = draw(ranges.sensor_half_length, random);
}

/// One of two sensors, and 500 or 1000 frames a second.
[[nodiscard]] inline RecordingSettings draw_settings(const DrawOptions& ranges,
                                                     RandomStream& random) {
    RecordingSettings settings = SceneOptions{}.settings;
    const bool high = random.uniform() < 0.5;
    settings.sensor = high ? Sensor{.centre_frequency = 7.5e6, .bandwidth = 3e6}
                           : Sensor{.centre_frequency = 4e6, .bandwidth = 1e6};
    settings.sampling_rate = !ranges.coarse_sampling ? 125e6 : high ? 60e6 : 40e6;
    settings.frame_rate = random.uniform() < 0.5 ? 500 : 1000;
    return settings;
}

}  // namespace detail

/// Recording number `seed` of all: `draw_scene<Scene>(k)` or `draw_scene<VolumeScene>(k)`. The same
/// seed gives the same options; both kinds of scene share those that both have, and all kinds of
/// line all but artery and pulsation. Throws InvalidInput for options outside their domain.
template <RenderableScene S>
[[nodiscard]] DrawnScene<S> draw_scene(std::uint64_t seed, LineKind kind = LineKind::artery,
                                       const DrawOptions& ranges = {}) {
    validate(ranges);
    using detail::draw;
    RandomStream random(seed, detail::scene_drawing_stream);
    DrawnScene<S> out;
    out.seed = seed;
    typename S::Options& o = out.options;
    o.settings = detail::draw_settings(ranges, random);
    o.duration = ranges.duration;
    o.pulse.heart_rate = draw(ranges.heart_rate, random);
    o.pulse.rise_time = draw(ranges.rise_time, random);
    o.pulse.decay_time = draw(ranges.decay_time, random);
    o.pulse.notch_time = draw(ranges.notch_time, random);
    o.pulse.notch_height = draw(ranges.notch_height, random);
    o.diameter = draw(ranges.diameter, random);
    o.wall_thickness = draw(ranges.wall_thickness, random);
    o.distension = draw(ranges.distension, random);
    o.near_share = draw(ranges.near_share, random);
    o.wall_spread = draw(ranges.wall_spread, random);
    o.inner_layer_decibels = draw(ranges.inner_layer_decibels, random);
    o.clutter_decibels = -draw(ranges.wall_over_tissue_decibels, random);
    out.in_band_snr_decibels = draw(ranges.in_band_snr_decibels, random);
    o.snr_decibels = raw_snr_decibels(out.in_band_snr_decibels, o.settings);
    o.ring_down_decibels = draw(ranges.ring_down_decibels, random);
    o.ring_down_length = draw(ranges.ring_down_length, random);
    o.coupling = draw(ranges.coupling, random);
    o.breathing = draw(ranges.breathing, random);
    o.breathing_rate = draw(ranges.breathing_rate, random);
    o.breathing_gradient = draw(ranges.breathing_gradient, random);
    o.attenuation = draw(ranges.attenuation, random);
    // The artery anywhere below the ring-down, its outer layers at least 1.5 mm above the end.
    const double top = o.settings.depth(o.settings.start_time);
    const double reach = o.diameter / 2 + o.wall_thickness + o.distension + o.breathing / 2;
    const double room = o.depth_range - 2 * reach - 3.5e-3 - 1.5e-3;
    o.centre_depth = top + 3.5e-3 + reach + std::max(room, 0.0) * random.uniform();
    out.render.wall_counts = draw(ranges.wall_counts, random);
    out.render.dropped_fraction = draw(ranges.dropped_fraction, random);
    const double drop_kind = random.uniform();
    out.render.drop_kind = drop_kind < 1.0 / 3   ? DropKind::zeros
                           : drop_kind < 2.0 / 3 ? DropKind::noise
                                                 : DropKind::repeat;
    const double sign = random.uniform() < 0.5 ? -1 : 1;
    const double pulsation = sign * draw(ranges.pulsation, random);
    const double pulsation_gradient = draw(ranges.pulsation_gradient, random);
    o.artery = kind == LineKind::artery;
    if (kind == LineKind::pulsating_tissue) {
        o.pulsation = pulsation;
        o.pulsation_gradient = pulsation_gradient;
    }
    detail::draw_own(ranges, random, o);
    RandomStream events(seed, detail::event_drawing_stream);
    detail::draw_events(ranges, events, o.events, o.pulse);
    validate(o);
    return out;
}

/// The recording of a drawn scene, T as in `render`.
template <class T, RenderableScene S>
[[nodiscard]] SyntheticRecording render_drawn(const DrawnScene<S>& drawn) {
    return render<T>(S(drawn.options, drawn.seed), drawn.seed, drawn.render);
}

}  // namespace echosieve
