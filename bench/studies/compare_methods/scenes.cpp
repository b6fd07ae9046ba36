#include "scenes.hpp"

#include <cstdio>
#include <initializer_list>

#include "echosieve/synthesis/scene.hpp"
#include "echosieve/synthesis/volume_scene.hpp"

namespace compare_methods {
namespace {

using echosieve::SceneOptions;

// 2.5 s at 1000 frames/s; sampled at 40 MHz, which holds the sensor's band, to render quickly.
SceneOptions base_scene() {
    SceneOptions scene;
    scene.duration = 2.5;
    scene.settings.sampling_rate = 40e6;
    scene.settings.frame_rate = 1000;
    return scene;
}

Maker scene_maker(const SceneOptions& scene) {
    return [scene](std::uint64_t seed) {
        echosieve::RenderOptions options;
        options.wall_counts = 1000;  // tissue 6 dB above the wall does not clip
        return echosieve::render<std::int16_t>(echosieve::Scene(scene, seed), seed, options);
    };
}

std::string text(const char* format, double value) {
    char buffer[64];
    std::snprintf(buffer, sizeof buffer, format, value);
    return buffer;
}

// `set` puts a value, in the axis's unit, into a scene; `base` is the one that the base scene has.
Sweep sweep(const char* title, const char* axis, const char* picture, const char* format,
            double base, std::initializer_list<double> values, void (*set)(SceneOptions&, double)) {
    Sweep result{title, axis, picture, {}};
    for (const double value : values) {
        SceneOptions scene = base_scene();
        set(scene, value);
        const std::string setting = text(format, value);
        result.cases.push_back({value, setting + (value == base ? " (base)" : ""),
                                value == base ? "base" : std::string(title) + setting,
                                scene_maker(scene)});
    }
    return result;
}

// The same of scatterers in a volume under a wide flat sensor, with asymmetric pulses.
Sweep volume_sweep() {
    Sweep result{"Clutter, volume simulator",
                 "Tissue echoes, rms over the wall echo's peak [dB]",
                 "comparison_volume.png",
                 {}};
    for (const double clutter : {-18.0, -12.0, -6.0, 0.0}) {
        echosieve::VolumeSceneOptions scene;
        scene.duration = base_scene().duration;
        scene.settings = base_scene().settings;
        scene.clutter_decibels = clutter;
        const std::string setting = text("%g dB", clutter);
        result.cases.push_back(
            {clutter, setting, result.title + setting, [scene](std::uint64_t seed) {
                 echosieve::RenderOptions options;
                 options.wall_counts = 1000;
                 return echosieve::render<std::int16_t>(echosieve::VolumeScene(scene, seed), seed,
                                                        options);
             }});
    }
    return result;
}

}  // namespace

std::vector<Sweep> all_sweeps() {
    return {
        sweep("Clutter", "Tissue echoes, rms over the wall echo's peak [dB]",
              "comparison_clutter.png", "%g dB", -6, {-30, -24, -18, -12, -6, 0, 6},
              [](SceneOptions& scene, double value) { scene.clutter_decibels = value; }),
        sweep("Noise", "Wall echo's peak over the noise of a raw sample [dB]",
              "comparison_noise.png", "%g dB", 20, {-5, 0, 5, 10, 20, 30},
              [](SceneOptions& scene, double value) { scene.snr_decibels = value; }),
        sweep("Distension", "Distension of the inner diameter [mm]", "comparison_distension.png",
              "%g mm", 0.45, {0.1, 0.2, 0.3, 0.45, 0.6, 0.8},
              [](SceneOptions& scene, double value) { scene.distension = value * 1e-3; }),
        sweep("Rise time of the pulse", "Rise time of the pulse [ms]", "comparison_rise.png",
              "%g ms", 110, {40, 60, 80, 110, 150},
              [](SceneOptions& scene, double value) { scene.pulse.rise_time = value * 1e-3; }),
        sweep("Heart rate", "Heart rate [1/min]", "", "%g /min", 66, {50, 66, 90, 120, 150},
              [](SceneOptions& scene, double value) { scene.pulse.heart_rate = value / 60; }),
        sweep("Share of the distension that the near wall takes", "Near wall's share", "", "%g",
              0.4, {0.2, 0.3, 0.4, 0.5},
              [](SceneOptions& scene, double value) { scene.near_share = value; }),
        volume_sweep(),
    };
}

}  // namespace compare_methods
