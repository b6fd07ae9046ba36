// Random scenes, number by number: everything that a recording depends on drawn from its seed,
// and from what ranges.
#pragma once

#include <algorithm>
#include <cmath>
#include <concepts>
#include <cstdint>
#include <limits>
#include <optional>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/layered_drawing.hpp"
#include "echosieve/synthesis/detail/scene_drawing.hpp"
#include "echosieve/synthesis/layered_scene.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "echosieve/synthesis/volume_scene.hpp"

namespace echosieve {

/// Numbers are drawn uniformly in [from, to), or are `from` where both are equal.
struct DrawRange {
    double from = 0;
    double to = 0;
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

    // LayeredScene alone; further ones see detail/layered_drawing.hpp.
    DrawRange layered_snr_decibels{14, 30};     ///< in the place of in_band_snr_decibels [dB]
    DrawRange strength_change{0.05, 0.25};      ///< rms, relative
    DrawRange far_delay{2e-3, 8e-3};            ///< [s]
    DrawRange tissue_lag{10e-3, 25e-3};         ///< [s]
    DrawRange reverberation_decibels{-20, -6};  ///< [dB]
};

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
    range(options.layered_snr_decibels, "layered_snr_decibels");
    range(options.strength_change, "strength_change");
    range(options.far_delay, "far_delay");
    range(options.tissue_lag, "tissue_lag");
    range(options.reverberation_decibels, "reverberation_decibels");
}

/// What a random recording shows: an artery; or none, to count false alarms: tissue that breathes,
/// or that also pulsates, all of it up or all of it down. All scenes can draw these, and still
/// tissue; LayeredScene alone tissue with an artery beside the line, that pulsates opposite ways at
/// the depths where walls would be, and a vein.
enum class LineKind {
    artery,
    breathing_tissue,
    pulsating_tissue,
    still_tissue,
    artery_beside,
    vein
};

/// Whether a scene S can be drawn as a line of that kind.
template <RenderableScene S>
[[nodiscard]] constexpr bool can_draw(LineKind kind) noexcept {
    return std::same_as<S, LayeredScene> ||
           (kind != LineKind::artery_beside && kind != LineKind::vein);
}

/// What is needed to render a random recording: S is Scene, VolumeScene or LayeredScene.
template <RenderableScene S>
struct DrawnScene {
    std::uint64_t seed = 0;
    typename S::Options options;
    RenderOptions render;
    double in_band_snr_decibels = 0;  ///< see raw_snr_decibels [dB]
};

namespace detail {

/// All of a drawn scene but its events, for the scenes in two and three dimensions.
template <RenderableScene S>
void draw_shared(const DrawOptions& ranges, LineKind kind, DrawnScene<S>& out) {
    RandomStream random(out.seed, scene_drawing_stream);
    typename S::Options& o = out.options;
    o.settings = draw_settings(ranges, random);
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
    draw_render(ranges, random, out.render);
    const double sign = random.uniform() < 0.5 ? -1 : 1;
    const double pulsation = sign * draw(ranges.pulsation, random);
    const double pulsation_gradient = draw(ranges.pulsation_gradient, random);
    o.artery = kind == LineKind::artery;
    if (kind == LineKind::pulsating_tissue) {
        o.pulsation = pulsation;
        o.pulsation_gradient = pulsation_gradient;
    }
    draw_own(ranges, random, o);
    if (kind == LineKind::still_tissue) {
        o.breathing = 0;
        if constexpr (requires { o.slip; }) {
            o.slip = 0;
        }
    }
}

}  // namespace detail

/// Recording number `seed` of all: `draw_scene<Scene>(k)`, or one of the other scenes. The same
/// seed gives the same options; Scene and VolumeScene share those that both have, LayeredScene's
/// are its own; and all kinds of line share all but what makes them. Throws InvalidInput for
/// options outside their domain, and for a kind that S can't draw.
template <RenderableScene S>
[[nodiscard]] DrawnScene<S> draw_scene(std::uint64_t seed, LineKind kind = LineKind::artery,
                                       const DrawOptions& ranges = {}) {
    validate(ranges);
    require(can_draw<S>(kind), "kind", static_cast<int>(kind),
            "must be a kind of line that this scene can be drawn as");
    DrawnScene<S> out;
    out.seed = seed;
    if constexpr (std::same_as<S, LayeredScene>) {
        detail::draw_layered(ranges, kind, out);
    } else {
        detail::draw_shared(ranges, kind, out);
    }
    RandomStream events(seed, detail::event_drawing_stream);
    detail::draw_events(ranges, events, out.options.events, out.options.pulse);
    validate(out.options);
    return out;
}

/// The recording of a drawn scene, T as in `render`.
template <class T, RenderableScene S>
[[nodiscard]] SyntheticRecording render_drawn(const DrawnScene<S>& drawn) {
    return render<T>(S(drawn.options, drawn.seed), drawn.seed, drawn.render);
}

}  // namespace echosieve
