// The two time courses that everything along the line shares: the pulse and the bulk motion.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <span>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion_options.hpp"
#include "motion/courses/phase_track.hpp"
#include "motion/courses/time_courses.hpp"
#include "motion/courses/track_joining.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

// Symbols
//   u_z(i)  displacement of the gate at depth z in frame i [m]
//   p(i)    pulse: range (3 % to 97 %) 1, mean 0            a_z  its share at depth z [m]
//   q(i)    bulk motion (breathing, slip): mean 0 [m]       b_z  its share, median 1
//
//   r(i)    slow strain, up to 1 Hz, mean 0; z_0 a depth in the middle of the line [m]
//
//   u_z(i) = a_z p(i) + b_z q(i) + (z - z_0) r(i) + rest
//
// r is left out unless it explains much: it is for what breathes less with depth while the sensor
// slips, which moves all depths alike, so that q alone can't be both.
// p and q span the first two singular vectors of the weighted tracks; time_courses.hpp tells them
// apart. They are fixed up to a mixture; the gauge is that the median depth has no share of p.

/// A depth's share in the bulk motion lies within these: the sensor slips along all depths alike,
/// and breathing moves some more.
inline constexpr double least_bulk_share = 0.5;
inline constexpr double most_bulk_share = 1.6;

struct CommonMotion {
    Eigen::ArrayXd pulse;        ///< p, per frame
    Eigen::ArrayXd bulk;         ///< q, per frame [m]
    Eigen::ArrayXd depths;       ///< of the gates that it was estimated from [m]
    Eigen::ArrayXd pulse_share;  ///< a, per gate [m]
    Eigen::ArrayXd bulk_share;   ///< b, per gate
    Eigen::ArrayXd weight;       ///< trust in each gate's track, largest 1
    Eigen::ArrayXd stretch;      ///< r, per frame; empty if nothing speaks for it
    double stretch_centre = 0;   ///< z_0 [m]
    double coherence = 0;        ///< weighted mean coherence of the tracks
    double bulk_intercept = 1;   ///< b(z) ~ intercept + slope z: a robust line through bulk_share
    double bulk_slope = 0;       ///< [1/m]

    /// b at `depth` [m] from the line, kept within those bounds.
    [[nodiscard]] double bulk_share_at(double depth) const noexcept {
        return std::clamp(bulk_intercept + bulk_slope * depth, least_bulk_share, most_bulk_share);
    }
    /// False if there was nothing to estimate it from.
    [[nodiscard]] bool usable() const noexcept { return pulse.size() > 0; }
};

/// Fits b = intercept + slope z to the gates' bulk shares, with weights that fall with the misfit.
void fit_bulk_line(CommonMotion& motion);

/// Estimates p and q from the phase tracks of the whole line. Not usable() if the line holds fewer
/// than three gates or nothing in it is coherent from frame to frame.
[[nodiscard]] CommonMotion estimate_common_motion(const LineHistory& line,
                                                  const CommonMotionOptions& options = {});

/// Of one or more lines over one artery, of as many frames taken at the same times: p, q and r are
/// the same for all, from the tracks of all; each has its own gates. A line too short for tracks,
/// alone, is not usable().
[[nodiscard]] std::vector<CommonMotion> estimate_common_motions(
    std::span<const LineHistory* const> lines, const CommonMotionOptions& options = {});

}  // namespace echosieve
