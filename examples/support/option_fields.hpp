// Every option of following an artery, by name: one table, for writing them and for reading them.
#pragma once

#include <tuple>

#include "echosieve/motion/block_motion.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "support/option_visit.hpp"

namespace examples {

#define FIELD(member)       \
    OptionField {           \
        #member, &T::member \
    }

template <>
struct OptionFields<echosieve::SlipOptions> {
    using T = echosieve::SlipOptions;
    static constexpr std::tuple list{FIELD(span), FIELD(largest_turn), FIELD(largest_shift),
                                     FIELD(least_correlation)};
};

template <>
struct OptionFields<echosieve::BasebandOptions> {
    using T = echosieve::BasebandOptions;
    static constexpr std::tuple list{FIELD(cutoff), FIELD(rate), FIELD(offset)};
};

template <>
struct OptionFields<echosieve::OffsetOptions> {
    using T = echosieve::OffsetOptions;
    static constexpr std::tuple list{FIELD(least), FIELD(max_frames)};
};

template <>
struct OptionFields<echosieve::SettingsCheckOptions> {
    using T = echosieve::SettingsCheckOptions;
    static constexpr std::tuple list{
        FIELD(lowest_centre), FIELD(highest_centre),     FIELD(narrowest),    FIELD(widest),
        FIELD(deviations),    FIELD(largest_repetition), FIELD(least_counts), FIELD(least_likeness),
        FIELD(contradicted),  FIELD(max_frames)};
};

template <>
struct OptionFields<echosieve::FrameCheckOptions> {
    using T = echosieve::FrameCheckOptions;
    static constexpr std::tuple list{FIELD(least_correlation), FIELD(deviations),
                                     FIELD(energy_range),      FIELD(neighbours),
                                     FIELD(clipped_fraction),  FIELD(saturated_part)};
};

template <>
struct OptionFields<echosieve::ContactOptions> {
    using T = echosieve::ContactOptions;
    static constexpr std::tuple list{FIELD(smoothing), FIELD(least_coherence), FIELD(surroundings)};
};

template <>
struct OptionFields<echosieve::PhaseTrackOptions> {
    using T = echosieve::PhaseTrackOptions;
    static constexpr std::tuple list{FIELD(first_offset), FIELD(spacing), FIELD(half_gate),
                                     FIELD(line_smoothing), FIELD(phase_smoothing)};
};

template <>
struct OptionFields<echosieve::TrackJoiningOptions> {
    using T = echosieve::TrackJoiningOptions;
    static constexpr std::tuple list{FIELD(window), FIELD(reach), FIELD(least_reach),
                                     FIELD(most_reach)};
};

template <>
struct OptionFields<echosieve::CommonMotionOptions> {
    using T = echosieve::CommonMotionOptions;
    static constexpr std::tuple list{
        FIELD(tracks),       FIELD(joining),         FIELD(slow_frequency), FIELD(lowest_coherence),
        FIELD(reweightings), FIELD(fastest_stretch), FIELD(least_gain)};
};

template <>
struct OptionFields<echosieve::ShareScanOptions> {
    using T = echosieve::ShareScanOptions;
    static constexpr std::tuple list{FIELD(largest_share),   FIELD(steps_per_wavelength),
                                     FIELD(against),         FIELD(least_noise),
                                     FIELD(unexplained),     FIELD(mirror),
                                     FIELD(drift_frequency), FIELD(distinct)};
};

template <>
struct OptionFields<echosieve::DepthRange> {
    using T = echosieve::DepthRange;
    static constexpr std::tuple list{FIELD(from), FIELD(to)};
};

template <>
struct OptionFields<echosieve::WallFinderOptions> {
    using T = echosieve::WallFinderOptions;
    static constexpr std::tuple list{
        FIELD(dead_zone),      FIELD(smallest_diameter), FIELD(largest_diameter),
        FIELD(scan_spacing),   FIELD(smallest_motion),   FIELD(smallest_distension),
        FIELD(smallest_share), FIELD(least_evidence),    FIELD(mirror),
        FIELD(usual_part),     FIELD(evidence_power),    FIELD(scan),
        FIELD(interval),       FIELD(longest_interval),  FIELD(usual_motion),
        FIELD(largest_turn),   FIELD(near_range),        FIELD(far_range)};
};

template <>
struct OptionFields<echosieve::JointMotionOptions> {
    using T = echosieve::JointMotionOptions;
    static constexpr std::tuple list{FIELD(pulse_cutoff), FIELD(bulk_cutoff),
                                     FIELD(slow_frequency)};
};

template <>
struct OptionFields<echosieve::GapSettlingOptions> {
    using T = echosieve::GapSettlingOptions;
    static constexpr std::tuple list{FIELD(pulse_reach), FIELD(pulse_step), FIELD(half_waves),
                                     FIELD(steps_a_half_wave)};
};

template <>
struct OptionFields<echosieve::TissueLagOptions> {
    using T = echosieve::TissueLagOptions;
    static constexpr std::tuple list{FIELD(largest_lag), FIELD(least_evidence), FIELD(least_gain)};
};

template <>
struct OptionFields<echosieve::ReferenceLayerOptions> {
    using T = echosieve::ReferenceLayerOptions;
    static constexpr std::tuple list{FIELD(layer), FIELD(lowest_peak), FIELD(reach),
                                     FIELD(thickest_wall)};
};

template <>
struct OptionFields<echosieve::WallModelOptions> {
    using T = echosieve::WallModelOptions;
    static constexpr std::tuple list{
        FIELD(interval),    FIELD(longest_interval), FIELD(largest_turn), FIELD(thickness),
        FIELD(lead),        FIELD(spacing),          FIELD(decay),        FIELD(still_power),
        FIELD(least_noise), FIELD(tissue_powers),    FIELD(wall_powers),  FIELD(tissue_reaches),
        FIELD(strain_mean), FIELD(strain_spread)};
};

template <>
struct OptionFields<echosieve::WallSeparationOptions> {
    using T = echosieve::WallSeparationOptions;
    static constexpr std::tuple list{FIELD(tissue_half_gate),
                                     FIELD(tissue_spacing),
                                     FIELD(wall_distance),
                                     FIELD(bulk_reach),
                                     FIELD(search_cycles),
                                     FIELD(rounds),
                                     FIELD(fine_rounds),
                                     FIELD(coarse),
                                     FIELD(fine),
                                     FIELD(gaps),
                                     FIELD(lag),
                                     FIELD(reference),
                                     FIELD(model)};
};

template <>
struct OptionFields<echosieve::PulseCandidateOptions> {
    using T = echosieve::PulseCandidateOptions;
    static constexpr std::tuple list{
        FIELD(tracks),    FIELD(joining), FIELD(slow_frequency),  FIELD(lowest_coherence),
        FIELD(smoothing), FIELD(lag),     FIELD(depth_smoothing), FIELD(alike)};
};

template <>
struct OptionFields<echosieve::WallSearchOptions> {
    using T = echosieve::WallSearchOptions;
    static constexpr std::tuple list{
        FIELD(candidates), FIELD(most_candidates), FIELD(least_opposition), FIELD(least_promise),
        FIELD(sure),       FIELD(hardly_seen),     FIELD(smaller_start)};
};

template <>
struct OptionFields<echosieve::WallMotionOptions> {
    using T = echosieve::WallMotionOptions;
    static constexpr std::tuple list{FIELD(cutoff), FIELD(spread)};
};

template <>
struct OptionFields<echosieve::WallEchoOptions> {
    using T = echosieve::WallEchoOptions;
    static constexpr std::tuple list{FIELD(atoms), FIELD(spread), FIELD(least_energy)};
};

template <>
struct OptionFields<echosieve::PulseDelayOptions> {
    using T = echosieve::PulseDelayOptions;
    static constexpr std::tuple list{
        FIELD(estimate),    FIELD(gaussian_prior), FIELD(zero_phase_prior),
        FIELD(wall_weight), FIELD(tissue_weight),  FIELD(floor),
        FIELD(noise_left),  FIELD(piece),          FIELD(largest_shift)};
};

template <>
struct OptionFields<echosieve::WallDeviationOptions> {
    using T = echosieve::WallDeviationOptions;
    static constexpr std::tuple list{
        FIELD(noise),       FIELD(gain_least), FIELD(gain_scatter),     FIELD(gain_own),
        FIELD(model_least), FIELD(model_own),  FIELD(gain_correlation), FIELD(model_correlation),
        FIELD(wrong_wall)};
};

template <>
struct OptionFields<echosieve::WallConfidenceOptions> {
    using T = echosieve::WallConfidenceOptions;
    static constexpr std::tuple list{FIELD(weights), FIELD(deviation), FIELD(close),
                                     FIELD(least_confidence)};
};

template <>
struct OptionFields<echosieve::TrackOptions> {
    using T = echosieve::TrackOptions;
    static constexpr std::tuple list{
        FIELD(baseband),   FIELD(offset),     FIELD(settings_check),    FIELD(frames),
        FIELD(contact),    FIELD(motion),     FIELD(averaging),         FIELD(walls),
        FIELD(separation), FIELD(search),     FIELD(wall_motion),       FIELD(echoes),
        FIELD(pulse),      FIELD(confidence), FIELD(least_correlation), FIELD(smoothing)};
};

template <>
struct OptionFields<echosieve::BlockOptions> {
    using T = echosieve::BlockOptions;
    static constexpr std::tuple list{FIELD(length),       FIELD(overlap),       FIELD(search_reach),
                                     FIELD(largest_jump), FIELD(confirmations), FIELD(longest_gap),
                                     FIELD(shortest_fit), FIELD(longest_loss),  FIELD(drift_time),
                                     FIELD(slips),        FIELD(track)};
};

#undef FIELD

}  // namespace examples
