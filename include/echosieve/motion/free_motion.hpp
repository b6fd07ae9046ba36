// What a wall does beyond the common time courses, and how sure its displacement is.
#pragma once

#include <Eigen/Core>

#include "echosieve/motion/wall_separation.hpp"

namespace echosieve {

/// Displacement of the wall's layer beyond its shares: per frame [m], and its standard deviation.
struct FreeMotion {
    Eigen::ArrayXd displacement;
    Eigen::ArrayXd deviation;
};

[[nodiscard]] FreeMotion free_motion(const SeparatedWall& wall, const LayerTimes& times,
                                     double frame_rate, double cutoff = 20, double spread = 20e-6);

}  // namespace echosieve
