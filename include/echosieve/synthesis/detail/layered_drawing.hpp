// How a layered line's options are drawn: a bench that is never twice the same, each effect in some
// recordings and not in others.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/pulse_wave.hpp"
#include "echosieve/synthesis/detail/scene_drawing.hpp"
#include "echosieve/synthesis/layered_scene.hpp"
#include "echosieve/synthesis/render.hpp"

namespace echosieve::detail {

// Chances that an effect is there. All numbers are drawn in any case, so that a kind of line has in
// common with the artery of its seed what it does not lack. Ranges that a caller does not choose
// are plausible, and not fitted to anything (common practice, no source).
inline constexpr double usual = 0.5;
inline constexpr double occasional = 0.2;
inline constexpr double rare = 0.06;
// Of the range that is drawn from: all of the tissue lies on the line here, none beside it.
inline constexpr double most_coupling = 0.7;

inline constexpr std::uint64_t layered_drawing_stream = event_drawing_stream - 1;
inline constexpr double above_artery = 3.5e-3;  // of depth, for the ring-down and some tissue [m]
inline constexpr double below_artery = 1.5e-3;  // [m]

/// Sensor, sampling and frame rate: 4 MHz twice as often as 7.5 MHz, 125 MHz as often as coarser.
template <class Ranges>
[[nodiscard]] RecordingSettings draw_layered_settings(const Ranges& ranges, RandomStream& random) {
    RecordingSettings settings = LayeredSceneOptions{}.settings;
    const bool high = random.uniform() < 1.0 / 3;
    settings.sensor = high ? Sensor{.centre_frequency = 7.5e6, .bandwidth = 3e6}
                           : Sensor{.centre_frequency = 4e6, .bandwidth = 1e6};
    const bool coarse = random.uniform() < usual && ranges.coarse_sampling;
    settings.sampling_rate = !coarse ? 125e6 : high ? 60e6 : 40e6;
    settings.frame_rate = random.uniform() < usual ? 500 : 1000;
    return settings;
}

template <class Ranges>
void draw_layered_artery(const Ranges& ranges, RandomStream& random, LayeredSceneOptions& out) {
    out.pulse_skew = random.uniform(0.2, 0.8);
    out.pulse.heart_rate = draw(ranges.heart_rate, random);
    out.pulse.variability = random.uniform(0.01, 0.06);
    out.pulse.rise_time = draw(ranges.rise_time, random);
    out.pulse.decay_time = draw(ranges.decay_time, random);
    out.pulse.notch_time = draw(ranges.notch_time, random);
    out.pulse.notch_height = draw(ranges.notch_height, random);
    out.diameter = draw(ranges.diameter, random);
    out.wall_thickness = draw(ranges.wall_thickness, random);
    out.distension = draw(ranges.distension, random);
    out.near_share = draw(ranges.near_share, random);
    const double beside = random.uniform(-0.4, 0.4) * out.diameter / 2;
    out.axis_offset = random.uniform() < usual ? beside : 0;
    out.sub_layers = 3 + static_cast<int>(random.index(4));
    out.inner_layer_decibels = draw(ranges.inner_layer_decibels, random);
    out.middle_layer_decibels = random.uniform(-10.0, -2.0);
    out.strength_change = draw(ranges.strength_change, random);
    out.far_delay = draw(ranges.far_delay, random);
    out.far_smoothing = random.uniform(2e-3, 10e-3);
    const double plaque = random.uniform();
    out.plaque = plaque < rare / 2 ? -1 : plaque < rare ? 1 : 0;
    out.plaque_decibels = random.uniform(0.0, 6.0);
    out.plaque_thickness = random.uniform(0.8e-3, 1.5e-3);
}

template <class Ranges>
void draw_layered_tissue(const Ranges& ranges, RandomStream& random, LayeredSceneOptions& out) {
    out.clutter_decibels = -draw(ranges.wall_over_tissue_decibels, random);
    out.coupling = most_coupling * draw(ranges.coupling, random);
    out.tissue_reach = random.uniform(2e-3, 6e-3);
    out.tissue_lag = draw(ranges.tissue_lag, random);
    const double rate = random.uniform(0.01, 0.1);
    out.decorrelation = random.uniform() < usual ? rate : 0;
    out.breathing = draw(ranges.breathing, random);
    out.breathing_rate = draw(ranges.breathing_rate, random);
    out.breathing_gradient = draw(ranges.breathing_gradient, random);
    const double swallow = random.uniform();
    out.swallow_size = random.uniform(1e-3, 3e-3) * (swallow < rare / 2 ? -1 : 1);
    const double swallow_at = ranges.duration * random.uniform(0.1, 0.8);
    const double cough = random.uniform();
    const double cough_at = ranges.duration * random.uniform(0.1, 0.8);
    if (swallow < rare) {
        out.swallow_at = swallow_at;
    }
    if (cough < rare) {
        out.cough_at = cough_at;
    }
}

template <class Ranges>
void draw_layered_receiver(const Ranges& ranges, RandomStream& random, LayeredSceneOptions& out) {
    out.ring_down_decibels = draw(ranges.ring_down_decibels, random);
    out.ring_down_length = draw(ranges.ring_down_length, random);
    const double reverberation = draw(ranges.reverberation_decibels, random);
    out.reverberation_decibels = random.uniform() < usual ? reverberation : no_level;
    const double wander = random.uniform(0.02, 0.1);
    out.gain_wander = random.uniform() < usual ? wander : 0;
    const double interference = random.uniform(-30.0, -15.0);
    out.interference_decibels = random.uniform() < usual ? interference : no_level;
    out.interference_frequency = random.uniform(0.8e6, 2.5e6);
    // What one event alone must not have beside it.
    SceneEvents& events = out.events;
    const auto maybe = [&](double chance, double& option, double from, double to) {
        const bool happens = random.uniform() < chance;
        const double x = random.uniform(from, to);
        if (happens && !ranges.only_event) {
            option = x;
        }
    };
    maybe(usual, events.trigger_jitter, 0.5e-9, 5e-9);
    maybe(rare, events.contact_loss_decibels, -40, -15);
    maybe(rare, events.clipped_fraction, 0.002, 0.01);
    maybe(occasional, out.pulse.ectopic_probability, 0.05, 0.2);
}

/// Depths: the artery anywhere beneath the ring-down, and a vein above it where there is room.
inline void draw_layered_depths(RandomStream& random, LayeredSceneOptions& out) {
    const double top = out.settings.depth(out.settings.start_time);
    const double moving = out.breathing / 2 + (out.swallow_at ? std::abs(out.swallow_size) : 0) +
                          (out.cough_at ? out.cough_size : 0);
    const double reach = out.diameter / 2 + out.wall_thickness + out.distension + moving;
    constexpr double slack = 1e-6;  // what rounding may take [m]
    const double least = 2 * reach + above_artery + below_artery + slack;
    out.depth_range = std::max(random.uniform(16e-3, 20e-3), least);
    out.centre_depth = top + above_artery + reach + (out.depth_range - least) * random.uniform();
    const double bottom = top + out.depth_range;
    const double outer = out.centre_depth + out.diameter / 2 + out.wall_thickness;
    out.reverberation_at = random.uniform(out.centre_depth, std::max(outer, bottom - 1e-3));
    out.vein_diameter = random.uniform(1.2e-3, 2.5e-3);
    out.vein_pulsation = random.uniform(0.05e-3, 0.3e-3);
    out.vein_rate = random.uniform(0.4, 0.8);
    out.vein_decibels = random.uniform(-14.0, -6.0);
    const double half = (out.vein_diameter + out.vein_pulsation) / 2 + slack;
    const double first = top + above_artery / 2 + half;
    const double last = out.centre_depth - reach - half;
    out.vein = random.uniform() < occasional && last > first;
    out.vein_depth = first + std::max(last - first, 0.0) * random.uniform();
}

/// What a line without an artery has, and what it has not.
template <class Kind>
void make_kind(Kind kind, double pulsation, double gradient, RandomStream& random,
               LayeredSceneOptions& out) {
    const double share = random.uniform(0.15, 0.35);
    const double place = random.uniform(0.3, 0.7);
    out.artery = kind == Kind::artery;
    if (out.artery) {
        return;
    }
    out.plaque = 0;
    out.vein = kind == Kind::vein;
    if (out.vein) {  // anywhere
        out.vein_depth = out.settings.depth(out.settings.start_time) + place * out.depth_range;
    }
    if (kind == Kind::pulsating_tissue) {
        out.pulsation = pulsation;
        out.pulsation_gradient = gradient;
    }
    if (kind == Kind::artery_beside) {
        out.beside_share = share;
    }
    if (kind == Kind::still_tissue) {
        out.breathing = 0;
        out.swallow_at.reset();
        out.cough_at.reset();
    }
}

/// All of a drawn layered line but its events.
template <class Ranges, class Kind, class Drawn>
void draw_layered(const Ranges& ranges, Kind kind, Drawn& out) {
    RandomStream random(out.seed, layered_drawing_stream);
    LayeredSceneOptions& o = out.options;
    o.settings = draw_layered_settings(ranges, random);
    o.duration = ranges.duration;
    draw_layered_artery(ranges, random, o);
    draw_layered_tissue(ranges, random, o);
    draw_layered_receiver(ranges, random, o);
    draw_layered_depths(random, o);
    out.in_band_snr_decibels = draw(ranges.layered_snr_decibels, random);
    o.snr_decibels = raw_snr_decibels(out.in_band_snr_decibels, o.settings);
    draw_render(ranges, random, out.render);
    const double sign = random.uniform() < 0.5 ? -1 : 1;
    const double pulsation = sign * draw(ranges.pulsation, random);
    const double gradient = draw(ranges.pulsation_gradient, random);
    make_kind(kind, pulsation, gradient, random, o);
}

}  // namespace echosieve::detail
