// Small recordings and the tracker's options from a fuzzer's bytes.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numbers>
#include <span>
#include <utility>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/block_motion.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "input.hpp"

namespace echosieve::fuzz {

inline constexpr std::size_t most_frames = 256;
inline constexpr std::size_t most_samples = 512;

/// Usually 12 MHz, 100 frames a second, 4 MHz and 1 MHz, from 5 mm on: few samples that hold an
/// artery all the same.
[[nodiscard]] inline RecordingSettings any_settings(FuzzInput& in) {
    RecordingSettings settings;
    const bool usual = in.byte() < 128;
    settings.sampling_rate = usual ? 12e6 : in.number(12e6);
    settings.frame_rate = usual ? 100 : in.number(100);
    settings.start_time = usual ? 6.5e-6 : in.number(6.5e-6);
    settings.sensor.centre_frequency = usual ? 4e6 : in.number(4e6);
    settings.sensor.bandwidth = usual ? 1e6 : in.number(1e6);
    settings.sound_speed = usual ? 1540 : in.number(1540);
    if (in.byte() >= 200) {
        settings.sensor.pulse_delay = in.number(3e-7);
    }
    return settings;
}

/// A pulse of 72 a minute, 0 to 1: up in 0.1 s, down exponentially.
[[nodiscard]] inline double beat_at(double time) {
    const double t = time - std::floor(time * 1.2) / 1.2;
    return t < 0.1 ? (1 - std::cos(std::numbers::pi * t / 0.1)) / 2 : std::exp(-(t - 0.1) / 0.25);
}

/// What an echo of the line is and does.
struct Reflector {
    double depth = 0;      // [m]
    double pulse = 0;      // [m]
    double bulk = 0;       // share of the breathing
    double amplitude = 0;  // [counts]
};

/// An artery from 10 to 16 mm in tissue that follows it in part.
[[nodiscard]] inline std::vector<Reflector> any_line(FuzzInput& in) {
    std::vector<Reflector> line;
    RandomStream random(in.byte(), 2);
    const double tissue = in.between(0, 300);
    const double walls = in.between(600, 0);
    const double distension = in.between(4e-4, 0);
    for (double z = 5e-3; z < 24e-3; z += 0.4e-3) {
        const double up = z < 13e-3 ? -0.3 * std::exp(-std::abs(z - 10e-3) / 4e-3)
                                    : 0.3 * std::exp(-std::abs(z - 16e-3) / 4e-3);
        line.push_back({z + 1e-4 * random.normal(), up * distension, 1, tissue * random.normal()});
    }
    line.push_back({10e-3, -0.4 * distension, 1, walls});
    line.push_back({16e-3, 0.6 * distension, 1, walls});
    return line;
}

/// Renders it in the plausible units of the usual settings, whatever the recording claims.
[[nodiscard]] inline std::vector<double> render_line(FuzzInput& in, std::size_t frames,
                                                     std::size_t samples) {
    constexpr double rate = 12e6;
    constexpr double start = 6.5e-6;
    const std::vector<Reflector> line = any_line(in);
    const double breathing = in.between(2e-4, 0);
    const double noise = in.between(10, 300);
    RandomStream random(in.byte(), 3);
    std::vector<double> out(frames * samples);
    for (double& x : out) {
        x = noise * random.normal();
    }
    for (std::size_t i = 0; i < frames; ++i) {
        const double time = static_cast<double>(i) / 100;
        const double bulk = breathing * std::sin(2 * std::numbers::pi * 0.3 * time);
        for (const Reflector& r : line) {
            const double place =
                (2 / 1540.0 * (r.depth + r.pulse * beat_at(time) + r.bulk * bulk) - start) * rate;
            const double first = std::max(0.0, std::ceil(place - 18));
            const double last = std::min(static_cast<double>(samples), std::floor(place + 18));
            for (double n = first; n < last; ++n) {
                const double u = (n - place) / rate;
                out[i * samples + static_cast<std::size_t>(n)] +=
                    r.amplitude * std::exp(-3.57e12 * u * u) *
                    std::cos(2 * std::numbers::pi * 4e6 * u);
            }
        }
    }
    return out;
}

/// Frames lost, repeated, cut off or strange.
template <class T>
void spoil_frames(FuzzInput& in, FrameMatrix<T>& frames) {
    if (frames.frames() == 0 || frames.samples() == 0) {
        return;
    }
    const std::size_t places = in.count(0, 6);
    for (std::size_t k = 0; k < places; ++k) {
        const std::size_t first = in.count(0, 65535) % frames.frames();
        const std::size_t last = std::min(frames.frames(), first + in.count(1, 80));
        const int kind = in.byte() % 5;
        for (std::size_t i = first; i < last; ++i) {
            const std::span<T> frame = frames[i];
            if (kind == 0) {
                std::ranges::fill(frame, T{0});
            } else if (kind == 1 && i > 0) {
                std::ranges::copy(frames[i - 1], frame.begin());
            } else if (kind == 2) {
                for (T& x : frame) {
                    x = std::clamp(x, T{-100}, T{100});
                }
            } else if (kind == 3) {
                std::ranges::reverse(frame);
            } else {
                spoil(in, frame);
            }
        }
    }
}

/// Of so many frames, usually.
[[nodiscard]] inline Recording any_recording(FuzzInput& in, std::size_t usual_frames = 160) {
    Recording recording;
    recording.settings = any_settings(in);
    const std::size_t frames = in.byte() < 200 ? usual_frames : in.count(0, most_frames);
    const std::size_t samples = in.byte() < 200 ? 210 : in.count(0, most_samples);
    const int kind = in.byte();
    std::vector<double> values;
    if (kind < 200) {
        values = render_line(in, frames, samples);
    } else {
        values = any_samples<double>(in, frames * samples);
    }
    const auto take = [&]<class T>(T) {
        const auto low = static_cast<double>(std::numeric_limits<T>::lowest());
        const auto high = static_cast<double>(std::numeric_limits<T>::max());
        std::vector<T> made;
        for (const double x : values) {
            made.push_back(x != x ? T{0} : static_cast<T>(std::clamp(x, low, high)));
        }
        FrameMatrix<T> matrix(std::move(made), frames, samples);
        spoil_frames(in, matrix);
        recording.samples = std::move(matrix);
    };
    if (in.flag()) {
        take(float{});
    } else {
        take(std::int16_t{});
    }
    return recording;
}

/// Most options as they are, some anything.
[[nodiscard]] inline TrackOptions any_track_options(FuzzInput& in) {
    TrackOptions options;
    const std::size_t changes = in.count(0, 4);
    const std::array numbers = {
        &options.baseband.cutoff,
        &options.baseband.rate,
        &options.frames.least_correlation,
        &options.frames.deviations,
        &options.frames.energy_range,
        &options.frames.clipped_fraction,
        &options.frames.saturated_part,
        &options.contact.smoothing,
        &options.contact.least_coherence,
        &options.contact.surroundings,
        &options.averaging,
        &options.walls.dead_zone,
        &options.walls.smallest_diameter,
        &options.walls.largest_diameter,
        &options.walls.scan_spacing,
        &options.walls.smallest_motion,
        &options.walls.smallest_distension,
        &options.walls.smallest_share,
        &options.walls.least_evidence,
        &options.walls.interval,
        &options.walls.longest_interval,
        &options.separation.tissue_half_gate,
        &options.separation.tissue_spacing,
        &options.separation.wall_distance,
        &options.separation.bulk_reach,
        &options.wall_motion.cutoff,
        &options.wall_motion.spread,
        &options.echoes.spread,
        &options.echoes.least_energy,
        &options.pulse.piece,
        &options.pulse.largest_shift,
        &options.least_correlation,
        &options.motion.slow_frequency,
        &options.motion.fastest_stretch,
        &options.search.least_promise,
    };
    for (std::size_t k = 0; k < changes; ++k) {
        double& number = *numbers[in.byte() % numbers.size()];
        number = in.number(number);
    }
    if (in.byte() >= 200) {
        options.walls.near_range = {in.number(9e-3), in.number(11e-3)};
        options.walls.far_range = {in.number(15e-3), in.number(17e-3)};
    }
    if (in.byte() >= 200) {
        options.separation.rounds = in.whole(3);
        options.separation.fine_rounds = in.whole(5);
        options.frames.neighbours = in.whole(5);
        options.motion.reweightings = in.whole(10);
        options.echoes.atoms = in.number_of(6);
        options.search.most_candidates = in.number_of(5);
    }
    const int smoothing = in.byte();
    if (smoothing >= 220) {
        options.smoothing = GaussianSmoothing{in.number(3e-3)};
    } else if (smoothing >= 200) {
        options.smoothing = MovingAverage{static_cast<long>(in.whole(60))};
    }
    return options;
}

}  // namespace echosieve::fuzz
