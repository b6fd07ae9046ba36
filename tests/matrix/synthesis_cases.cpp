// synthesis: scenes of all simulators, their events and pulses, rendering, random scenes.
#include <cstddef>
#include <initializer_list>
#include <vector>

#include "bad_input.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/synthesis/detail/pulse_wave.hpp"
#include "echosieve/synthesis/layered_scene.hpp"
#include "echosieve/synthesis/lines.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "echosieve/synthesis/volume_scene.hpp"

namespace echosieve::test {
namespace {

template <class Options>
void shared(BadInputs& out, const char* function) {
    const auto use = [](const Options& o) { validate(o); };
    const Options good;
    using O = Options;
    out.vary(function, "duration", good, &O::duration, {0.0, -1.0, not_a_number, infinite}, use);
    out.vary(function, "depth_range", good, &O::depth_range, {0.0, not_a_number, infinite}, use);
    out.vary(function, "diameter", good, &O::diameter, {0.0, not_a_number}, use);
    out.vary(function, "wall_thickness", good, &O::wall_thickness, {0.0, infinite}, use);
    out.vary(function, "distension", good, &O::distension, {-1e-4, 7e-3, not_a_number}, use);
    out.vary(function, "near_share", good, &O::near_share, {-0.1, 1.1, not_a_number}, use);
    out.vary(function, "coupling", good, &O::coupling, {-0.1, 1.1, not_a_number}, use);
    out.vary(function, "wall_spread", good, &O::wall_spread, {-0.1, 0.6, not_a_number}, use);
    out.vary(function, "breathing", good, &O::breathing, {not_a_number, infinite}, use);
    out.vary(function, "breathing_rate", good, &O::breathing_rate, {-0.1, 6.0, not_a_number}, use);
    out.vary(function, "attenuation", good, &O::attenuation, {-0.1, 5.5, not_a_number}, use);
    out.vary(function, "snr_decibels", good, &O::snr_decibels, {500.0, not_a_number}, use);
    out.vary(function, "ring_down_length", good, &O::ring_down_length, {0.0, not_a_number}, use);
    out.vary(function, "centre_depth", good, &O::centre_depth, {5e-3, 1.0, not_a_number}, use);
    out.vary(function, "sensor_half_width", good, &O::sensor_half_width, {0.0, infinite}, use);
}

void scenes(BadInputs& out) {
    shared<SceneOptions>(out, "Scene");
    shared<VolumeSceneOptions>(out, "VolumeScene");
    using S = SceneOptions;
    out.vary("Scene", "scatterers_per_square", S{}, &S::scatterers_per_square,
             {-1.0, 1e10, not_a_number}, [](const S& o) { validate(o); });
    out.vary("Scene", "slip", S{}, &S::slip, {not_a_number, infinite},
             [](const S& o) { validate(o); });
    S dense;
    dense.depth_range = 0.1;
    out.vary("Scene", "scatterers_per_square", dense, &S::scatterers_per_square, {1e9},
             [](const S& o) { validate(o); });
    using V = VolumeSceneOptions;
    const auto use = [](const V& o) { validate(o); };
    out.vary("VolumeScene", "scatterers_per_volume", V{}, &V::scatterers_per_volume,
             {-1.0, 1e12, not_a_number}, use);
    out.vary("VolumeScene", "tilt", V{}, &V::tilt, {-0.4, 0.4, not_a_number}, use);
    out.vary("VolumeScene", "curvature", V{}, &V::curvature, {-60.0, 60.0, not_a_number}, use);
    out.vary("VolumeScene", "margin", V{}, &V::margin, {-1e-3, 0.1}, use);
    out.vary("VolumeScene", "wall_roughness", V{}, &V::wall_roughness, {-1e-6, 1e-3}, use);
    out.vary("VolumeScene", "sensor_taper", V{}, &V::sensor_taper, {0.0, not_a_number}, use);
}

void layered_line(BadInputs& out) {
    using L = LayeredSceneOptions;
    const auto use = [](const L& o) { validate(o); };
    const auto vary = [&](const char* option, double L::*member,
                          std::initializer_list<double> bad) {
        out.vary("LayeredScene", option, L{}, member, bad, use);
    };
    vary("duration", &L::duration, {0.0, -1.0, not_a_number, infinite});
    vary("depth_range", &L::depth_range, {0.0, not_a_number, infinite});
    vary("pulse_skew", &L::pulse_skew, {-0.1, 1.0, not_a_number});
    vary("diameter", &L::diameter, {0.0, not_a_number});
    vary("axis_offset", &L::axis_offset, {3e-3, -3e-3, not_a_number});
    vary("strength_change", &L::strength_change, {-0.1, 1.1, not_a_number});
    vary("far_delay", &L::far_delay, {-1e-3, 1.0, not_a_number});
    vary("far_smoothing", &L::far_smoothing, {-1e-3, 1.0, not_a_number});
    vary("scatterers_per_metre", &L::scatterers_per_metre, {-1.0, 1e7, infinite});
    vary("tissue_reach", &L::tissue_reach, {0.0, infinite, not_a_number});
    vary("tissue_lag", &L::tissue_lag, {-1e-3, 1.0, not_a_number});
    vary("decorrelation", &L::decorrelation, {-1.0, 30.0, not_a_number});
    vary("beside_share", &L::beside_share, {-0.1, 1.1, not_a_number});
    vary("vein_diameter", &L::vein_diameter, {0.0, not_a_number});
    vary("reverberation_decibels", &L::reverberation_decibels, {-500.0, 100.0, not_a_number});
    vary("gain_wander", &L::gain_wander, {-0.1, 0.5, not_a_number});
    vary("interference_decibels", &L::interference_decibels, {-500.0, 100.0, not_a_number});
    vary("interference_frequency", &L::interference_frequency, {0.0, 1e9, not_a_number});
    vary("centre_depth", &L::centre_depth, {5e-3, 1.0, not_a_number});
}

void events(BadInputs& out) {
    using E = SceneEvents;
    const auto use = [](const E& e) { validate(e); };
    const char* function = "validate(SceneEvents)";
    out.vary(function, "contact_loss_length", E{}, &E::contact_loss_length, {0.0, not_a_number},
             use);
    out.vary(function, "contact_loss_decibels", E{}, &E::contact_loss_decibels,
             {1.0, -500.0, not_a_number}, use);
    out.vary(function, "near_strength_modulation", E{}, &E::near_strength_modulation, {1.1, -1.1},
             use);
    out.vary(function, "far_wall_lag", E{}, &E::far_wall_lag, {0.3, -0.2}, use);
    out.vary(function, "trigger_jitter", E{}, &E::trigger_jitter, {-1e-9, 1e-3}, use);
    out.vary(function, "sensor_step", E{}, &E::sensor_step, {0.1, not_a_number}, use);
    out.vary(function, "clipped_fraction", E{}, &E::clipped_fraction, {-0.1, 1.1}, use);
    using P = PulseWaveOptions;
    const auto wave = [](const P& p) { static_cast<void>(PulseWave(p, 1, RandomStream(1))); };
    out.vary("PulseWave", "heart_rate", P{}, &P::heart_rate, {0.0, 6.0, not_a_number}, wave);
    out.vary("PulseWave", "variability", P{}, &P::variability, {-0.1, 0.4}, wave);
    out.vary("PulseWave", "rise_time", P{}, &P::rise_time, {0.0, 0.3}, wave);
    out.vary("PulseWave", "notch_height", P{}, &P::notch_height, {-0.1, 0.5}, wave);
    out.vary("PulseWave", "ectopic_probability", P{}, &P::ectopic_probability, {1.1, not_a_number},
             wave);
}

void rendering(BadInputs& out) {
    using R = RenderOptions;
    const auto use = [](const R& r) { validate(r); };
    out.vary("render", "full_scale", R{}, &R::full_scale, {0.0, 40000.0, not_a_number}, use);
    out.vary("render", "wall_counts", R{}, &R::wall_counts, {0.0, 9000.0, not_a_number}, use);
    out.vary("render", "dropped_fraction", R{}, &R::dropped_fraction, {-0.1, 1.0, not_a_number},
             use);
    using D = DrawOptions;
    const auto draw = [](const D& d) {
        static_cast<void>(draw_scene<Scene>(1, LineKind::artery, d));
    };
    out.vary("draw_scene", "duration", D{}, &D::duration, {0.0, not_a_number}, draw);
    out.vary("draw_scene", "event_probability", D{}, &D::event_probability, {-0.1, 1.1}, draw);
    using L = LinesPlan;
    const auto plan = [](const L& l) { static_cast<void>(lines_of(DrawnScene<Scene>{}, l)); };
    out.vary("lines_of", "spacing", L{.count = 2}, &L::spacing, {0.0, 2.0, not_a_number}, plan);
    out.vary("lines_of", "tilt", L{.count = 2}, &L::tilt, {-0.4, 0.4, not_a_number}, plan);
    out.vary("lines_of", "pulse_wave_velocity", L{.count = 2}, &L::pulse_wave_velocity,
             {0.0, -5.0, not_a_number}, plan);
    out.vary("Scene", "line_delay", SceneOptions{}, &SceneOptions::line_delay, {-2.0, not_a_number},
             [](const SceneOptions& o) { validate(o); });
    for (const double bad : {3.0, not_a_number, infinite}) {
        D options;
        options.heart_rate = {bad, 2};
        out.add("draw_scene", "heart_rate", bad, [=] { draw(options); });
    }
}

}  // namespace

BadInputs synthesis_cases() {
    BadInputs out;
    scenes(out);
    layered_line(out);
    events(out);
    rendering(out);
    return out;
}

}  // namespace echosieve::test
