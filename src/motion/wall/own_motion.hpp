// How a separated wall moves in each frame: with the common time courses, and beyond them; and how
// sure that is.
#pragma once

#include <Eigen/Core>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/layers/layers.hpp"
#include "motion/wall/fit.hpp"

namespace echosieve {

// Symbols (the rest as in layers.hpp)
//   d_i   displacement beyond a p_i + b q_i [m];  R = rest of the gate;  v its mean square a bin
//   J = -i 2 pi f (2/c) times the wall's echo in the frame;  H_i = sum_f |J|^2 / v
//
// d minimises sum_i |R - J d|^2 / v + lambda |second difference of d|^2 + |d / s|^2 / n: smooth
// below the cutoff f_c, and small beside the spread s (n = f_r / 2 f_c frames a free value). The
// shares are only the scaffold: this step lets the wall leave it.
// Standard deviation of a frame: sqrt(1 / (2 H_i)) of one frame alone (the Cramer-Rao bound of a
// delay with the waveform known), times sqrt(2 f_c / f_r) for the frames that each value rests on.

struct WallMotion {
    Eigen::ArrayXd displacement;  ///< from rest, deeper positive [m]
    Eigen::ArrayXd own;           ///< the part of it beyond the common time courses [m]
    Eigen::ArrayXd deviation;     ///< standard deviation of the displacement [m]
    /// of the frame's gate, tissue taken out, with the wall's echo: 0 to 1, 0 in unusable frames
    Eigen::ArrayXd correlation;
    Eigen::ArrayXcd strength;  ///< of the wall's echo, 1 as its layers have it
};

/// Per frame: the wall's echo, conjugate, times what its gate holds with the tissue taken out;
/// turned by what the wall moves by beyond its model.
[[nodiscard]] Eigen::ArrayXcd echo_products(const SeparatedWall& wall, const LayerTimes& times);

/// Motion of one wall. `cutoff` of the common pulse's steps bounds the bandwidth of the result.
[[nodiscard]] WallMotion wall_motion(const SeparatedWall& wall, const LayerTimes& times,
                                     double frame_rate, const WallMotionOptions& options = {});

}  // namespace echosieve
