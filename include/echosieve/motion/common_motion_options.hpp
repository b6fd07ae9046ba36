// How the pulse and the bulk motion that all depths share are estimated: the options. The steps
// themselves, with their symbols, stand in src/motion: phase_track.hpp, track_joining.hpp,
// common_motion.hpp.
#pragma once

#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

/// Displacement of the echoes in gates along the line, from the phase between successive frames.
struct PhaseTrackOptions {
    double first_offset = 2.5e-3;  ///< centre of the first gate, below the first sample [m]
    double spacing = 0.5e-3;       ///< between gate centres [m]
    double half_gate = 0.6e-3;     ///< half length of a gate [m]
    double line_smoothing =
        4e-3;  ///< slow-time Gaussian of the lines at 4 MHz, shorter in proportion above [s]
    double phase_smoothing = 3e-3;  ///< slow-time Gaussian of the correlation [s]
};

inline void validate(const PhaseTrackOptions& options) {
    require(options.first_offset >= 0, "first_offset", options.first_offset,
            "must be zero or more [m]");
    require(options.spacing > 0, "spacing", options.spacing, "must be positive [m]");
    require(options.spacing >= closest_gates, "spacing", options.spacing,
            detail::concatenate("must be at least ", closest_gates, " [m]"));
    require(options.half_gate > 0, "half_gate", options.half_gate, "must be positive [m]");
    require(options.line_smoothing >= 0, "line_smoothing", options.line_smoothing,
            "must be zero or more [s]");
    require(options.phase_smoothing >= 0, "phase_smoothing", options.phase_smoothing,
            "must be zero or more [s]");
    detail::require_at_most(options.first_offset, largest_option::length, "first_offset", "[m]");
    detail::require_at_most(options.spacing, largest_option::length, "spacing", "[m]");
    detail::require_at_most(options.half_gate, largest_option::length, "half_gate", "[m]");
    detail::require_at_most(options.line_smoothing, largest_option::time, "line_smoothing", "[s]");
    detail::require_at_most(options.phase_smoothing, largest_option::time, "phase_smoothing",
                            "[s]");
}

/// Of what the line moves by over a gap: the search's cost grows with its square [m].
inline constexpr double furthest_joined = 20e-3;

/// Tracks on both sides of a time without contact, put together.
struct TrackJoiningOptions {
    double window = 40e-3;        ///< frames before and after the gap that are averaged [s]
    double reach = 1.5;           ///< of what the gap may hold, over the motion's range elsewhere
    double least_reach = 0.1e-3;  ///< and at least so far, rms over the gates [m]
    double most_reach = 2e-3;     ///< and no further [m]
};

inline void validate(const TrackJoiningOptions& options) {
    require(options.window > 0, "window", options.window, "must be positive [s]");
    require(options.reach > 0, "reach", options.reach, "must be positive");
    require(options.least_reach > 0, "least_reach", options.least_reach, "must be positive [m]");
    require(options.most_reach >= options.least_reach, "most_reach", options.most_reach,
            detail::concatenate("must be at least least_reach, ", options.least_reach, " [m]"));
    detail::require_at_most(options.window, largest_option::time, "window", "[s]");
    detail::require_at_most(options.reach, largest_option::factor, "reach");
    detail::require_at_most(options.most_reach, furthest_joined, "most_reach", "[m]");
}

/// A strain faster than this is no slow one, and has as many unknowns as the frames [Hz].
inline constexpr double fastest_slow_strain = 20;

/// Pulse and bulk motion from the tracks of the whole line.
struct CommonMotionOptions {
    PhaseTrackOptions tracks;
    TrackJoiningOptions joining;
    double slow_frequency = 0.7;    ///< below this a motion counts as slow [Hz]
    double lowest_coherence = 0.2;  ///< tracks at or below it hardly count
    int reweightings = 10;          ///< of the tracks, by how well the two fit them
    double fastest_stretch = 1.0;   ///< a slow strain of the line holds nothing faster [Hz]
    /// ln of what that strain lowers the rest's mean square by, to be believed
    double least_gain = 0.01;
};

inline void validate(const CommonMotionOptions& options) {
    validate(options.tracks);
    validate(options.joining);
    require(options.slow_frequency > 0, "slow_frequency", options.slow_frequency,
            "must be positive [Hz]");
    require(options.lowest_coherence >= 0 && options.lowest_coherence < 1, "lowest_coherence",
            options.lowest_coherence, "must lie in [0, 1)");
    require(options.fastest_stretch > 0, "fastest_stretch", options.fastest_stretch,
            "must be positive [Hz]");
    require(options.least_gain >= 0, "least_gain", options.least_gain, "must be zero or more");
    require(options.reweightings >= 1, "reweightings", options.reweightings, "must be at least 1");
    detail::require_at_most(options.slow_frequency, largest_option::frequency, "slow_frequency",
                            "[Hz]");
    detail::require_at_most(options.fastest_stretch, fastest_slow_strain, "fastest_stretch",
                            "[Hz]");
    detail::require_at_most(options.least_gain, largest_option::factor, "least_gain");
    detail::require_at_most(options.reweightings, largest_option::rounds, "reweightings");
}

}  // namespace echosieve
