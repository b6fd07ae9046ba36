// Synthetic recordings with known truth: what a scene must have to be rendered, what may go wrong
// during a recording, and the recording itself: echoes, noise, ring-down, dropped frames,
// quantisation.
#pragma once

#include <algorithm>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <numbers>
#include <span>
#include <utility>
#include <vector>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/line_streams.hpp"
#include "echosieve/synthesis/detail/pulse_wave.hpp"
#include "echosieve/synthesis/detail/rendering.hpp"
#include "echosieve/synthesis/detail/scene_checks.hpp"

namespace echosieve {

// Symbols
//   S(u) = (1 - cos(pi u)) / 2 for u in 0 .. 1, 0 before, 1 after: a smooth step
//   contact:  level(t) = 10^(L c(t) / 20),  c(t) = S((t - t_0) / e) - S((t - t_0 - T) / e)
//   sensor:   depth of everything += step S((t - t_s) / 50 ms), truth included
//   strength: a wall's amplitude *= 1 + m w(t), w the pulse wave, 0 to 1
// All of it is off by default, and then changes no bit of a rendered recording.

namespace detail {

[[nodiscard]] inline double smooth_step(double u) noexcept {
    return (1 - std::cos(std::numbers::pi * std::clamp(u, 0.0, 1.0))) / 2;
}

}  // namespace detail

/// Ectopic beats are part of PulseWaveOptions, dropped frames of RenderOptions.
struct SceneEvents {
    double contact_loss_start = 0;      ///< t_0 [s]
    double contact_loss_length = 0.25;  ///< T, from the fall's begin to the rise's [s]
    /// L, of all echoes (not of noise and ring-down) while contact is lost [dB], 0 or less; 0: off
    double contact_loss_decibels = 0;
    double near_strength_modulation = 0;  ///< m of the near wall's echoes, -1 to 1
    double far_strength_modulation = 0;   ///< m of the far wall's echoes, -1 to 1
    double far_wall_lag = 0;  ///< of the far wall's pulse after the near wall's [s]; truth follows
    double tissue_lag = 0;    ///< of the tissue's pulse after the near wall's [s]
    /// extra path of a second, weaker echo of all that the frame holds [m]; 0: off. It is rounded
    /// to a whole sample, and echoes of less depth than the first sample have none.
    double reverberation_depth = 0;
    double reverberation_decibels = -20;  ///< level of that second echo over the first [dB]
    /// rms, normal, the same for the whole frame, ring-down included [s]; the truth does not follow
    double trigger_jitter = 0;
    double sensor_step_time = 0;  ///< t_s [s]
    double sensor_step = 0;       ///< of the sensor, upwards: all depths grow [m]; truth follows
    double clipped_fraction = 0;  ///< chance that a frame's gain bursts
    double clipped_gain_decibels = 40;  ///< of the burst, so that the converter clips [dB]

    /// Factor of all echoes' amplitudes at `time` [s]: 1 unless contact is lost.
    [[nodiscard]] double contact_level(double time) const noexcept {
        const double u = (time - contact_loss_start) / contact_edge;
        const double lost =
            detail::smooth_step(u) - detail::smooth_step(u - contact_loss_length / contact_edge);
        return contact_loss_decibels == 0 ? 1 : std::pow(10, contact_loss_decibels * lost / 20);
    }
    /// What `time` [s] has of the sensor's step [m].
    [[nodiscard]] double sensor_shift(double time) const noexcept {
        return sensor_step * detail::smooth_step((time - sensor_step_time) / sensor_step_rise);
    }

