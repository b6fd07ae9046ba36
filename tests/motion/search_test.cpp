#include "motion/wall/search.hpp"

#include <cmath>
#include <optional>

#include "motion/wall/own_motion.hpp"
#include "support/artery_line.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;
using test::ArteryLine;
using test::ArteryLineOptions;
using test::rms;

namespace {

double motion_error(const ArteryLine& made, const SeparatedWalls& walls, double sense) {
    const SeparatedWall& wall = sense < 0 ? walls.near : walls.far;
    const WallMotion motion = wall_motion(wall, walls.times, made.line.settings.frame_rate);
    const Eigen::ArrayXd error = motion.displacement - made.wall_course(sense);
    return rms(error - error.mean());
}

void check_walls(const ArteryLine& made, const std::optional<SeparatedWalls>& walls,
                 double fine_motion) {
    REQUIRE(walls);
    constexpr double fine_depth = 0.2e-3;  // see wall_separation_test.cpp
    CHECK_WITHIN(walls->near.state.depth, made.options.near_depth, fine_depth);
    CHECK_WITHIN(walls->far.state.depth, made.options.far_depth, fine_depth);
    CHECK_WITHIN(motion_error(made, *walls, -1), 0, fine_motion);
    CHECK_WITHIN(motion_error(made, *walls, 1), 0, fine_motion);
    // Up and down with a pulse that rises faster than it falls.
    CHECK(walls->near.state.sense == -1);
    CHECK(walls->far.state.sense == 1);
    CHECK((walls->times.pulse * made.pulse()).sum() > 0);
}

constexpr double fine = 1.5e-6;  // [m], one layer a wall, 5 dB over the tissue

}  // namespace

TEST_CASE("tissue gates lie all along the line, fitted from the shares nearby") {
    const ArteryLine made({});
    const CommonMotion motion = made.motion();
    const LayerTimes times{motion.pulse, motion.bulk, made.line.weights(), 1540};
    WallSeparationOptions options;
    const std::vector<LayeredGate> gates = tissue_gates(made.line, motion, times, options);
    REQUIRE(gates.size() > 10);
    CHECK(gates.front().gate.depth == motion.depths[0]);
    CHECK(gates.back().gate.depth <= made.line.last_depth() - options.tissue_half_gate);
    CHECK(gates.back().gate.depth + options.tissue_spacing >
          made.line.last_depth() - options.tissue_half_gate);
    int near_walls = 0;
    for (std::size_t g = 0; g < gates.size(); ++g) {
        CAPTURE(gates[g].gate.depth);
        CHECK(gates[g].fit.shares.size() == 1);
        if (g > 0) {
            CHECK_WITHIN(gates[g].gate.depth - gates[g - 1].gate.depth, options.tissue_spacing,
                         1e-12);
        }
        Eigen::Index at = 0;
        (motion.depths - gates[g].gate.depth).abs().minCoeff(&at);
        const double off = gates[g].fit.shares[0].pulse - motion.pulse_share[at];
        const bool clear = std::abs(gates[g].gate.depth - 12e-3) > 1.5e-3 &&
                           std::abs(gates[g].gate.depth - 18e-3) > 1.5e-3;
        if (clear) {
            CHECK_WITHIN(off, 0, 25e-6);  // the share changes over the gate, and echoes weigh
            CHECK_WITHIN(gates[g].fit.shares[0].bulk, 1, 0.1);
        } else {
            near_walls += std::abs(off) > 60e-6 ? 1 : 0;
        }
    }
    CHECK(near_walls >= 2);  // the walls' gates follow the walls
}

