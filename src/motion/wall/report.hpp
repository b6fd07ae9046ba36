// What is said of a followed wall beside its place: how it moves, and the signs of how well it
// fits.
#pragma once

#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/wall/fit.hpp"
#include "motion/wall/own_motion.hpp"

namespace echosieve {

/// The report of a wall but for its depth, confidence, echoes and what it does in each frame.
[[nodiscard]] WallReport wall_report(const SeparatedWall& wall, const WallMotion& motion,
                                     double frame_rate);

/// Confidence of both walls of a pair, from each other's reports.
void set_confidence(WallReport& near, WallReport& far, const WallConfidenceOptions& options);

}  // namespace echosieve
