// Finds the artery without a gate: two walls that move apart with the pulse.
#pragma once

#include <array>
#include <cstddef>
#include <limits>
#include <optional>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion.hpp"
#include "echosieve/motion/layers.hpp"
#include "echosieve/motion/line.hpp"
#include "echosieve/motion/share_scan.hpp"

namespace echosieve {

// Gates all along the line are asked for the fastest share of the pulse that they hold, up (near
// wall) or down (far wall), see share_scan.hpp. Tissue follows a wall, the less the further away:
// so the pair of depths with the fastest shares, seen well enough, is the artery.

/// Half length of a gate that holds a wall [m]: its layers, and a pulse's length beside them.
[[nodiscard]] inline double wall_half_gate(const Sensor& sensor) noexcept {
    return 0.4e-3 + 0.9e-3 * (1e6 / sensor.bandwidth);
}

/// Where a wall may lie: the centre of its gate.
struct DepthRange {
    double from = 0;                                      ///< [m]
    double to = std::numeric_limits<double>::infinity();  ///< [m]

    [[nodiscard]] bool holds(double depth) const noexcept { return depth >= from && depth <= to; }
};

struct WallFinderOptions {
    double dead_zone =
        3.0e-3;  ///< depth below the first sample where no wall is looked for (ring-down) [m]
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
    require(options.scan_spacing > 0, "scan_spacing", options.scan_spacing,
            "must be positive [half gates]");
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
    require(options.near_range.from <= options.near_range.to, "near_range.from",
            options.near_range.from,
            detail::concatenate("must not exceed near_range.to, ", options.near_range.to, " [m]"));
    require(options.far_range.from <= options.far_range.to, "far_range.from",
            options.far_range.from,
            detail::concatenate("must not exceed far_range.to, ", options.far_range.to, " [m]"));
}

/// What one depth of the line holds.
struct ScannedDepth {
    double depth = 0;                        ///< centre of the gate [m]
    double bulk = 1;                         ///< b of the line there
    std::array<FastestShare, 2> directions;  ///< [0] upwards with p, [1] downwards
};

/// A place where a wall may be.
struct WallCandidate {
    double depth = 0;     ///< centre of the gate [m]
    double share = 0;     ///< size, over the range of p [m]
    double bulk = 1;      ///< b of the line there
    double evidence = 0;  ///< see FastestShare
    double total = 0;     ///< see FastestShare
};

struct WallPair {
    WallCandidate near;
    WallCandidate far;
    double pulse_sign = 1;  ///< p times this widens the artery
    double score = 0;
};

/// Gates all along the line below the dead zone, scanned in both directions.
[[nodiscard]] std::vector<ScannedDepth> scan_line(const LineHistory& line,
                                                  const CommonMotion& motion,
                                                  const WallFinderOptions& options);

/// A straight line through the gates' pulse shares over depth.
struct ShareLine {
    double depth = 0;      ///< weighted mean of the gates' depths [m]
    double share = 0;      ///< there [m]
    double slope = 0;      ///< share over depth
    double linearity = 0;  ///< part of the shares' variance that it explains, 0 to 1

    [[nodiscard]] double at(double z) const noexcept { return share + slope * (z - depth); }
};

/// By weighted least squares, `weight` per gate. Around an artery the shares turn over: tissue
/// above it goes up, tissue below it down, both less the further away.
[[nodiscard]] ShareLine pulse_share_line(const CommonMotion& motion, const Eigen::ArrayXd& weight);

/// The pair of walls with the highest score, or nothing: no two places of opposite motion that the
/// options allow as walls. Throws InvalidInput for options outside their domain.
[[nodiscard]] std::optional<WallPair> find_walls(const LineHistory& line,
                                                 const CommonMotion& motion,
                                                 const WallFinderOptions& options = {});

}  // namespace echosieve