TEST_CASE("walls are found and taken apart, the tissue's pulse being right, either way up") {
    const ArteryLine made({});
    CommonMotion motion = made.motion();
    const auto upright = find_and_separate_walls(made.line, motion);
    check_walls(made, upright, fine);
    motion.pulse *= -1;
    motion.pulse_share *= -1;
    const auto walls = find_and_separate_walls(made.line, motion);
    check_walls(made, walls, fine);
    // Tissue pulsates with the near wall upwards and with the far one downwards: a line through its
    // shares says little, and is not far from nothing at either.
    CHECK(walls->near.tissue_linearity == walls->far.tissue_linearity);
    CHECK(walls->near.tissue_linearity < 0.6);
    CHECK(std::abs(walls->near.tissue_line) < 50e-6);
    // There are more gates below the artery than above it, and far from it: upwards at both walls.
    for (const auto& found : {upright, walls}) {
        CHECK(found->near.tissue_line < -15e-6);
        CHECK(found->far.tissue_line < -4e-6);
    }
}

TEST_CASE("where the tissue's pulse is none, a wall's own shows the walls") {
    const ArteryLine made({.tissue_share = 0});
    CommonMotion motion = made.motion();
    const auto frames = static_cast<double>(made.options.frames);
    motion.pulse = Eigen::ArrayXd::NullaryExpr(made.options.frames, [&](Eigen::Index i) {
        return 0.5 * std::sin(11 * 2 * std::numbers::pi * static_cast<double>(i) / frames);
    });
    motion.pulse_share.setConstant(1e-6);
    constexpr double guessed = 4e-6;
    check_walls(made, find_and_separate_walls(made.line, motion), guessed);
    // Not if no other guess is tried.
    WallSearchOptions only;
    only.most_candidates = 0;
    const auto none = find_and_separate_walls(made.line, motion, {.search = only});
    CHECK((!none || motion_error(made, *none, 1) > 5 * guessed));
    WallSearchOptions proud;
    proud.least_opposition = 1e6;
    const auto refused = find_and_separate_walls(made.line, motion, {.search = proud});
    CHECK((!refused || motion_error(made, *refused, 1) > 5 * guessed));
}

TEST_CASE("walls that turn out to be none once they are taken apart are not reported") {
    const ArteryLine made({});
    const CommonMotion motion = made.motion();
    const auto with = [&](auto change) {
        WallFinderOptions finder;
        change(finder);
        return find_and_separate_walls(made.line, motion, {.finder = finder});
    };
    // What the walls are found to have in the end is judged by the same limits.
    const double share = 0.9 * (made.options.near_share + made.options.far_share);
    CHECK(!with([&](auto& o) { o.smallest_distension = 1.3 * share; }));
    CHECK(!with([](auto& o) { o.scan.largest_share = 140e-6; }));
    // Little motion seems more on the scan's coarse grid: 228 um of the 70 um there are.
    const ArteryLine little({.near_share = 30e-6, .far_share = 40e-6, .tissue_share = 0});
    WallFinderOptions more;
    CHECK(find_and_separate_walls(little.line, little.motion(), {.finder = more}));
    more.smallest_distension = 110e-6;
    CHECK(find_walls(little.line, little.motion(), more));
    CHECK(!find_and_separate_walls(little.line, little.motion(), {.finder = more}));
    const ArteryLine still({.near_share = 0, .far_share = 0, .tissue_share = 0});
    WallFinderOptions clear;
    clear.smallest_motion = 60e-6;
    CHECK(!find_and_separate_walls(still.line, still.motion(), {.finder = clear}));
    WallSeparationOptions sparse;  // two tissue gates, too few
    sparse.tissue_spacing = 12e-3;
    CHECK(!find_and_separate_walls(made.line, motion, {.separation = sparse}));
}

TEST_CASE("search options outside their domain are refused by name") {
    const auto refused = [](auto change, const char* name) {
        WallSearchOptions options;
        change(options);
        CHECK_THROWS_WITH_AS(validate(options), doctest::Contains(name), InvalidInput);
    };
    refused([](auto& o) { o.candidates.lag = 0; }, "lag = 0");
    refused([](auto& o) { o.least_opposition = -1; }, "least_opposition = -1");
    refused([](auto& o) { o.least_promise = -1; }, "least_promise = -1");
    refused([](auto& o) { o.hardly_seen = -1; }, "hardly_seen = -1");
    refused([](auto& o) { o.smaller_start = 0; }, "smaller_start = 0");
    refused([](auto& o) { o.sure = 1.1; }, "sure = 1.1");
}
