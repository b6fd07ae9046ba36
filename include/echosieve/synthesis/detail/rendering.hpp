// The frames of a synthetic recording, one after the other.
#pragma once

#include <algorithm>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/line_streams.hpp"

namespace echosieve::detail {

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
    const auto& events = scene.options().events;
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

/// What goes wrong in one frame.
struct FrameFate {
    bool dropped = false;
    double delay = 0;  // of all its echoes [s]
    bool clipped = false;
};

/// From units of the outer layer's peak to counts; a gain of 0 is silence.
struct Converter {
    double gain = 0;
    double full_scale = 0;

    template <class T>
    [[nodiscard]] T operator()(double x) const noexcept {
        const double limited = std::clamp(gain * x, -full_scale - 1, full_scale);
        if constexpr (std::same_as<T, float>) {
            return static_cast<float>(limited);
        } else {
            return static_cast<T>(std::lround(limited));
        }
    }
};

/// Frame number i draws its noise from stream first_free_stream + i of the seed; what goes wrong,
/// from the last streams.
template <class S>
class FrameRenderer {
public:
    FrameRenderer(const S& scene, std::size_t samples, std::uint64_t seed)
        : scene_(scene),
          grid_(scene.options().settings.grid(samples)),
          seed_(seed),
          line_(line_of(scene.options())),
          drops_(seed, line_stream(line_, last_stream)),
          triggers_(seed, line_stream(line_, last_stream - 1)),
          bursts_(seed, line_stream(line_, last_stream - 2)),
          noise_(std::pow(10, -scene.options().snr_decibels / 20)),
          burst_(std::pow(10, scene.options().events.clipped_gain_decibels / 20)),
          ring_down_(samples),
          frame_(samples),
          echoes_(samples) {
        write_ring_down(scene.options(), grid_, ring_down_);
    }

    [[nodiscard]] double time_of(std::size_t i) const noexcept {
        return static_cast<double>(i) / scene_.options().settings.frame_rate;
    }
    [[nodiscard]] FrameFate next_fate(double dropped_fraction) {
        const bool dropped = drops_.uniform() < dropped_fraction;
        const double delay = scene_.options().events.trigger_jitter * triggers_.normal();
        return {dropped, delay, bursts_.uniform() < scene_.options().events.clipped_fraction};
    }

    /// Frame number i.
    template <class T>
    void write(std::size_t i, const FrameFate& fate, Converter converter, std::span<T> out) {
        if (converter.gain == 0) {
            std::ranges::fill(out, T{0});
            return;
        }
        RandomStream random(seed_, line_stream(line_, S::first_free_stream + i));
        std::ranges::fill(frame_, 0);
        if (!fate.dropped) {
            SamplingGrid own = grid_;  // the frame's echoes come later by the delay
            own.start_time -= fate.delay;
            if (fate.delay != 0) {
                write_ring_down(scene_.options(), own, ring_down_);
            }
            std::ranges::copy(ring_down_, frame_.begin());
            add_frame(scene_, time_of(i), own, echoes_, frame_);
        }
        // What a scene's receiver does by itself, if it says so.
        if constexpr (requires { scene_.add_interference(0.0, grid_, std::span<double>{}); }) {
            scene_.add_interference(time_of(i), grid_, frame_);
        }
        if constexpr (requires { scene_.gain(0.0); }) {
            converter.gain *= scene_.gain(time_of(i));
        }
        converter.gain *= fate.clipped ? burst_ : 1;
        for (std::size_t n = 0; n < out.size(); ++n) {
            out[n] = converter.template operator()<T>(frame_[n] + noise_ * random.normal());
        }
    }

private:
    static constexpr std::uint64_t last_stream = std::numeric_limits<std::uint64_t>::max();

    const S& scene_;
    SamplingGrid grid_;
    std::uint64_t seed_;
    std::uint64_t line_;
    RandomStream drops_;
    RandomStream triggers_;
    RandomStream bursts_;
    double noise_;  // standard deviation, over the outer layer's peak
    double burst_;  // of the gain
    std::vector<double> ring_down_;
    std::vector<double> frame_;
    std::vector<double> echoes_;
};

}  // namespace echosieve::detail
