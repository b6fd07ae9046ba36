// Which pulses the walls are looked for with, and which pair of walls is kept: the options. The
// steps themselves, with their symbols: src/motion/courses/pulse_candidates.hpp, wall_search.hpp.
#pragma once

#include <cstddef>

#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion_options.hpp"

namespace echosieve {

/// Guesses of the pulse from single gates, where the tissue hardly follows it.
struct PulseCandidateOptions {
    PhaseTrackOptions tracks{.half_gate = 0.7e-3};
    TrackJoiningOptions joining;
    double slow_frequency = 0.4;      ///< below it a gate's track is left out [Hz]
    double lowest_coherence = 0.15;   ///< of a gate's track
    double smoothing = 6e-3;          ///< of a guess: Gaussian in slow time [s]
    double lag = 4e-3;                ///< between the frames whose phases are compared [s]
    double depth_smoothing = 0.3e-3;  ///< of the guess's strength along the line: Gaussian [m]
    double alike = 0.97;              ///< guesses with a larger correlation are one
};

inline void validate(const PulseCandidateOptions& options) {
    validate(options.tracks);
    validate(options.joining);
    require(options.slow_frequency > 0, "slow_frequency", options.slow_frequency,
            "must be positive [Hz]");
    require(options.lowest_coherence >= 0 && options.lowest_coherence < 1, "lowest_coherence",
            options.lowest_coherence, "must lie in [0, 1)");
    require(options.smoothing >= 0, "smoothing", options.smoothing, "must be zero or more [s]");
    require(options.lag > 0, "lag", options.lag, "must be positive [s]");
    require(options.depth_smoothing >= 0, "depth_smoothing", options.depth_smoothing,
            "must be zero or more [m]");
    require(options.alike > 0 && options.alike <= 1, "alike", options.alike, "must lie in (0, 1]");
    detail::require_at_most(options.slow_frequency, largest_option::frequency, "slow_frequency",
                            "[Hz]");
    detail::require_at_most(options.smoothing, largest_option::time, "smoothing", "[s]");
    detail::require_at_most(options.lag, largest_option::time, "lag", "[s]");
    detail::require_at_most(options.depth_smoothing, largest_option::length, "depth_smoothing",
                            "[m]");
}

/// Which guesses are tried, and when the search ends.
struct WallSearchOptions {
    PulseCandidateOptions candidates;
    std::size_t most_candidates = 3;  ///< that are scanned beside the tissue's pulse
    double least_opposition = 0.8;    ///< of a candidate, over that of the tissue's pulse
    double least_promise = 0.1;       ///< of a pair, over the most promising one's, to be tried
    /// confidence of both walls that ends the search: the rest promise less, and a pair in slow
    /// tissue can look surer than the walls where tissue echoes are the stronger ones
    double sure = 0.5;
    /// mean evidence of a wall below which tissue explains its gate nearly as well: such a pair is
    /// tried again from `smaller_start` times its shares, if no other is trusted
    double hardly_seen = 0.1;
    double smaller_start = 0.6;
};

inline void validate(const WallSearchOptions& options) {
    validate(options.candidates);
    require(options.least_opposition >= 0, "least_opposition", options.least_opposition,
            "must be zero or more");
    require(options.least_promise >= 0, "least_promise", options.least_promise,
            "must be zero or more");
    require(options.hardly_seen >= 0, "hardly_seen", options.hardly_seen, "must be zero or more");
    require(options.smaller_start > 0 && options.smaller_start <= 1, "smaller_start",
            options.smaller_start, "must lie in (0, 1]");
    require(options.sure >= 0 && options.sure <= 1, "sure", options.sure, "must lie in [0, 1]");
    detail::require_at_most(options.least_opposition, largest_option::factor, "least_opposition");
    detail::require_at_most(options.least_promise, largest_option::factor, "least_promise");
    detail::require_at_most(options.hardly_seen, largest_option::factor, "hardly_seen");
}

}  // namespace echosieve
