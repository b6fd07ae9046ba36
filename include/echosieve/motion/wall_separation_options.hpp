// How both walls are taken out of the tissue on them and followed: the options. The steps
// themselves, with their symbols, stand in src/motion, each in the header named.
#pragma once

#include <cstddef>
#include <vector>

#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

/// A step of pulse and bulk motion in all frames, from all gates at once (joint_motion.hpp).
struct JointMotionOptions {
    double pulse_cutoff = 25;     ///< steps of the pulse are smooth above it [Hz]
    double bulk_cutoff = 25;      ///< the same of the bulk motion: slips are fast [Hz]
    double slow_frequency = 0.7;  ///< below this a motion counts as slow [Hz]
};

inline void validate(const JointMotionOptions& options) {
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

/// Over a gap all gates are fitted anew at each place tried: more would take minutes.
inline constexpr double most_gap_places = 50'000;

/// What pulse and bulk motion did while contact was lost: what is tried (gap_settling.hpp).
struct GapSettlingOptions {
    double pulse_reach = 1;        ///< of the pulse, both ways, over its range
    double pulse_step = 0.05;      ///< of the pulse
    double half_waves = 3;         ///< of the bulk motion, both ways: half wavelengths
    double steps_a_half_wave = 8;  ///< of the bulk motion
};

inline void validate(const GapSettlingOptions& options) {
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

/// Tissue that is later by more follows another beat [s].
inline constexpr double longest_tissue_lag = 0.5;

/// Tissue that pulsates later than the walls (tissue_lag.hpp).
struct TissueLagOptions {
    double largest_lag = 60e-3;  ///< [s]
    double least_evidence = 40;  ///< of the walls together, for a lag
    double least_gain = 0.05;    ///< of the tissue: mean of ln(cost without it / cost with it)
};

inline void validate(const TissueLagOptions& options) {
    require(options.largest_lag > 0, "largest_lag", options.largest_lag, "must be positive [s]");
    require(options.least_evidence >= 0, "least_evidence", options.least_evidence,
            "must be zero or more");
    require(options.least_gain >= 0, "least_gain", options.least_gain, "must be zero or more");
    detail::require_at_most(options.largest_lag, longest_tissue_lag, "largest_lag", "[s]");
    detail::require_at_most(options.least_evidence, largest_option::factor, "least_evidence");
    detail::require_at_most(options.least_gain, largest_option::factor, "least_gain");
}

/// Which of a wall's two echoes is meant.
enum class WallLayer { outer, inner };

/// Where the layer meant lies in a wall's waveform (reference_layer.hpp).
struct ReferenceLayerOptions {
    WallLayer layer = WallLayer::outer;
    double lowest_peak = 0.5;       ///< of the largest energy: lower maxima are not the wall
    double reach = 1.3e-3;          ///< from the strongest peak outwards [m]
    double thickest_wall = 0.9e-3;  ///< from the wall's first estimate outwards [m]
};

inline void validate(const ReferenceLayerOptions& options) {
    require(options.lowest_peak > 0 && options.lowest_peak < 1, "lowest_peak", options.lowest_peak,
            "must lie in (0, 1)");
    require(options.reach > 0, "reach", options.reach, "must be positive [m]");
    require(options.thickest_wall > 0, "thickest_wall", options.thickest_wall,
            "must be positive [m]");
    detail::require_at_most(options.reach, largest_option::length, "reach", "[m]");
    detail::require_at_most(options.thickest_wall, largest_option::length, "thickest_wall", "[m]");
}

/// No wall is thicker, and no pulse longer [m].
inline constexpr double thickest_sheet = 20e-3;
/// Values tried for each of the wall model's beliefs: each costs as much as the next.
inline constexpr std::size_t most_beliefs = 100;

/// The likelihood of a wall's gate: the wall a strained sheet, the tissue on it slower layers
/// (wall_model.hpp).
struct WallModelOptions {
    double interval = 4e-3;           ///< frames within it together weigh 1 in the evidence [s]
    double longest_interval = 16e-3;  ///< frames within it are averaged while little moves [s]
    double largest_turn =
        0.35;                   ///< of the wall's echo against the tissue's within an average [rad]
    double thickness = 1.1e-3;  ///< of the sheet, from the layer followed towards the lumen [m]
    double lead = 0.35e-3;      ///< of the sheet outside that layer, at 1 MHz bandwidth [m]
    double spacing = 0.27;      ///< of the sheet's layers, over the resolution c / (2 bandwidth)
    double decay = 0.5e-3;      ///< of the echoes' power over depth, to 1/e [m]
    double still_power = 0.1;   ///< of what stands still, over the gate's power
    double least_noise = 0.02;  ///< part of a gate's power that the model may not reach
    /// what is tried, the most likely kept: power of a layer of tissue and of the wall, over the
    /// gate's; largest share of the tissue, over the wall's
    std::vector<double> tissue_powers = {0.01, 0.03};
    std::vector<double> wall_powers = {0.1, 0.5, 3, 15};
    std::vector<double> tissue_reaches = {0.5, 0.65};
    double strain_mean = 0.85;   ///< strain over an incompressible tube's, before the gate is seen
    double strain_spread = 0.2;  ///< its standard deviation
};

inline void validate(const WallModelOptions& options) {
    require(options.interval >= 0, "interval", options.interval, "must be zero or more [s]");
    require(options.longest_interval >= 0, "longest_interval", options.longest_interval,
            "must be zero or more [s]");
    require(options.largest_turn >= 0, "largest_turn", options.largest_turn,
            "must be zero or more [rad]");
    require(options.thickness > 0, "thickness", options.thickness, "must be positive [m]");
    require(options.lead >= 0, "lead", options.lead, "must be zero or more [m]");
    require(options.spacing > 0 && options.spacing <= 0.5, "spacing", options.spacing,
            "must lie in (0, 0.5]");
    require(options.decay > 0, "decay", options.decay, "must be positive [m]");
    require(options.still_power > 0, "still_power", options.still_power, "must be positive");
    require(options.least_noise > 0 && options.least_noise < 1, "least_noise", options.least_noise,
            "must lie in (0, 1)");
    const auto all_within = [](const std::vector<double>& values, double most, const char* name) {
        detail::require_at_most(values.size(), most_beliefs, name, "values");
        for (const double value : values) {
            require(value > 0 && value <= most, name, value,
                    detail::concatenate("must be positive and at most ", most));
        }
    };
    all_within(options.tissue_powers, 1e3, "tissue_powers");
    all_within(options.wall_powers, 1e6, "wall_powers");
    all_within(options.tissue_reaches, 1, "tissue_reaches");
    require(options.strain_mean + 1.5 * options.strain_spread <= 1.6, "strain_spread",
            options.strain_spread, "must keep strain_mean + 1.5 strain_spread within 1.6");
    require(options.strain_mean >= 0, "strain_mean", options.strain_mean, "must be zero or more");
    require(options.strain_spread > 0, "strain_spread", options.strain_spread, "must be positive");
    detail::require_at_most(options.interval, largest_option::time, "interval", "[s]");
    detail::require_at_most(options.longest_interval, largest_option::time, "longest_interval",
                            "[s]");
    detail::require_at_most(options.largest_turn, largest_option::factor, "largest_turn", "[rad]");
    detail::require_at_most(options.thickness, thickest_sheet, "thickness", "[m]");
    detail::require_at_most(options.lead, thickest_sheet, "lead", "[m]");
    detail::require_at_most(options.decay, largest_option::length, "decay", "[m]");
    detail::require_at_most(options.still_power, largest_option::factor, "still_power");
}

/// Of a wall's bulk share from the line's: the line's own lie within 0.5 to 1.6.
inline constexpr double largest_bulk_reach = 10;

/// Both walls and the tissue in turn (wall_separation.hpp).
struct WallSeparationOptions {
    double tissue_half_gate = 0.8e-3;  ///< [m]
    double tissue_spacing = 1e-3;      ///< [m]
    double wall_distance = 1.5e-3;     ///< of tissue gates from the walls [m]
    double bulk_reach = 0.7;           ///< of a wall's share in the bulk motion from the line's
    bool search_cycles = true;         ///< look for a wall's cycle over all within reach
    int rounds = 3;       ///< of shares and time courses in turn, before the walls are placed
    int fine_rounds = 5;  ///< and after
    JointMotionOptions coarse{};
    JointMotionOptions fine{.pulse_cutoff = 35};
    GapSettlingOptions gaps;
    TissueLagOptions lag;
    ReferenceLayerOptions reference;
    WallModelOptions model;
};

inline void validate(const WallSeparationOptions& options) {
    require(options.tissue_half_gate > 0, "tissue_half_gate", options.tissue_half_gate,
            "must be positive [m]");
    require(options.tissue_spacing >= closest_gates, "tissue_spacing", options.tissue_spacing,
            detail::concatenate("must be at least ", closest_gates, " [m]"));
    require(options.wall_distance > 0, "wall_distance", options.wall_distance,
            "must be positive [m]");
    require(options.bulk_reach > 0, "bulk_reach", options.bulk_reach, "must be positive");
    require(options.rounds >= 1, "rounds", options.rounds, "must be at least 1");
    require(options.fine_rounds >= 1, "fine_rounds", options.fine_rounds, "must be at least 1");
    validate(options.coarse);
    validate(options.fine);
    validate(options.gaps);
    validate(options.lag);
    validate(options.reference);
    validate(options.model);
    detail::require_at_most(options.tissue_half_gate, largest_option::length, "tissue_half_gate",
                            "[m]");
    detail::require_at_most(options.tissue_spacing, largest_option::length, "tissue_spacing",
                            "[m]");
    detail::require_at_most(options.wall_distance, largest_option::length, "wall_distance", "[m]");
    detail::require_at_most(options.bulk_reach, largest_bulk_reach, "bulk_reach");
    detail::require_at_most(options.rounds, largest_option::rounds, "rounds");
    detail::require_at_most(options.fine_rounds, largest_option::rounds, "fine_rounds");
}

/// What a wall does beyond pulse and bulk motion (wall_motion.hpp).
struct WallMotionOptions {
    double cutoff = 20;     ///< of what the wall does by itself [Hz]
    double spread = 20e-6;  ///< of it, usually [m]
};

inline void validate(const WallMotionOptions& options) {
    require(options.cutoff > 0, "cutoff", options.cutoff, "must be positive [Hz]");
    require(options.spread > 0, "spread", options.spread, "must be positive [m]");
    detail::require_at_most(options.cutoff, largest_option::frequency, "cutoff", "[Hz]");
    detail::require_at_most(options.spread, largest_option::length, "spread", "[m]");
}

}  // namespace echosieve
