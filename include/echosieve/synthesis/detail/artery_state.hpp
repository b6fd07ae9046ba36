// Where an artery's walls are at one time: pulse, breathing, uneven share, lags, the sensor's step.
#pragma once

#include <cmath>
#include <limits>

#include "echosieve/synthesis/detail/pulse_wave.hpp"
#include "echosieve/synthesis/render.hpp"

namespace echosieve::detail {

// Symbols
//   w    pulse wave at a wall's own time, 0 to 1;  B breathing [m];  s near share;  d distension
//   [m] r_i = D / 2 + d w / 2         inner radius r_o = sqrt(r_i^2 + C)         outer radius: the
//   wall is incompressible in its cross-section,
//                                 C = r_o^2 - r_i^2 at rest
//   z_c = centre + B + (1/2 - s) d w + sensor's step: the axis, as each wall sees it
// The near wall moves by -s d w, the far one by (1 - s) d w: with a lag each has its own w.

/// One wall's circle.
struct WallCircle {
    double centre = 0;  ///< depth of its axis [m]
    double inner = 0;   ///< radius [m]
    double outer = 0;   ///< radius [m]
};

struct ArteryState {
    WallCircle near_wall;
    WallCircle far_wall;
    double near_strength = 1;  ///< factor of the wall's echoes
    double far_strength = 1;
    double tissue_wave = 0;   ///< pulse wave as the tissue has it
    double tissue_outer = 0;  ///< outer radius as the tissue has it [m]
    double breathing = 0;     ///< [m]
    double sensor_shift = 0;  ///< [m]
    WallDepths walls;         ///< on the axis; NaN without an artery
};

/// r_o at rest [m].
template <class Options>
[[nodiscard]] double rest_outer(const Options& options) noexcept {
    return options.diameter / 2 + options.wall_thickness;
}

template <class Options>
[[nodiscard]] WallCircle wall_circle(const Options& options, double wave, double breathing,
                                     double sensor_shift) noexcept {
    const double rest = options.diameter / 2;
    const double inner = rest + options.distension * wave / 2;
    const double outer =
        std::sqrt(inner * inner + rest_outer(options) * rest_outer(options) - rest * rest);
    const double centre =
        options.centre_depth + breathing + (0.5 - options.near_share) * options.distension * wave;
    return {centre + sensor_shift, inner, outer};
}

/// The state at `time` [s], `breathing` [m] given by the scene.
template <class Options>
[[nodiscard]] ArteryState artery_state(const Options& options, const PulseWave& pulse,
                                       double breathing, double time) noexcept {
    const SceneEvents& events = options.events;
    ArteryState state;
    state.breathing = breathing;
    state.sensor_shift = events.sensor_shift(time);
    const double near_time = time - options.line_delay;
    const double near_wave = pulse(near_time);
    const double far_wave = pulse(near_time - events.far_wall_lag);
    state.tissue_wave = pulse(near_time - events.tissue_lag);
    state.near_wall = wall_circle(options, near_wave, breathing, state.sensor_shift);
    state.far_wall = wall_circle(options, far_wave, breathing, state.sensor_shift);
    state.tissue_outer =
        wall_circle(options, state.tissue_wave, breathing, state.sensor_shift).outer;
    state.near_strength = 1 + events.near_strength_modulation * near_wave;
    state.far_strength = 1 + events.far_strength_modulation * far_wave;
    if (options.artery) {
        const WallCircle& a = state.near_wall;
        const WallCircle& b = state.far_wall;
        state.walls = {a.centre - a.inner, a.centre - a.outer, b.centre + b.inner,
                       b.centre + b.outer};
    } else {
        constexpr double none = std::numeric_limits<double>::quiet_NaN();
        state.walls = {none, none, none, none};
    }
    return state;
}

/// What tissue at `below` [m] under the artery's axis moves with the pulse beside the artery's push
/// [m]: of one sign at all depths.
template <class Options>
[[nodiscard]] double tissue_pulsation(const Options& options, const ArteryState& state,
                                      double below) noexcept {
    const double share = 1 + options.pulsation_gradient * below;
    return share > 0 ? options.pulsation * share * state.tissue_wave : 0;
}

}  // namespace echosieve::detail
