// Per-frame least squares whose solutions are held smooth along frames.
#pragma once

#include <Eigen/Core>

namespace echosieve {

// Symbols
//   x_i  the M unknowns of frame i;  H_i, g_i their curvature (M x M) and gradient
//
// Minimises sum_i (x_i^T H_i x_i / 2 - g_i^T x_i) + sum_m lambda_m |second difference of x_m|^2 /
// 2: one symmetric banded system of half-bandwidth 2 M (a smoothing spline's penalty, Reinsch 1967,
// from memory).

/// lambda at which a step that varies at `cutoff` [Hz] is held back to half, for the mean curvature
/// given.
[[nodiscard]] double roughness_penalty(double mean_curvature, double cutoff, double frame_rate);

/// The minimising x [frames x M], from curvature [frames x M * M] (row-major H_i, its lower
/// triangle is read), gradient [frames x M] and penalty [M].
[[nodiscard]] Eigen::ArrayXXd smooth_steps(const Eigen::ArrayXXd& curvature,
                                           const Eigen::ArrayXXd& gradient,
                                           const Eigen::ArrayXd& penalty);

}  // namespace echosieve
