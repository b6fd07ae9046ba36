// Synthetic recordings with known truth: a scene's echoes, noise, ring-down, dropped frames,
// quantisation.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/recurrence.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/scene.hpp"

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
    std::vector<double> times;      ///< per frame [s]
    std::vector<WallDepths> walls;  ///< per frame, on the artery's axis
    std::vector<bool> dropped;      ///< per frame
    std::vector<double> onsets;     ///< of the beats [s]
};

struct SyntheticRecording {
    Recording recording;
    Truth truth;
};

namespace detail {

// Beyond so many nepers an echo is left out: exp(-16) = 1e-7 of its peak, a hundredth of a count.
inline constexpr double render_nepers = 16;

// Larger recordings than this (2 GB of int16) are taken for a slip in the options.
inline constexpr double most_values = 1e9;

/// Adds the real echo to `frame`.
inline void render_echo(const Echo<Gabor<double>>& echo, const SamplingGrid& grid,
                        std::span<double> frame) {
    const double half = std::sqrt(render_nepers / decay(echo.atom));
    const auto clamp = [&](double index) {
        return static_cast<std::size_t>(std::clamp(index, 0.0, static_cast<double>(grid.count)));
    };
    const SampleRange range{clamp(std::ceil(grid.index(echo.atom.arrival - half))),
                            clamp(std::floor(grid.index(echo.atom.arrival + half)) + 1)};
    const double re = echo.amplitude.real();
    const double im = echo.amplitude.imag();
    for_each_by_recurrence(
        echo.atom, grid, range,
        [&](std::size_t n, double, double gr, double gi) { frame[n] += re * gr - im * gi; });
}

}  // namespace detail

/// Renders a scene: T is std::int16_t (rounded and clipped) or float (clipped). The same seed gives
/// the same bits; it may be the scene's. Each echo is exact to 1e-7 of its peak: its delay is put
/// in by its closed form, not by interpolation. `progress`, if given, is called after each frame
/// with the number of frames done and of all. Throws InvalidInput for options outside their domain,
/// and for a scene of no or of far too many samples.
template <class T>
[[nodiscard]] SyntheticRecording render(
    const Scene& scene, std::uint64_t seed, const RenderOptions& options = {},
    const std::function<void(std::size_t, std::size_t)>& progress = {}) {
    validate(options);
    const SceneOptions& scene_options = scene.options();
    const RecordingSettings& settings = scene_options.settings;
    const double wanted_frames = std::round(scene_options.duration * settings.frame_rate);
    const double wanted_samples =
        std::floor(settings.arrival(scene_options.depth_range) * settings.sampling_rate);
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
    const double top = settings.depth(settings.start_time);

    SyntheticRecording out;
    out.recording.settings = settings;
    FrameMatrix<T> matrix(frames, samples);
    Truth& truth = out.truth;
    truth.onsets = scene.pulse().onsets(scene_options.duration);

    std::vector<double> ring_down(samples);
    const double ring_level = std::pow(10, scene_options.ring_down_decibels / 20);
    for (std::size_t n = 0; n < samples; ++n) {
        const double time = grid.time(static_cast<double>(n));
        const double depth = settings.depth(time) - top;
        ring_down[n] = ring_level * std::exp(-depth / scene_options.ring_down_length) *
                       unit_phasor(settings.sensor.centre_frequency * time).real();
    }
    const double noise = std::pow(10, -scene_options.snr_decibels / 20);
    std::vector<double> frame(samples);
    RandomStream drops(seed, std::numeric_limits<std::uint64_t>::max());
    for (std::size_t i = 0; i < frames; ++i) {
        const double time = static_cast<double>(i) / settings.frame_rate;
        RandomStream random(seed, Scene::first_free_stream + i);
        const bool dropped = drops.uniform() < options.dropped_fraction;
        truth.times.push_back(time);
        truth.walls.push_back(scene.walls(time));
        truth.dropped.push_back(dropped);
        if (dropped && options.drop_kind == DropKind::repeat && i > 0) {
            std::ranges::copy(matrix[i - 1], matrix[i].begin());
            if (progress) {
                progress(i + 1, frames);
            }
            continue;
        }
        std::ranges::fill(frame, 0);
        if (!dropped) {
            std::ranges::copy(ring_down, frame.begin());
            scene.for_each_echo(time, [&](const SceneEcho& echo) {
                const Gabor<double> atom{settings.arrival(echo.depth),
                                         scene.frequency_at(echo.depth), settings.sensor.bandwidth};
                detail::render_echo({atom, echo.amplitude}, grid, frame);
            });
        }
        const bool silent = dropped && options.drop_kind != DropKind::noise;
        const auto row = matrix[i];
        for (std::size_t n = 0; n < samples; ++n) {
            const double x =
                silent ? 0 : options.wall_counts * (frame[n] + noise * random.normal());
            const double clipped = std::clamp(x, -options.full_scale - 1, options.full_scale);
            if constexpr (std::same_as<T, float>) {
                row[n] = static_cast<float>(clipped);
            } else {
                row[n] = static_cast<T>(std::lround(clipped));
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
