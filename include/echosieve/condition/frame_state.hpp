// A frame's state: which frames can't be trusted, by which options, and how many there are.
#pragma once

#include <algorithm>
#include <cstddef>
#include <span>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

enum class FrameState : unsigned char {
    good,
    dropped,  ///< e_i = 0, e_i * energy_range < median e, e_i > energy_range * median e, or both
              ///< r_i < least_correlation * m and r_i < m - deviations * d; or frozen from such a
              ///< frame
    frozen,   ///< sample for sample the frame before, which is not dropped
    clipped,  ///< more than clipped_fraction of its samples are pinned at the recording's extremes
    not_finite  ///< holds a NaN or an infinity
};

/// Each neighbour costs as much as the next: more of them are no neighbours.
inline constexpr int most_neighbours = 100;

struct FrameCheckOptions {
    double least_correlation = 0.5;  ///< with the neighbours, relative to the recording's median
    double deviations = 5;           ///< below the median, for noise's own scatter of r
    double energy_range =
        9;               ///< largest factor between a frame's energy and the median, either way
    int neighbours = 3;  ///< looked at on each side
    double clipped_fraction = 0.005;  ///< of a frame's samples, see FrameState::clipped
    double saturated_part =
        0.05;  ///< samples pinned in this part of the frames or more are the ring-down
};

inline void validate(const FrameCheckOptions& options) {
    require(options.least_correlation >= 0 && options.least_correlation < 1, "least_correlation",
            options.least_correlation, "must lie in [0, 1)");
    require(options.deviations >= 0 && is_finite(options.deviations), "deviations",
            options.deviations, "must be zero or more and finite");
    require(options.energy_range > 1, "energy_range", options.energy_range, "must exceed 1");
    require(is_finite(options.energy_range), "energy_range", options.energy_range,
            "must be finite");
    require(options.neighbours >= 1 && options.neighbours <= most_neighbours, "neighbours",
            options.neighbours, detail::concatenate("must lie in [1, ", most_neighbours, "]"));
    require(options.clipped_fraction > 0, "clipped_fraction", options.clipped_fraction,
            "must be positive");
    require(options.saturated_part > 0, "saturated_part", options.saturated_part,
            "must be positive");
}

/// How many frames are in each state.
struct FrameCounts {
    std::size_t good = 0;
    std::size_t dropped = 0;
    std::size_t frozen = 0;
    std::size_t clipped = 0;
    std::size_t not_finite = 0;
};

[[nodiscard]] inline FrameCounts count_states(std::span<const FrameState> states) {
    const auto number = [&](FrameState state) {
        return static_cast<std::size_t>(std::count(states.begin(), states.end(), state));
    };
    return {number(FrameState::good), number(FrameState::dropped), number(FrameState::frozen),
            number(FrameState::clipped), number(FrameState::not_finite)};
}

}  // namespace echosieve
