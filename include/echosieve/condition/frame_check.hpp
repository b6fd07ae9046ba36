// Which frames can't be trusted: dropped, frozen, clipped or not finite.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/detail/clipped_frames.hpp"
#include "echosieve/condition/detail/frame_values.hpp"
#include "echosieve/condition/options.hpp"
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

// r_n of the frames with a content of their own; `row(n)` is the baseband of the n-th of them.
template <class Row>
[[nodiscard]] std::vector<double> best_likeness(std::span<const double> energy, int neighbours,
                                                Row row) {
    std::vector<double> best(energy.size(), 0);
    for (std::size_t n = 0; n < energy.size(); ++n) {
        const std::size_t end =
            std::min(energy.size(), n + 1 + static_cast<std::size_t>(neighbours));
        for (std::size_t m = n + 1; m < end; ++m) {
            const double scale = std::sqrt(energy[n]) * std::sqrt(energy[m]);
            if (scale > 0) {
                const double r = std::abs((row(n).conjugate() * row(m)).sum()) / scale;
                best[n] = std::max(best[n], r);
                best[m] = std::max(best[m], r);
            }
        }
    }
    return best;
}

// Whether the n-th frame of these energies and likenesses is to be dropped.
[[nodiscard]] inline std::vector<bool> strange_frames(const std::vector<double>& energy,
                                                      const std::vector<double>& best,
                                                      const FrameCheckOptions& options) {
    const double median_energy = middle(energy);
    const double median_best = middle(best);
    std::vector<double> distance(best.size());
    std::transform(best.begin(), best.end(), distance.begin(),
                   [&](double r) { return std::abs(r - median_best); });
    constexpr double normal_deviation = 1.4826;  // over the median of |x|, x ~ N(0, 1)
    const double least_best =
        std::min(options.least_correlation * median_best,
                 median_best - options.deviations * normal_deviation * middle(distance));
    std::vector<bool> out;
    for (std::size_t n = 0; n < energy.size(); ++n) {
        const bool strange = energy[n] * options.energy_range < median_energy ||
                             energy[n] > options.energy_range * median_energy ||
                             best[n] < least_best;
        out.push_back(!(energy[n] > 0) || (energy.size() > 1 && strange));
    }
    return out;
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
    for (std::size_t n = 0; n < compared.size(); ++n) {
        const double sum = row(n).abs2().sum();
        energy[n] = is_finite(sum) ? sum : 0;  // a NaN has no place in a median
    }
    const std::vector<double> best = detail::best_likeness(energy, options.neighbours, row);
    const std::vector<bool> strange = detail::strange_frames(energy, best, options);
    for (std::size_t n = 0; n < compared.size(); ++n) {
        if (strange[n]) {
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
