// Whole lines of raw samples for the benches of the conditioning.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <span>
#include <type_traits>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"

namespace bench {

/// 28.6 us at 125 MHz: 22 mm of depth. 4 MHz of centre, 1 MHz of bandwidth, 1000 frames a second.
inline constexpr std::size_t line_samples = 3571;
inline const echosieve::RecordingSettings line_settings{125e6, 1000, 9.1e-6, {4e6, 1e6}};

/// Frames of fifty echoes that hardly move, and noise that differs from frame to frame.
template <class T>
[[nodiscard]] echosieve::FrameMatrix<T> lines(std::size_t frames) {
    echosieve::RandomStream stream(7);
    const echosieve::SamplingGrid grid = line_settings.grid(line_samples);
    std::vector<double> line(line_samples, 0);
    for (int k = 0; k < 50; ++k) {
        const double arrival =
            grid.start_time + (grid.end_time() - grid.start_time) * stream.uniform();
        const echosieve::Echo<echosieve::Gabor<double>> echo{
            {arrival, 4e6, 1e6}, std::polar(3000.0, 2 * std::numbers::pi * stream.uniform())};
        echosieve::add(echo, grid, std::span<double>(line));
    }
    std::vector<double> hiss(4 * line_samples);
    for (double& x : hiss) {
        x = 200 * stream.normal();
    }
    echosieve::FrameMatrix<T> out(frames, line_samples);
    for (std::size_t i = 0; i < frames; ++i) {
        // Another part of the same noise: drawing it anew would take longer than any bench.
        const std::size_t first = (i * 7919) % (3 * line_samples);
        for (std::size_t n = 0; n < line_samples; ++n) {
            out[i][n] = static_cast<T>(std::clamp(line[n] + hiss[first + n], -32768.0, 32767.0));
        }
    }
    return out;
}

}  // namespace bench
