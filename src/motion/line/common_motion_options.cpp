#include "echosieve/motion/common_motion_options.hpp"

#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

namespace {

// Of what the line moves by over a gap: the search's cost grows with its square [m].
constexpr double furthest_joined = 20e-3;
// A strain faster than this is no slow one, and has as many unknowns as the frames [Hz].
constexpr double fastest_slow_strain = 20;
// Over a gap all gates are fitted anew at each place tried: more would take minutes.
constexpr double most_gap_places = 50'000;

}  // namespace

void validate(const ContactOptions& options) {
    require(options.smoothing >= 0, "smoothing", options.smoothing, "must be zero or more [s]");
    require(options.surroundings >= 0, "surroundings", options.surroundings,
            "must be zero or more [s]");
    require(options.least_coherence >= 0 && options.least_coherence < 1, "least_coherence",
            options.least_coherence, "must lie in [0, 1)");
    detail::require_at_most(options.smoothing, largest_option::time, "smoothing", "[s]");
    detail::require_at_most(options.surroundings, largest_option::time, "surroundings", "[s]");
}

void validate(const SlipOptions& options) {
    require(options.span > 0 && is_finite(options.span), "span", options.span,
            "must be positive and finite [s]");
    require(options.largest_turn > 0 && is_finite(options.largest_turn), "largest_turn",
            options.largest_turn, "must be positive and finite [rad]");
    require(options.largest_shift > 0 && is_finite(options.largest_shift), "largest_shift",
            options.largest_shift, "must be positive and finite [m]");
    require(options.least_correlation > 0 && options.least_correlation <= 1, "least_correlation",
            options.least_correlation, "must lie in (0, 1]");
    detail::require_at_most(options.span, largest_option::time, "span", "[s]");
    detail::require_at_most(options.largest_turn, largest_option::factor, "largest_turn", "[rad]");
    detail::require_at_most(options.largest_shift, largest_option::length, "largest_shift", "[m]");
}

void validate(const PhaseTrackOptions& options) {
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

void validate(const TrackJoiningOptions& options) {
    require(options.window > 0, "window", options.window, "must be positive [s]");
    require(options.reach > 0, "reach", options.reach, "must be positive");
    require(options.least_reach > 0, "least_reach", options.least_reach, "must be positive [m]");
    require(options.most_reach >= options.least_reach, "most_reach", options.most_reach,
            detail::concatenate("must be at least least_reach, ", options.least_reach, " [m]"));
    detail::require_at_most(options.window, largest_option::time, "window", "[s]");
    detail::require_at_most(options.reach, largest_option::factor, "reach");
    detail::require_at_most(options.most_reach, furthest_joined, "most_reach", "[m]");
}

void validate(const CommonMotionOptions& options) {
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

void validate(const PulseCandidateOptions& options) {
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

void validate(const JointMotionOptions& options) {
    require(options.pulse_cutoff > 0, "pulse_cutoff", options.pulse_cutoff,
            "must be positive [Hz]");
    require(options.bulk_cutoff > 0, "bulk_cutoff", options.bulk_cutoff, "must be positive [Hz]");
    require(options.slow_frequency > 0, "slow_frequency", options.slow_frequency,
            "must be positive [Hz]");
    detail::require_at_most(options.pulse_cutoff, largest_option::frequency, "pulse_cutoff",
                            "[Hz]");
    detail::require_at_most(options.bulk_cutoff, largest_option::frequency, "bulk_cutoff", "[Hz]");
    detail::require_at_most(options.slow_frequency, largest_option::frequency, "slow_frequency",
                            "[Hz]");
}

void validate(const GapSettlingOptions& options) {
    require(options.pulse_reach >= 0, "pulse_reach", options.pulse_reach, "must be zero or more");
    require(options.pulse_step > 0, "pulse_step", options.pulse_step, "must be positive");
    require(options.half_waves >= 0, "half_waves", options.half_waves, "must be zero or more");
    require(options.steps_a_half_wave > 0, "steps_a_half_wave", options.steps_a_half_wave,
            "must be positive");
    detail::require_at_most(options.pulse_reach, largest_option::factor, "pulse_reach");
    detail::require_at_most(options.half_waves, largest_option::factor, "half_waves");
    detail::require_at_most(options.steps_a_half_wave, largest_option::factor, "steps_a_half_wave");
    const double places = (2 * options.pulse_reach / options.pulse_step + 1) *
                          (2 * options.half_waves * options.steps_a_half_wave + 1);
    detail::require_at_most(places, most_gap_places, "places tried over a gap");
}

}  // namespace echosieve
