#include "echosieve/motion/wall_options.hpp"

#include <cmath>
#include <cstddef>
#include <vector>

#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/error.hpp"
#include "motion/wall/shared_beliefs.hpp"

namespace echosieve {

namespace {

// No wall moves further over a pulse [m]; the scan's cost grows with its grid cubed.
constexpr double largest_scanned_share = 3e-3;
constexpr double most_steps_per_wavelength = 32;
constexpr double fastest_drift = 20;  // what is faster is no drift [Hz]
// Depths tried closer together hold the same echoes, and further apart they leave some out [half
// gates].
constexpr double closest_scan = 0.02;
constexpr double widest_scan = 2;
// Of options that are powers: beyond these they say nothing.
constexpr double largest_evidence_power = 10;
constexpr double largest_tissue_power = 1e3;
constexpr double largest_wall_power = 1e6;
// Tissue that is later by more follows another beat [s].
constexpr double longest_tissue_lag = 0.5;
// No wall is thicker, and no pulse longer [m].
constexpr double thickest_sheet = 20e-3;
// Values tried for each of the wall model's beliefs: each costs as much as the next.
constexpr std::size_t most_beliefs = 100;
// Of a wall's bulk share from the line's: the line's own lie within 0.5 to 1.6.
constexpr double largest_bulk_reach = 10;
// A wall's gate holds no more independent echoes.
constexpr std::size_t most_wall_echoes = 1000;

}  // namespace

void validate(const ShareScanOptions& options) {
    require(options.largest_share > 0, "largest_share", options.largest_share,
            "must be positive [m]");
    require(options.steps_per_wavelength >= 1, "steps_per_wavelength", options.steps_per_wavelength,
            "must be at least 1");
    require(options.against >= 0, "against", options.against, "must be zero or more [m]");
    require(options.least_noise > 0 && options.least_noise < 1, "least_noise", options.least_noise,
            "must lie in (0, 1)");
    require(options.unexplained > 0 && options.unexplained < 1, "unexplained", options.unexplained,
            "must lie in (0, 1)");
    require(options.mirror >= 0, "mirror", options.mirror, "must be zero or more");
    require(options.drift_frequency > 0, "drift_frequency", options.drift_frequency,
            "must be positive [Hz]");
    require(options.distinct > 0 && options.distinct < 1, "distinct", options.distinct,
            "must lie in (0, 1)");
    detail::require_at_most(options.largest_share, largest_scanned_share, "largest_share", "[m]");
    detail::require_at_most(options.against, largest_scanned_share, "against", "[m]");
    detail::require_at_most(options.steps_per_wavelength, most_steps_per_wavelength,
                            "steps_per_wavelength");
    detail::require_at_most(options.mirror, largest_option::factor, "mirror");
    detail::require_at_most(options.drift_frequency, fastest_drift, "drift_frequency", "[Hz]");
}

void validate(const WallFinderOptions& options) {
    require(options.dead_zone >= 0, "dead_zone", options.dead_zone, "must be zero or more [m]");
    require(options.smallest_diameter > 0, "smallest_diameter", options.smallest_diameter,
            "must be positive [m]");
    require(options.largest_diameter > options.smallest_diameter, "largest_diameter",
            options.largest_diameter, "must exceed smallest_diameter [m]");
    require(
        options.scan_spacing >= closest_scan && options.scan_spacing <= widest_scan, "scan_spacing",
        options.scan_spacing,
        detail::concatenate("must lie in [", closest_scan, ", ", widest_scan, "] [half gates]"));
    require(options.smallest_motion > 0, "smallest_motion", options.smallest_motion,
            "must be positive [m]");
    require(options.smallest_distension >= 0, "smallest_distension", options.smallest_distension,
            "must be zero or more [m]");
    require(options.smallest_share >= 0 && options.smallest_share <= 0.5, "smallest_share",
            options.smallest_share, "must lie in [0, 0.5]");
    require(options.least_evidence >= 0, "least_evidence", options.least_evidence,
            "must be zero or more");
    require(options.mirror >= 0, "mirror", options.mirror, "must be zero or more");
    require(options.usual_part >= 0, "usual_part", options.usual_part, "must be zero or more");
    require(options.evidence_power >= 0, "evidence_power", options.evidence_power,
            "must be zero or more");
    validate(options.scan);
    require(options.interval >= 0, "interval", options.interval, "must be zero or more [s]");
    require(options.longest_interval >= 0, "longest_interval", options.longest_interval,
            "must be zero or more [s]");
    require(options.usual_motion > 0, "usual_motion", options.usual_motion, "must be positive [m]");
    require(options.largest_turn >= 0, "largest_turn", options.largest_turn,
            "must be zero or more [rad]");
    const auto range = [](const DepthRange& wanted, const char* from, const char* to) {
        require(wanted.from <= wanted.to, from, wanted.from,
                detail::concatenate("must not exceed ", to, ", ", wanted.to, " [m]"));
    };
    range(options.near_range, "near_range.from", "near_range.to");
    range(options.far_range, "far_range.from", "far_range.to");
    detail::require_at_most(options.dead_zone, largest_option::length, "dead_zone", "[m]");
    detail::require_at_most(options.largest_diameter, largest_option::length, "largest_diameter",
                            "[m]");
    detail::require_at_most(options.smallest_motion, largest_option::length, "smallest_motion",
                            "[m]");
    detail::require_at_most(options.smallest_distension, largest_option::length,
                            "smallest_distension", "[m]");
    detail::require_at_most(options.least_evidence, largest_option::factor, "least_evidence");
    detail::require_at_most(options.mirror, largest_option::factor, "mirror");
    detail::require_at_most(options.usual_part, largest_option::factor, "usual_part");
    detail::require_at_most(options.evidence_power, largest_evidence_power, "evidence_power");
    detail::require_at_most(options.interval, largest_option::time, "interval", "[s]");
    detail::require_at_most(options.longest_interval, largest_option::time, "longest_interval",
                            "[s]");
    detail::require_at_most(options.usual_motion, largest_option::length, "usual_motion", "[m]");
    detail::require_at_most(options.largest_turn, largest_option::factor, "largest_turn", "[rad]");
}

void validate(const WallSearchOptions& options) {
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

void validate(const TissueLagOptions& options) {
    require(options.largest_lag > 0, "largest_lag", options.largest_lag, "must be positive [s]");
    require(options.least_evidence >= 0, "least_evidence", options.least_evidence,
            "must be zero or more");
    require(options.least_gain >= 0, "least_gain", options.least_gain, "must be zero or more");
    detail::require_at_most(options.largest_lag, longest_tissue_lag, "largest_lag", "[s]");
    detail::require_at_most(options.least_evidence, largest_option::factor, "least_evidence");
    detail::require_at_most(options.least_gain, largest_option::factor, "least_gain");
}

void validate(const ReferenceLayerOptions& options) {
    require(options.lowest_peak > 0 && options.lowest_peak < 1, "lowest_peak", options.lowest_peak,
            "must lie in (0, 1)");
    require(options.reach > 0, "reach", options.reach, "must be positive [m]");
    require(options.thickest_wall > 0, "thickest_wall", options.thickest_wall,
            "must be positive [m]");
    detail::require_at_most(options.reach, largest_option::length, "reach", "[m]");
    detail::require_at_most(options.thickest_wall, largest_option::length, "thickest_wall", "[m]");
}

void validate(const WallModelOptions& options) {
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
    all_within(options.tissue_powers, largest_tissue_power, "tissue_powers");
    all_within(options.wall_powers, largest_wall_power, "wall_powers");
    all_within(options.tissue_reaches, 1, "tissue_reaches");
    require(options.strain_mean + furthest_strain * options.strain_spread <= largest_strain,
            "strain_spread", options.strain_spread,
            detail::concatenate("must keep strain_mean + ", furthest_strain,
                                " strain_spread within ", largest_strain));
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

void validate(const WallSeparationOptions& options) {
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

void validate(const WallMotionOptions& options) {
    require(options.cutoff > 0, "cutoff", options.cutoff, "must be positive [Hz]");
    require(options.spread > 0, "spread", options.spread, "must be positive [m]");
    detail::require_at_most(options.cutoff, largest_option::frequency, "cutoff", "[Hz]");
    detail::require_at_most(options.spread, largest_option::length, "spread", "[m]");
}

void validate(const WallEchoOptions& options) {
    require(options.atoms >= 1, "atoms", options.atoms, "must be at least 1");
    require(options.spread >= 0 && options.spread < 1, "spread", options.spread,
            "must lie in [0, 1)");
    require(options.least_energy >= 0 && options.least_energy < 1, "least_energy",
            options.least_energy, "must lie in [0, 1)");
    detail::require_at_most(options.atoms, most_wall_echoes, "atoms");
}

void validate(const WallDeviationOptions& options) {
    const auto factor = [](double value, const char* name) {
        require(value >= 0, name, value, "must be zero or more");
        detail::require_at_most(value, largest_option::factor, name);
    };
    factor(options.noise, "noise");
    factor(options.gain_scatter, "gain_scatter");
    factor(options.gain_own, "gain_own");
    factor(options.model_own, "model_own");
    const auto least = [](double value, const char* name) {
        require(value >= 0, name, value, "must be zero or more [m]");
        detail::require_at_most(value, largest_option::length, name, "[m]");
    };
    least(options.gain_least, "gain_least");
    least(options.model_least, "model_least");
    least(options.wrong_wall, "wrong_wall");
    const auto correlation = [](double value, const char* name) {
        require(value >= -1 && value <= 1, name, value, "must lie in [-1, 1]");
    };
    correlation(options.gain_correlation, "gain_correlation");
    correlation(options.model_correlation, "model_correlation");
}

void validate(const WallConfidenceOptions& options) {
    for (const double weight : options.weights) {
        require(std::isfinite(weight), "weights", weight, "must be finite");
    }
    validate(options.deviation);
    require(options.close > 0, "close", options.close, "must be positive [m]");
    require(options.least_confidence >= 0 && options.least_confidence <= 1, "least_confidence",
            options.least_confidence, "must lie in [0, 1]");
    detail::require_at_most(options.close, largest_option::length, "close", "[m]");
}

}  // namespace echosieve