    static constexpr double contact_edge = 0.02;      ///< e [s]
    static constexpr double sensor_step_rise = 0.05;  ///< [s]
};

/// Throws InvalidInput, naming option, value and limit.
inline void validate(const SceneEvents& events) {
    using detail::require_within;
    require(is_finite(events.contact_loss_start), "contact_loss_start", events.contact_loss_start,
            "must be finite [s]");
    require(events.contact_loss_length > 0 && is_finite(events.contact_loss_length),
            "contact_loss_length", events.contact_loss_length, "must be positive and finite [s]");
    require_within(events.contact_loss_decibels, -400, 0, "contact_loss_decibels", " [dB]");
    require_within(events.near_strength_modulation, -1, 1, "near_strength_modulation", "");
    require_within(events.far_strength_modulation, -1, 1, "far_strength_modulation", "");
    require_within(events.far_wall_lag, -0.1, 0.2, "far_wall_lag", " [s]");
    require_within(events.tissue_lag, -0.1, 0.2, "tissue_lag", " [s]");
    require_within(events.reverberation_depth, 0, 0.1, "reverberation_depth", " [m]");
    require_within(events.reverberation_decibels, -400, 0, "reverberation_decibels", " [dB]");
    require_within(events.trigger_jitter, 0, 1e-6, "trigger_jitter", " [s]");
    require(is_finite(events.sensor_step_time), "sensor_step_time", events.sensor_step_time,
            "must be finite [s]");
    require_within(events.sensor_step, -5e-3, 5e-3, "sensor_step", " [m]");
    require_within(events.clipped_fraction, 0, 1, "clipped_fraction", "");
    require_within(events.clipped_gain_decibels, 0, 120, "clipped_gain_decibels", " [dB]");
}

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

/// What a dropped frame holds: zeros, the receiver's noise alone, or the frame before it once more
/// (zeros, where there is none before it).
enum class DropKind { zeros, noise, repeat };

struct RenderOptions {
    double full_scale =
        8191;  ///< clipping level of the converter [counts]; int16 allows up to 32767
    double wall_counts = 2000;    ///< peak of a wall's outer layer [counts]
    double dropped_fraction = 0;  ///< chance that a frame is dropped
    DropKind drop_kind = DropKind::zeros;
};

inline void validate(const RenderOptions& options) {
    require(options.full_scale >= 1 && options.full_scale <= 32767, "full_scale",
            options.full_scale, "must lie in [1, 32767] [counts]");
    require(options.wall_counts > 0 && options.wall_counts <= options.full_scale, "wall_counts",
            options.wall_counts, "must be positive and not exceed full_scale [counts]");
    require(options.dropped_fraction >= 0 && options.dropped_fraction < 1, "dropped_fraction",
            options.dropped_fraction, "must lie in [0, 1)");
}

/// What is true of a synthetic recording.
struct Truth {
    std::vector<double> times;           ///< per frame [s]
    std::vector<WallDepths> walls;       ///< per frame, on the artery's axis; NaN without an artery
    std::vector<bool> dropped;           ///< per frame
    std::vector<double> onsets;          ///< of the beats, at this line [s]
    std::vector<double> ectopic_onsets;  ///< of those that are ectopic [s]
    std::vector<bool> clipped;           ///< per frame: its gain burst
    std::vector<double> trigger_delays;  ///< per frame, of all its echoes beside the truth [s]
    /// from a wall's depth to the depth at which its echo's envelope peaks, constant: 0 for a
    /// symmetric pulse [m]
    double peak_lag = 0;
};

struct SyntheticRecording {
    Recording recording;
    Truth truth;
};

/// Renders a scene: T is std::int16_t (rounded and clipped) or float (clipped). The same seed gives
/// the same bits; it may be the scene's. Each echo's delay is put in by its closed form, not by
/// interpolation. `progress`, if given, is called after each frame with the number of frames done
/// and of all. Throws InvalidInput for options outside their domain, and for a scene of no or of
/// far too many samples.
template <class T, RenderableScene S>
[[nodiscard]] SyntheticRecording render(
    const S& scene, std::uint64_t seed, const RenderOptions& options = {},
    const std::function<void(std::size_t, std::size_t)>& progress = {}) {
    validate(options);
    const typename S::Options& of = scene.options();
    const double frames = detail::frames_of(of);
    const double samples = detail::samples_of(of);
    require(frames >= 1, "number of frames", frames, "must be at least 1: lengthen the duration");
    require(samples >= 1, "samples a frame", samples,
            "must be at least 1: lengthen the depth range");
    require(frames * samples <= detail::most_values, "frames * samples a frame", frames * samples,
            detail::concatenate("must not exceed ", detail::most_values));

    SyntheticRecording out;
    out.recording.settings = of.settings;
    FrameMatrix<T> matrix(static_cast<std::size_t>(frames), static_cast<std::size_t>(samples));
    Truth& truth = out.truth;
    const double delay = detail::line_delay_of(of);
    truth.onsets = scene.pulse().onsets(of.duration, delay);
    truth.ectopic_onsets = scene.pulse().ectopic_onsets(of.duration, delay);
    truth.peak_lag = scene.peak_lag();
    detail::FrameRenderer<S> renderer(scene, matrix.samples(), seed);
    for (std::size_t i = 0; i < matrix.frames(); ++i) {
        const detail::FrameFate fate = renderer.next_fate(options.dropped_fraction);
        truth.times.push_back(renderer.time_of(i));
        truth.walls.push_back(scene.walls(truth.times.back()));
        truth.dropped.push_back(fate.dropped);
        truth.trigger_delays.push_back(fate.delay);
        truth.clipped.push_back(fate.clipped);
        if (fate.dropped && options.drop_kind == DropKind::repeat && i > 0) {
            std::ranges::copy(matrix[i - 1], matrix[i].begin());
        } else {
            const bool silent = fate.dropped && options.drop_kind != DropKind::noise;
            const detail::Converter converter{silent ? 0 : options.wall_counts, options.full_scale};
            renderer.write(i, fate, converter, matrix[i]);
        }
        if (progress) {
            progress(i + 1, matrix.frames());
        }
    }
    out.recording.samples = std::move(matrix);
    return out;
}

}  // namespace echosieve
