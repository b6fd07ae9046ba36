// What tests of the layered line share: a line of walls alone, its echoes by what they come from,
// and harmonics of the heart.
#pragma once

#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "echosieve/synthesis/layered_scene.hpp"
#include "support/quick_scene.hpp"

namespace echosieve::test {

using Found = std::vector<detail::LayeredEcho>;

/// Walls alone: no tissue, breathing, ring-down or noise to speak of.
[[nodiscard]] inline LayeredSceneOptions bare() {
    LayeredSceneOptions options = quick_scene<LayeredSceneOptions>();
    options.scatterers_per_metre = 0;
    options.breathing = 0;
    options.ring_down_decibels = -300;
    options.snr_decibels = 300;
    return options;
}

/// Beats of one length, and layers that keep their strength.
[[nodiscard]] inline LayeredSceneOptions steady(LayeredSceneOptions options) {
    options.duration = 4;
    options.pulse.variability = 0;
    options.strength_change = 0;
    return options;
}

[[nodiscard]] inline LayeredSceneOptions without_change(LayeredSceneOptions options) {
    options.strength_change = 0;
    return options;
}

[[nodiscard]] inline Found echoes_of(const LayeredScene& scene, double time,
                                     detail::LayeredSource source) {
    Found found;
    scene.for_each_echo(time, [&](const detail::LayeredEcho& echo) {
        if (echo.source == source) {
            found.push_back(echo);
        }
    });
    return found;
}

/// Of a course of time, over one beat some time after the begin.
template <class Course>
[[nodiscard]] std::complex<double> harmonic(const LayeredSceneOptions& options, int number,
                                            Course course) {
    constexpr int steps = 400;
    constexpr double begin = 2;  // [s]
    std::complex<double> sum = 0;
    for (int n = 0; n < steps; ++n) {
        const double beat = static_cast<double>(n) / steps;
        sum += course(begin + beat / options.pulse.heart_rate) *
               std::polar(1.0 / steps, -2 * std::numbers::pi * number * beat);
    }
    return sum;
}

}  // namespace echosieve::test
