// How the two walls are looked for along the line: the options. The steps themselves, with their
// symbols: src/motion/wall/share_scan.hpp, wall_finder.hpp. The pulse p has range 1, so that a
// share in it is a length.
#pragma once

#include <limits>

#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

/// Where the ring-down ends, unless another depth is said [m].
inline constexpr double default_dead_zone = 3.0e-3;
/// No wall moves further over a pulse [m]; the scan's cost grows with its grid cubed.
inline constexpr double largest_scanned_share = 3e-3;
inline constexpr double most_steps_per_wavelength = 32;
inline constexpr double fastest_drift = 20;  ///< what is faster is no drift [Hz]

/// A gate asked for the fastest pulse share in it, all slower ones allowed.
struct ShareScanOptions {
    double largest_share = 750e-6;  ///< over the range of p [m]
    double steps_per_wavelength =
        4;                      ///< of the grid: a half wavelength over the range of p is so many
    double against = 60e-6;     ///< how far the grid reaches the other way [m]
    double least_noise = 0.03;  ///< part of a gate's power that the model may not reach
    double unexplained = 0.03;  ///< part of the evidence that faster shares may still hold
    double mirror = 0.7;  ///< of the evidence for motion the other way: what is no motion at all,
                          ///< but strength that changes, shows both ways alike
    double drift_frequency =
        1;                  ///< what the strongest layer does below it by itself is taken out [Hz]
    double distinct = 0.7;  ///< shares below this part of the fastest are slower ones
};

inline void validate(const ShareScanOptions& options) {
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

/// Where a wall may lie: the centre of its gate.
struct DepthRange {
    double from = 0;                                      ///< [m]
    double to = std::numeric_limits<double>::infinity();  ///< [m]

    [[nodiscard]] bool holds(double depth) const noexcept { return depth >= from && depth <= to; }
};

/// Depths tried closer together hold the same echoes, and further apart they leave some out [half
/// gates].
inline constexpr double closest_scan = 0.02;
inline constexpr double widest_scan = 2;

/// Which pair of depths is taken for the walls.
struct WallFinderOptions {
    /// below the first sample, where the ring-down ends: no wall is looked for above, and nothing
    /// there counts for contact, energy, slips, the common motion or the pulse's shape [m]
    double dead_zone = default_dead_zone;
    double smallest_diameter = 3e-3;     ///< between the walls [m]
    double largest_diameter = 13e-3;     ///< [m]
    double scan_spacing = 0.3;           ///< between the depths tried, in half gates
    double smallest_motion = 12e-6;      ///< of a wall over the range of the pulse [m]
    double smallest_distension = 60e-6;  ///< of both walls together, over the same range [m]
    double smallest_share = 0.1;         ///< of the distension that a wall takes
    double least_evidence = 20;    ///< for anything that moves, and for a wall's share over clearly
                                   ///< slower ones alone
    double mirror = 0.15;          ///< of the evidence for motion the other way: less is its image
    double usual_part = 0.05;      ///< of the line's most evidence one way: where half is believed
    double evidence_power = 0.15;  ///< of the evidence, beside the share's square
    ShareScanOptions scan;
    double interval = 4e-3;           ///< frames within it together weigh 1 in the evidence [s]
    double longest_interval = 16e-3;  ///< frames within it are averaged while little moves [s]
    double usual_motion = 400e-6;     ///< of a wall over the range of p [m]: in an average its
    double largest_turn = 0.35;       ///< echo turns by this at most [rad]
    DepthRange near_range;            ///< where the near wall is looked for, at rest
    DepthRange far_range;             ///< where the far wall is looked for, at rest
};

inline void validate(const WallFinderOptions& options) {
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
    detail::require_at_most(options.evidence_power, 10.0, "evidence_power");
    detail::require_at_most(options.interval, largest_option::time, "interval", "[s]");
    detail::require_at_most(options.longest_interval, largest_option::time, "longest_interval",
                            "[s]");
    detail::require_at_most(options.usual_motion, largest_option::length, "usual_motion", "[m]");
    detail::require_at_most(options.largest_turn, largest_option::factor, "largest_turn", "[rad]");
}

}  // namespace echosieve
