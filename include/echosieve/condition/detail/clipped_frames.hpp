// Which frames are clipped: pinned at the recording's extremes where it is not the ring-down.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <type_traits>
#include <vector>

#include "echosieve/condition/detail/pinned_samples.hpp"
#include "echosieve/condition/options.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve::detail {

// Marks the good frames that are clipped.
template <class T>
void mark_clipped(const FrameView<T>& frames, const RecordingSettings& settings,
                  const FrameCheckOptions& options, std::vector<FrameState>& states) {
    std::vector<Extremes<T>> of_frame(states.size());
    Extremes<T> all;
    for (std::size_t i = 0; i < states.size(); ++i) {
        if (states[i] != FrameState::not_finite) {
            of_frame[i] = extremes(frames[i]);
            all.take(of_frame[i]);
        }
    }
    const auto [low, high] = all;
    if (!(high > low)) {
        return;
    }
    // The rounded top of a sinusoid of A counts is flat over (samples a cycle / pi) sqrt(2 / A)
    // samples.
    std::size_t run = shortest_flat_run;
    if constexpr (std::is_integral_v<T>) {
        // About the middle: the samples may stand off zero.
        const double top =
            std::max(1.0, (static_cast<double>(high) - static_cast<double>(low)) / 2);
        const double cycle = settings.sampling_rate / settings.sensor.centre_frequency;
        run += static_cast<std::size_t>(std::ceil(cycle / std::numbers::pi * std::sqrt(2 / top)));
    }
    const auto touches = [&, low = low, high = high](std::size_t i) {
        return of_frame[i].low == low || of_frame[i].high == high;
    };
    std::vector<std::size_t> pinned(frames.samples(), 0);
    std::size_t looked_at = 0;
    for (std::size_t i = 0; i < states.size(); ++i) {
        if (states[i] == FrameState::good) {
            ++looked_at;
            if (touches(i)) {
                for_each_pinned(frames[i], low, high, run, [&](std::size_t k) { ++pinned[k]; });
            }
        }
    }
    const double saturated = options.saturated_part * static_cast<double>(looked_at);
    for (std::size_t i = 0; i < states.size(); ++i) {
        if (states[i] != FrameState::good || !touches(i)) {
            continue;
        }
        std::size_t clipped = 0;
        for_each_pinned(frames[i], low, high, run, [&](std::size_t k) {
            const bool ring_down = looked_at > 1 && static_cast<double>(pinned[k]) >= saturated;
            clipped += ring_down ? 0 : 1;
        });
        if (static_cast<double>(clipped) >
            options.clipped_fraction * static_cast<double>(frames.samples())) {
            states[i] = FrameState::clipped;
        }
    }
}

}  // namespace echosieve::detail
