// Displacements smoothed as options have it.
#pragma once

#include <Eigen/Core>

#include "echosieve/motion/smoothing.hpp"

namespace echosieve {

/// x [m, per frame] smoothed.
[[nodiscard]] Eigen::ArrayXd smoothed(const Eigen::ArrayXd& x, const Smoothing& smoothing,
                                      double frame_rate);

}  // namespace echosieve
