#include "motion/follow/followed_walls.hpp"

#include "motion/wall/deviation.hpp"
#include "motion/wall/report.hpp"

namespace echosieve {

FollowedWalls follow_walls(const LineHistory& line, const SeparatedWalls& walls,
                           const WallMotionOptions& motion,
                           const WallConfidenceOptions& confidence) {
    const double rate = line.settings.frame_rate;
    const auto follow = [&](const SeparatedWall& wall) {
        FollowedWall out;
        out.motion = wall_motion(wall, walls.times, rate, motion);
        out.report = wall_report(wall, out.motion, rate);
        set_deviations(out.report, out.motion, confidence.deviation);
        out.motion.displacement += line.slow_path(wall.state.depth);
        return out;
    };
    FollowedWalls out{follow(walls.near), follow(walls.far)};
    set_confidence(out.near.report, out.far.report, confidence);
    return out;
}

}  // namespace echosieve
