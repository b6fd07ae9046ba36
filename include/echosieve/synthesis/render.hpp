// Synthetic recordings with known truth: a scene's echoes, noise, ring-down, dropped frames,
// quantisation.
#pragma once

#include <algorithm>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/scene_checks.hpp"
#include "echosieve/synthesis/renderable_scene.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "echosieve/synthesis/scene_events.hpp"

namespace echosieve {

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
    std::vector<double> onsets;          ///< of the beats [s]
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

namespace detail {

/// The ring-down on `grid`, in units of the outer layer's peak.
template <class Options>
void write_ring_down(const Options& options, const SamplingGrid& grid, std::span<double> out) {
    const RecordingSettings& settings = options.settings;
    const double top = settings.depth(settings.start_time);
    const double level = std::pow(10, options.ring_down_decibels / 20);
    for (std::size_t n = 0; n < grid.count; ++n) {
        const double time = grid.time(static_cast<double>(n));
        const double depth = settings.depth(time) - top;
        out[n] = level * std::exp(-depth / options.ring_down_length) *
                 unit_phasor(settings.sensor.centre_frequency * time).real();
    }
}

/// Adds the scene's echoes at `time` to `frame` by way of contact and reverberation; `echoes` is
/// memory to work in.
template <class S>
void add_frame(const S& scene, double time, const SamplingGrid& grid, std::span<double> echoes,
               std::span<double> frame) {
    const SceneEvents& events = scene.options().events;
    const double level = events.contact_level(time);
    if (level == 1 && events.reverberation_depth == 0) {
        scene.add_echoes(time, grid, frame);
        return;
    }
    std::ranges::fill(echoes, 0);
    scene.add_echoes(time, grid, echoes);
    for (std::size_t n = 0; n < grid.count; ++n) {
        frame[n] += level * echoes[n];
    }
    if (events.reverberation_depth > 0) {
        const double second = level * std::pow(10, events.reverberation_decibels / 20);
        const auto delay = static_cast<std::size_t>(std::lround(
            scene.options().settings.arrival(events.reverberation_depth) * grid.sampling_rate));
        for (std::size_t n = delay; n < grid.count; ++n) {
            frame[n] += second * echoes[n - delay];
        }
    }
}

}  // namespace detail

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
    const typename S::Options& scene_options = scene.options();
    const RecordingSettings& settings = scene_options.settings;
    const SceneEvents& events = scene_options.events;
    const double wanted_frames = detail::frames_of(scene_options);
    const double wanted_samples = detail::samples_of(scene_options);
    require(wanted_frames >= 1, "number of frames", wanted_frames,
            "must be at least 1: lengthen the duration");
    require(wanted_samples >= 1, "samples a frame", wanted_samples,
            "must be at least 1: lengthen the depth range");
    require(wanted_frames * wanted_samples <= detail::most_values, "frames * samples a frame",
            wanted_frames * wanted_samples,
            detail::concatenate("must not exceed ", detail::most_values));
    const auto frames = static_cast<std::size_t>(wanted_frames);
    const auto samples = static_cast<std::size_t>(wanted_samples);
    const SamplingGrid grid = settings.grid(samples);

    SyntheticRecording out;
    out.recording.settings = settings;
    FrameMatrix<T> matrix(frames, samples);
    Truth& truth = out.truth;
    truth.onsets = scene.pulse().onsets(scene_options.duration);
    truth.ectopic_onsets = scene.pulse().ectopic_onsets(scene_options.duration);
    truth.peak_lag = scene.peak_lag();

    std::vector<double> ring_down(samples);
    detail::write_ring_down(scene_options, grid, ring_down);
    const double noise = std::pow(10, -scene_options.snr_decibels / 20);
    const double burst = std::pow(10, events.clipped_gain_decibels / 20);
    std::vector<double> frame(samples);
    std::vector<double> echoes(samples);
    constexpr std::uint64_t last_stream = std::numeric_limits<std::uint64_t>::max();
    RandomStream drops(seed, last_stream);
    RandomStream triggers(seed, last_stream - 1);
    RandomStream bursts(seed, last_stream - 2);
    for (std::size_t i = 0; i < frames; ++i) {
        const double time = static_cast<double>(i) / settings.frame_rate;
        RandomStream random(seed, S::first_free_stream + i);
        const bool dropped = drops.uniform() < options.dropped_fraction;
        const double delay = events.trigger_jitter * triggers.normal();
        const bool clipped = bursts.uniform() < events.clipped_fraction;
        truth.times.push_back(time);
        truth.walls.push_back(scene.walls(time));
        truth.dropped.push_back(dropped);
        truth.trigger_delays.push_back(delay);
        truth.clipped.push_back(clipped);
        if (dropped && options.drop_kind == DropKind::repeat && i > 0) {
            std::ranges::copy(matrix[i - 1], matrix[i].begin());
            if (progress) {
                progress(i + 1, frames);
            }
            continue;
        }
        std::ranges::fill(frame, 0);
        if (!dropped) {
            SamplingGrid own = grid;  // the frame's echoes come later by `delay`
            own.start_time -= delay;
            if (delay != 0) {
                detail::write_ring_down(scene_options, own, ring_down);
            }
            std::ranges::copy(ring_down, frame.begin());
            detail::add_frame(scene, time, own, echoes, frame);
        }
        const bool silent = dropped && options.drop_kind != DropKind::noise;
        const double counts = clipped ? burst * options.wall_counts : options.wall_counts;
        const auto row = matrix[i];
        for (std::size_t n = 0; n < samples; ++n) {
            const double x = silent ? 0 : counts * (frame[n] + noise * random.normal());
            const double limited = std::clamp(x, -options.full_scale - 1, options.full_scale);
            if constexpr (std::same_as<T, float>) {
                row[n] = static_cast<float>(limited);
            } else {
                row[n] = static_cast<T>(std::lround(limited));
            }
        }
        if (progress) {
            progress(i + 1, frames);
        }
    }
    out.recording.samples = std::move(matrix);
    return out;
}

}  // namespace echosieve
