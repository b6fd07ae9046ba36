// How far a followed wall can be trusted: the chance that it is the right wall in the right cycle
// of its carrier, and that a frame's displacement is close to the truth.
#pragma once

#include <array>
#include <cstddef>

#include "echosieve/core/detail/api.hpp"
#include "echosieve/motion/artery_motion.hpp"

namespace echosieve {

// Symbols
//   x   signs of a wall and its pair, see wall_signs();  w  their weights
//   P(right) = 1 / (1 + e^(-w x))                              (logistic regression)
//   k   errors of right walls over what the curvature of the fit gives, in the median: the reported
//       standard deviation s_i of frame i is k times that
//   q_i = P(right) erf(t / (sqrt(2) s_i)) in frame i: within t of the truth, the error normal
//
// A wrong wall, the wrong layer of the right one, or a lost cycle look like a good fit to the frame
// alone, but leave signs: much unexplained, motion of its own, shares that do not suit each other,
// tissue that pulsates as a whole and a wall that does as the tissue does, little evidence.
// The weights and k are fitted to synthetic recordings of both simulators with known truth, drawn
// from seeds that no test and no published figure uses (`wall_study --details`, then
// bench/studies/calibrate_confidence.py); how well they hold on other seeds, `wall_study` prints.

inline constexpr std::size_t wall_sign_count = 7;
using WallSigns = std::array<double, wall_sign_count>;

/// The signs of one wall of a pair: 1; the part of its gate unexplained; log10 of its fast motion
/// of its own [um]; the difference of both bulk shares; log10 of the part of the tissue's pulse
/// shares that is no straight line over depth; the part of its share by which it stands out from
/// that line, 0 to 1; log10 of its evidence per independent value of its gate.
[[nodiscard]] ECHOSIEVE_API WallSigns wall_signs(const WallReport& wall, const WallReport& other);

struct WallConfidenceOptions {
    WallSigns weights = {2.565, -2.121, -3.947, -3.726, 2.764, 2.582, 2.285};  ///< w
    double deviation_scale = 2.63;                                             ///< k
    double close = 20e-6;                                                      ///< t [m]
    double least_confidence = 0.2;  ///< of each wall: below it no artery is reported
};

ECHOSIEVE_API void validate(const WallConfidenceOptions& options);

/// P(right) of a wall.
[[nodiscard]] ECHOSIEVE_API double wall_confidence(const WallSigns& signs,
                                                   const WallConfidenceOptions& options = {});

/// Chance that a displacement with `deviation` [m] is within t of the truth, the wall being right.
[[nodiscard]] ECHOSIEVE_API double closeness(double deviation,
                                             const WallConfidenceOptions& options = {});

}  // namespace echosieve
