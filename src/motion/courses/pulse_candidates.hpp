// Other guesses of the pulse, where the tissue hardly follows it: from single gates, once the bulk
// motion is turned back.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion_options.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/courses/phase_track.hpp"
#include "motion/courses/track_joining.hpp"
#include "motion/line/line.hpp"

namespace echosieve {

// Symbols (the rest as in common_motion.hpp)
//   y'_i(z) = y_i(z) e^{+i k b(z) q_i}, k phase per metre: the line, its bulk motion turned back
//   V(z) = -sum_i v_i Im(conj(y'_i) y'_{i+L}) / |v|,  v_i = p_{i+L} - p_i without its mean: what
//          follows the velocity of p downwards (V > 0) or upwards (V < 0), and how strongly
//
// The pulse of the common motion is the tissue's. Where that hardly pulsates, it is noise; but the
// walls move all the same, and any gate on one, alone, shows the pulse. Which guess is right shows
// in the walls: V is large and of opposite sign at two depths.

/// Where walls may lie, for opposition().
struct WallLimits {
    double first_depth = 0;                              ///< [m]
    double smallest_diameter = 0, largest_diameter = 0;  ///< [m]
};

/// A guess of p and what speaks for it.
struct PulseCandidate {
    Eigen::ArrayXd pulse;   ///< range (3 % to 97 %) 1, mean 0
    double opposition = 0;  ///< sqrt(-V(z_1) V(z_2)) of the best two depths
};

/// The pulse of `motion` first, then what single gates and all of them together show, the most
/// opposed first; of guesses that are alike, the first. Throws InvalidInput for options outside
/// their domain.
[[nodiscard]] std::vector<PulseCandidate> pulse_candidates(
    const LineHistory& line, const CommonMotion& motion, const WallLimits& limits,
    const PulseCandidateOptions& options = {});

}  // namespace echosieve
