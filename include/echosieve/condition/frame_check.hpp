// Which frames can't be trusted: dropped, frozen, clipped or not finite.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <span>
#include <type_traits>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

// Symbols
//   y_i  baseband of frame i;  r_i = max over neighbours j = i-3 .. i+3, j != i, of |<y_i, y_j>| /
//   (|y_i| |y_j|)
//
// Echoes hardly change from one frame to the next, so a frame that is unlike all its neighbours
// holds no echo.

enum class FrameState : unsigned char {
    good,
    dropped,  ///< r_i < least_correlation * median r, or energy outside energy_range times the
              ///< median
    frozen,   ///< sample for sample the frame before
    clipped,  ///< more than clipped_fraction of its samples are pinned at the recording's extremes
    not_finite  ///< holds a NaN or an infinity
};

struct FrameCheckOptions {
    double least_correlation = 0.5;  ///< with the neighbours, relative to the recording's median
    double energy_range =
        9;               ///< largest factor between a frame's energy and the median, either way
    int neighbours = 3;  ///< looked at on each side
    double clipped_fraction = 0.005;  ///< of a frame's samples, see FrameState::clipped
    double saturated_part =
        0.05;  ///< samples pinned in more than this part of the frames are the ring-down
};

inline void validate(const FrameCheckOptions& options) {
    require(options.least_correlation >= 0 && options.least_correlation < 1, "least_correlation",
            options.least_correlation, "must lie in [0, 1)");
    require(options.energy_range > 1, "energy_range", options.energy_range, "must exceed 1");
    require(options.neighbours >= 1, "neighbours", options.neighbours, "must be at least 1");
    require(options.clipped_fraction > 0, "clipped_fraction", options.clipped_fraction,
            "must be positive");
    require(options.saturated_part > 0, "saturated_part", options.saturated_part,
            "must be positive");
}

namespace detail {

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
        return std::all_of(frame.begin(), frame.end(), [](T x) { return is_finite(x); });
    } else {
        return true;
    }
}

// Calls mark(k) for the samples in runs of at least `run` that equal `low` or `high`.
template <class T, class Mark>
void for_each_pinned(std::span<const T> frame, T low, T high, std::size_t run, Mark mark) {
    for (std::size_t k = 0; k < frame.size();) {
        std::size_t end = k + 1;
        if (frame[k] == low || frame[k] == high) {
            while (end < frame.size() && frame[end] == frame[k]) {
                ++end;
            }
            for (std::size_t j = k; end - k >= run && j < end; ++j) {
                mark(j);
            }
        }
        k = end;
    }
}

}  // namespace detail

/// State of each frame. `frames` are the raw samples, `baseband` the same frames conditioned.
/// A single frame has no neighbours and is taken as it is. Throws InvalidInput if the numbers of
/// frames differ.
template <class T, Real R>
[[nodiscard]] std::vector<FrameState> check_frames(const FrameView<T>& frames,
                                                   const Baseband<R>& baseband,
                                                   const FrameCheckOptions& options = {}) {
    validate(options);
    const std::size_t count = frames.frames();
    require(static_cast<std::size_t>(baseband.samples.rows()) == count, "baseband frames",
            baseband.samples.rows(), detail::concatenate("must equal the raw frames, ", count));
    std::vector<FrameState> states(count, FrameState::good);
    T low = std::numeric_limits<T>::max();
    T high = std::numeric_limits<T>::lowest();
    for (std::size_t i = 0; i < count; ++i) {
        if (!detail::all_finite(frames[i])) {
            states[i] = FrameState::not_finite;
            continue;
        }
        for (const T x : frames[i]) {
            low = std::min(low, x);
            high = std::max(high, x);
        }
    }
    // The rounded top of a sinusoid of A counts is flat over (samples a cycle / pi) sqrt(2 / A)
    // samples.
    std::size_t run = 3;
    if constexpr (std::is_integral_v<T>) {
        const double top =
            std::max(1.0, std::max(-static_cast<double>(low), static_cast<double>(high)));
        const double cycle =
            baseband.settings.sampling_rate / baseband.settings.sensor.centre_frequency;
        run += static_cast<std::size_t>(std::ceil(cycle / std::numbers::pi * std::sqrt(2 / top)));
    }

    std::vector<std::size_t> pinned(frames.samples(), 0);
    for (std::size_t i = 0; i < count; ++i) {
        if (states[i] == FrameState::good && high > low) {
            detail::for_each_pinned(frames[i], low, high, run, [&](std::size_t k) { ++pinned[k]; });
        }
    }
    std::vector<bool> always(frames.samples());
    for (std::size_t k = 0; k < always.size(); ++k) {
        always[k] =
            static_cast<double>(pinned[k]) >= options.saturated_part * static_cast<double>(count) &&
            count > 1;
    }

    using Row = Eigen::ArrayXcd;
    std::vector<double> energy(count, 0);
    std::vector<double> best(count, 0);
    const auto row = [&](std::size_t i) {
        return Row(baseband.samples.row(static_cast<Eigen::Index>(i))
                       .template cast<std::complex<double>>());
    };
    std::vector<double> energies;
    for (std::size_t i = 0; i < count; ++i) {
        if (states[i] == FrameState::good) {
            energy[i] = row(i).abs2().sum();
            energies.push_back(energy[i]);
        }
    }
    for (std::size_t i = 0; i < count; ++i) {
        const Row here = row(i);
        for (std::size_t j = i + 1;
             j < count && j <= i + static_cast<std::size_t>(options.neighbours); ++j) {
            const double scale = std::sqrt(energy[i] * energy[j]);
            if (scale > 0) {
                const double r = std::abs((here.conjugate() * row(j)).sum()) / scale;
                best[i] = std::max(best[i], r);
                best[j] = std::max(best[j], r);
            }
        }
    }
    const double median_energy = detail::middle(energies);
    const double median_best = detail::middle(best);
    for (std::size_t i = 0; i < count; ++i) {
        if (states[i] != FrameState::good) {
            continue;
        }
        const auto frame = frames[i];
        const bool strange = energy[i] * options.energy_range < median_energy ||
                             energy[i] > options.energy_range * median_energy ||
                             best[i] < options.least_correlation * median_best;
        if (count > 1 && strange) {
            states[i] = FrameState::dropped;
        } else if (i > 0 && std::equal(frame.begin(), frame.end(), frames[i - 1].begin())) {
            states[i] = FrameState::frozen;
        } else if (high > low) {
            std::size_t clipped = 0;
            detail::for_each_pinned(frame, low, high, run,
                                    [&](std::size_t k) { clipped += always[k] ? 0 : 1; });
            if (static_cast<double>(clipped) >
                options.clipped_fraction * static_cast<double>(frame.size())) {
                states[i] = FrameState::clipped;
            }
        }
    }
    return states;
}

}  // namespace echosieve
