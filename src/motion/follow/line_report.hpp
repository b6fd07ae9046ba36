// What a line's walls do in every frame, told as an ArteryMotion.
#pragma once

#include <vector>

#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/track_options.hpp"
#include "motion/follow/followed_walls.hpp"
#include "motion/follow/prepared_line.hpp"
#include "motion/wall/separation.hpp"

namespace echosieve {

/// Both walls in all frames, and the frames in which both are seen.
struct FollowedLine {
    SeparatedWalls walls;
    FollowedWalls moved;
    std::vector<bool> valid;
};

[[nodiscard]] FollowedLine follow_line(const PreparedLine& prepared, const SeparatedWalls& found,
                                       const TrackOptions& options);

/// Tells `result`, which has its pulse delay, of the walls; and of the frames, if the walls are
/// trusted. Its status is then said.
void report_line(const PreparedLine& prepared, FollowedLine& followed, const TrackOptions& options,
                 ArteryMotion& result);

}  // namespace echosieve
