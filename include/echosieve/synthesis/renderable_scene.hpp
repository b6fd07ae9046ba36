// What `render` asks of a scene, whatever its physics.
#pragma once

#include <concepts>
#include <cstddef>
#include <cstdint>
#include <span>

#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/pulse_wave.hpp"
#include "echosieve/synthesis/scene_events.hpp"

namespace echosieve {

/// Depths at one time [m]; NaN in a scene without an artery.
struct WallDepths {
    double near_inner = 0;
    double near_outer = 0;
    double far_inner = 0;
    double far_outer = 0;
};

/// The options that every scene has, whatever else it has.
template <class O>
concept RenderableOptions = requires(const O& options) {
    { options.settings } -> std::convertible_to<RecordingSettings>;
    { options.duration } -> std::convertible_to<double>;            // [s]
    { options.depth_range } -> std::convertible_to<double>;         // from settings.start_time [m]
    { options.snr_decibels } -> std::convertible_to<double>;        // 1 over rms of a raw sample
    { options.ring_down_decibels } -> std::convertible_to<double>;  // first sample over 1
    { options.ring_down_length } -> std::convertible_to<double>;    // [m]
    { options.events } -> std::convertible_to<SceneEvents>;
};

/// A scene: options(), pulse(), walls(time), peak_lag() and add_echoes(time, grid, frame), which
/// adds the real echoes of `time` [s] to the frame's samples, in units of the outer layer's peak at
/// rest. It draws from the streams of its seed below first_free_stream.
template <class S>
concept RenderableScene =
    requires(const S& scene, double time, const SamplingGrid& grid, std::span<double> frame) {
        requires RenderableOptions<typename S::Options>;
        { scene.options() } -> std::same_as<const typename S::Options&>;
        { scene.pulse() } -> std::same_as<const PulseWave&>;
        { scene.walls(time) } -> std::same_as<WallDepths>;
        // From a wall's depth to the depth at which its echo's envelope peaks [m].
        { scene.peak_lag() } -> std::same_as<double>;
        { scene.echo_count() } -> std::same_as<std::size_t>;
        { scene.add_echoes(time, grid, frame) } -> std::same_as<void>;
        { S::first_free_stream } -> std::convertible_to<std::uint64_t>;
    };

}  // namespace echosieve
