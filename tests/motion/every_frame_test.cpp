#include "motion/wall/every_frame.hpp"

#include <cmath>

#include "motion/line/averaged_line.hpp"
#include "motion/wall/own_motion.hpp"
#include "motion/wall/search.hpp"
#include "motion/wall/separation.hpp"
#include "support/artery_line.hpp"
#include "support/check.hpp"

using namespace echosieve;

TEST_CASE("walls taken apart on an averaged line are had at every frame") {
    const test::ArteryLine made({});
    const CommonMotion motion = made.motion();
    const FrameGroups groups = even_groups(made.line.frames(), 4);
    const LineHistory averaged = averaged_line(made.line, motion.bulk, groups);
    CommonMotion coarse = motion;
    coarse.pulse = group_means(motion.pulse, made.line.weights(), groups);
    coarse.bulk = group_means(motion.bulk, made.line.weights(), groups);
    const LayerTimes times{coarse.pulse, coarse.bulk, averaged.weights(), 1540};
    WallPair pair;
    pair.near = {made.options.near_depth, made.options.near_share};
    pair.far = {made.options.far_depth, made.options.far_share};
    SeparatedWalls walls =
        separate_walls(averaged, pair, times, tissue_gates(averaged, coarse, times, {}));
    walls.times.lag = 2;
    walls.near.evidence = 17;
    const SeparatedWalls every = at_every_frame(made.line, walls, 4);
    REQUIRE(every.times.pulse.size() == made.line.frames());
    CHECK(every.times.lag == 8);
    CHECK((group_means(every.times.pulse, made.line.weights(), groups) - walls.times.pulse)
              .abs()
              .maxCoeff() < 0.02);  // of 1: the upstroke bends within a group
    CHECK(every.tissue.empty());
    CHECK(every.near.evidence == 17);
    for (const double sense : {-1.0, 1.0}) {
        const SeparatedWall& wall = sense < 0 ? every.near : every.far;
        CHECK(wall.state.depth == (sense < 0 ? walls.near : walls.far).state.depth);
        CHECK(wall.layered.gate.values.rows() == made.line.frames());
        CHECK(wall.layered.fit.residual() < 0.02);
        const Eigen::ArrayXd error =
            wall_motion(wall, every.times, 500).displacement - made.wall_course(sense);
        constexpr double fine = 3e-6;  // 8 ms of averaging at 500 frames a second
        CHECK_WITHIN(std::sqrt((error - error.mean()).square().mean()), 0.0, fine);
    }
    const SeparatedWalls same = at_every_frame(made.line, walls, 1);
    CHECK((same.times.pulse == walls.times.pulse).all());
    CHECK(same.times.lag == 2);
}
