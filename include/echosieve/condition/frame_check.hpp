// Which frames can't be trusted: dropped, frozen, clipped or not finite.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>
#include <type_traits>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/detail/pinned_samples.hpp"
#include "echosieve/condition/frame_state.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

// Symbols
//   y_i  baseband of frame i;  e_i = |y_i|^2
//   r_i  max of |<y_i, y_j>| / (|y_i| |y_j|) over the nearest frames j != i, `neighbours` of them
//        on each side, frozen and not finite ones not counted
//   m, d median of r, and 1.4826 times the median of |r - m|
//
// Echoes hardly change from one frame to the next, so a frame that is unlike all its neighbours
// holds no echo. Common practice, no source.

namespace detail {

// The upper median; 0 of nothing.
[[nodiscard]] inline double middle(std::vector<double> values) {
    if (values.empty()) {
        return 0;
    }
    const auto place = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), place, values.end());
    return *place;
}

template <class T>
[[nodiscard]] bool all_finite(std::span<const T> frame) noexcept {
    if constexpr (std::is_floating_point_v<T>) {
        bool all = true;  // no early end: so it is vectorised
        for (const T x : frame) {
            all &= is_finite(x);
        }
        return all;
    } else {
        return true;
    }
}

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

}  // namespace detail

/// State of each frame. `frames` are the raw samples, `baseband` the same frames conditioned.
///
/// Where several states apply, not_finite comes before dropped, frozen and clipped, in this order.
/// A single frame has no neighbours and is dropped only if it holds nothing. Medians are the
/// yardstick, so more than half of the frames must hold echoes. Frames of noise alone, as strong
/// as the echoes, are found as long as the recording's r stands clear of theirs: lines of L
/// samples at the baseband's rate reach some 2 / sqrt(L) by chance. At a signal-to-noise ratio
/// in the baseband below 3 dB they may pass; good frames are not lost there either. A recording
/// whose amplitude is below 100 counts and stored as float may show flat tops that are no clipping.
/// Samples so large that the baseband overflows count as no energy. Throws InvalidInput for options
/// outside their domain, or if the numbers of frames differ.
template <class T, Real R>
[[nodiscard]] std::vector<FrameState> check_frames(const FrameView<T>& frames,
                                                   const Baseband<R>& baseband,
                                                   const FrameCheckOptions& options = {}) {
    validate(options);
    const std::size_t count = frames.frames();
    require(static_cast<std::size_t>(baseband.samples.rows()) == count, "baseband frames",
            baseband.samples.rows(), detail::concatenate("must equal the raw frames, ", count));
    std::vector<FrameState> states(count, FrameState::good);
    std::vector<std::size_t> compared;  // frames with a content of their own
    for (std::size_t i = 0; i < count; ++i) {
        const auto frame = frames[i];
        if (!detail::all_finite(frame)) {
            states[i] = FrameState::not_finite;
        } else if (i > 0 && std::equal(frame.begin(), frame.end(), frames[i - 1].begin())) {
            states[i] = FrameState::frozen;
        } else {
            compared.push_back(i);
        }
    }
    detail::mark_clipped(frames, baseband.settings, options, states);

    const auto row = [&](std::size_t n) {
        return baseband.samples.row(static_cast<Eigen::Index>(compared[n]))
            .template cast<std::complex<double>>();
    };
    std::vector<double> energy(compared.size(), 0);
    std::vector<double> best(compared.size(), 0);
    for (std::size_t n = 0; n < compared.size(); ++n) {
        const double sum = row(n).abs2().sum();
        energy[n] = is_finite(sum) ? sum : 0;  // a NaN has no place in a median
    }
    for (std::size_t n = 0; n < compared.size(); ++n) {
        const std::size_t end =
            std::min(compared.size(), n + 1 + static_cast<std::size_t>(options.neighbours));
        for (std::size_t m = n + 1; m < end; ++m) {
            const double scale = std::sqrt(energy[n]) * std::sqrt(energy[m]);
            if (scale > 0) {
                const double r = std::abs((row(n).conjugate() * row(m)).sum()) / scale;
                best[n] = std::max(best[n], r);
                best[m] = std::max(best[m], r);
            }
        }
    }
    const double median_energy = detail::middle(energy);
    const double median_best = detail::middle(best);
    std::vector<double> distance(best.size());
    std::transform(best.begin(), best.end(), distance.begin(),
                   [&](double r) { return std::abs(r - median_best); });
    const double least_best =
        std::min(options.least_correlation * median_best,
                 median_best - options.deviations * 1.4826 * detail::middle(distance));
    for (std::size_t n = 0; n < compared.size(); ++n) {
        const bool strange = energy[n] * options.energy_range < median_energy ||
                             energy[n] > options.energy_range * median_energy ||
                             best[n] < least_best;
        if (!(energy[n] > 0) || (compared.size() > 1 && strange)) {
            states[compared[n]] = FrameState::dropped;
        }
    }
    for (std::size_t i = 1; i < count; ++i) {
        if (states[i] == FrameState::frozen && states[i - 1] == FrameState::dropped) {
            states[i] = FrameState::dropped;
        }
    }
    return states;
}

}  // namespace echosieve
