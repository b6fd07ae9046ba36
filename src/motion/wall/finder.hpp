// Finds the artery without a gate: two walls that move apart with the pulse.
#pragma once

#include <cstddef>
#include <limits>
#include <optional>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/share_scan.hpp"

namespace echosieve {

// Gates all along the line are asked for the fastest share of the pulse that they hold, up (near
// wall) or down (far wall), see share_scan.hpp. Tissue follows a wall, the less the further away:
// so the pair of depths with the fastest shares, seen well enough, is the artery.

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
