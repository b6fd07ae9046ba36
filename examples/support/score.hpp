// How well a measured motion agrees with the truth of a synthetic recording.
#pragma once

#include <cstddef>
#include <vector>

#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/synthesis/render.hpp"

namespace examples {

// Symbols
//   x_i measured, t_i true, over the frames that were not dropped and have a depth;  e_i = x_i -
//   t_i rms   = standard deviation of e: a constant offset is no error of motion gain  = sum (x -
//   mean x)(t - mean t) / sum (t - mean t)^2;  gain error = gain - 1 depth = mean of e
//
// A wall has two layers, and a method may follow either: each score is against the layer with the
// smaller rms, each quantity choosing for itself.

/// Per frame: depths [m], and which frames the method calls valid.
struct MeasuredWalls {
    std::vector<double> near;
    std::vector<double> far;
    std::vector<bool> valid;
};

[[nodiscard]] MeasuredWalls measured_walls(const echosieve::ArteryMotion& motion);

inline constexpr double close_motion = 20e-6;  ///< what the quality of a frame refers to [m]

struct Agreement {
    double rms = 0;         ///< mean removed [m]
    double gain_error = 0;  ///< 0 where the size of the motion is right; NaN if the truth rests
    double offset = 0;      ///< mean error [m]
};

struct Score {
    Agreement near;
    Agreement far;
    Agreement distension;
    Agreement valid_distension;  ///< over the valid frames alone
    double near_depth = 0;       ///< mean error against the outer layer [m]
    double far_depth = 0;
    std::size_t measured = 0;     ///< frames that were not dropped
    std::size_t valid = 0;        ///< of those, how many are called valid
    std::size_t false_valid = 0;  ///< dropped frames called valid
};

/// Throws std::invalid_argument if the lengths differ or there are no frames, as all of these do.
[[nodiscard]] Agreement agreement(const std::vector<double>& x, const std::vector<double>& t);

[[nodiscard]] Score score(const MeasuredWalls& measured, const echosieve::Truth& truth);

/// Error of one wall's displacement per frame, mean removed, against the layer that fits better
/// [m]; NaN in frames that were dropped or have no depth.
[[nodiscard]] std::vector<double> displacement_errors(const std::vector<double>& measured,
                                                      const echosieve::Truth& truth, bool far);

/// The same of the diameter.
[[nodiscard]] std::vector<double> distension_errors(const MeasuredWalls& measured,
                                                    const echosieve::Truth& truth);

/// Errors along the pulse and across it.
struct ErrorParts {
    double gain = 0;  ///< by how much the motion is too large over the pulse's range [m]
    double rest = 0;  ///< rms of what is left [m]
};

/// Parts of a wall's errors, the artery's true diameter the pulse; frames whose error is NaN are
/// left out.
[[nodiscard]] ErrorParts error_parts(const std::vector<double>& errors,
                                     const echosieve::Truth& truth);

}  // namespace examples
