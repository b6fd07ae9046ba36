#include "motion/wall/averaged_line.hpp"

#include <cmath>
#include <complex>
#include <numbers>

#include "echosieve/core/error.hpp"
#include "motion/wall/wall_motion.hpp"
#include "motion/wall/wall_search.hpp"
#include "support/artery_line.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr Eigen::Index frames = 1003;  // the last block is not full
constexpr double rate = 1000;          // [Hz]

Eigen::ArrayXd seconds() {
    return Eigen::ArrayXd::LinSpaced(frames, 0, static_cast<double>(frames - 1)) / rate;
}

// A line whose samples all turn by one motion [m].
LineHistory turning_line(const Eigen::ArrayXd& motion) {
    LineHistory line;
    line.settings = {125e6, rate, 10e-6, {4e6, 1e6}, 1540};
    line.grid = {10e-6, 4e6, 5, 4e6};
    const double k = line.phase_per_metre(4e6);
    line.samples.resize(frames, 5);
    for (Eigen::Index i = 0; i < frames; ++i) {
        for (Eigen::Index n = 0; n < 5; ++n) {
            line.samples(i, n) =
                std::polar(1.0 + static_cast<double>(n), static_cast<double>(n) - k * motion[i]);
        }
    }
    line.usable.assign(frames, true);
    return line;
}

}  // namespace

TEST_CASE("a line that moves as a whole loses nothing by being averaged") {
    const Eigen::ArrayXd motion = 300e-6 * (2 * std::numbers::pi * 4 * seconds()).sin();
    const LineHistory line = turning_line(motion);
    const FrameBlocks blocks = even_blocks(frames, 4);
    const LineHistory averaged = averaged_line(line, motion, blocks);
    REQUIRE(averaged.frames() == (frames + 3) / 4);
    CHECK(averaged.settings.frame_rate == rate / 4);
    const Eigen::ArrayXd mean = block_means(motion, Eigen::ArrayXd::Ones(frames), blocks);
    const double k = line.phase_per_metre(4e6);
    constexpr double rounding = 1e-12;
    for (Eigen::Index b = 0; b < averaged.frames(); ++b) {
        for (const Eigen::Index n : {0, 4}) {
            CHECK_WITHIN(
                averaged.samples(b, n),
                std::polar(1.0 + static_cast<double>(n), static_cast<double>(n) - k * mean[b]),
                rounding);
        }
    }
    // Without the motion turned back some of it is lost.
    const LineHistory blurred = averaged_line(line, Eigen::ArrayXd::Zero(frames), blocks);
    CHECK(blurred.samples.abs().minCoeff() < 0.98);
}

TEST_CASE("frames that are not usable count for nothing, and blocks of them are bridged") {
    const Eigen::ArrayXd motion = Eigen::ArrayXd::Zero(frames);
    LineHistory line = turning_line(motion);
    for (std::size_t i = 40; i < 47; ++i) {
        line.usable[i] = false;
        line.samples.row(static_cast<Eigen::Index>(i)) = 100;
    }
    const LineHistory averaged = averaged_line(line, motion, even_blocks(frames, 4));
    CHECK(averaged.usable[9]);
    CHECK(!averaged.usable[10]);
    CHECK(!averaged.usable[11]);  // three of its four frames are lost
    CHECK(averaged.usable[12]);
    for (Eigen::Index b = 0; b < averaged.frames(); ++b) {
        CHECK_WITHIN(averaged.samples(b, 0), std::complex<double>(1, 0), 1e-12);
    }
    CHECK_THROWS_AS(static_cast<void>(averaged_line(line, motion.head(9), even_blocks(frames, 4))),
                    InvalidInput);
}

TEST_CASE("a course is had back from its means over blocks") {
    for (const Eigen::Index length : {2, 4, 5}) {
        const double h = static_cast<double>(length) / rate;
        const double omega = 2 * std::numbers::pi * 0.08 / h;
        const Eigen::ArrayXd course = (omega * seconds() + 0.3).sin();
        const Eigen::ArrayXd means =
            block_means(course, Eigen::ArrayXd::Ones(frames), even_blocks(frames, length));
        const Eigen::ArrayXd back = course_of_means(means, frames, length);
        CAPTURE(length);
        // At the ends the cubic is not centred.
        const Eigen::Index inner = frames - 12 * length;
        constexpr double stated = 2e-3;
        CHECK((back - course).segment(4 * length, inner).abs().maxCoeff() < stated);
        CHECK((back - course).abs().maxCoeff() < 20 * stated);
    }
    const Eigen::ArrayXd line = 2 + 3 * seconds();
    const Eigen::ArrayXd means =
        block_means(line, Eigen::ArrayXd::Ones(frames), even_blocks(frames, 4));
    CHECK_WITHIN((course_of_means(means, frames, 4) - line).head(frames - 8).abs().maxCoeff(), 0.0,
                 1e-12);
}

TEST_CASE("a course of single frames is itself, and blocks must cover the frames") {
    const Eigen::ArrayXd x = seconds();
    CHECK((course_of_means(x, frames, 1) == x).all());
    CHECK((course_of_means(Eigen::ArrayXd::Constant(2, 7), 8, 4) == 7).all());
    CHECK_THROWS_AS(static_cast<void>(course_of_means(x, frames, 4)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(course_of_means(x, frames, 0)), InvalidInput);
}

TEST_CASE("walls taken apart on an averaged line are had at every frame") {
    const test::ArteryLine made({});
    const CommonMotion motion = made.motion();
    const FrameBlocks blocks = even_blocks(made.line.frames(), 4);
    const LineHistory averaged = averaged_line(made.line, motion.bulk, blocks);
    CommonMotion coarse = motion;
    coarse.pulse = block_means(motion.pulse, made.line.weights(), blocks);
    coarse.bulk = block_means(motion.bulk, made.line.weights(), blocks);
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
    CHECK((block_means(every.times.pulse, made.line.weights(), blocks) - walls.times.pulse)
              .abs()
              .maxCoeff() < 0.02);  // of 1: the upstroke bends within a block
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
