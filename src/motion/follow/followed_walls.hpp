// Both walls in every frame: how each moves, and what is said of it.
#pragma once

#include <algorithm>

#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/fit.hpp"
#include "motion/wall/own_motion.hpp"

namespace echosieve {

struct FollowedWall {
    WallMotion motion;  ///< with what the line is stretched by
    WallReport report;  ///< but for its depth, echoes and what it does in each frame
};

struct FollowedWalls {
    FollowedWall near;
    FollowedWall far;

    /// False if what was found is none.
    [[nodiscard]] bool trusted(const WallConfidenceOptions& options) const noexcept {
        return !(std::min(near.report.confidence, far.report.confidence) <
                 options.least_confidence);
    }
};

/// Walls that were taken apart in all frames of the line.
[[nodiscard]] FollowedWalls follow_walls(const LineHistory& line, const SeparatedWalls& walls,
                                         const WallMotionOptions& motion,
                                         const WallConfidenceOptions& confidence);

}  // namespace echosieve
