#include "motion/layers/group_means.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <vector>

#include "echosieve/core/error.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;

using test::made_gate;
using test::made_times;
using test::MadeGate;

TEST_CASE("quiet groups are short where much moves and never pass their limits") {
    const LayerTimes times = made_times(3000);
    const QuietGroupLimits limits{4, 32, 0.05, 15e-6};
    const FrameGroups groups = quiet_groups(times, limits);
    CHECK(groups.first.front() == 0);
    CHECK(groups.first.back() == 3000);
    Eigen::Index shortest = 3000;
    Eigen::Index longest = 0;
    for (Eigen::Index k = 0; k < groups.count(); ++k) {
        const auto [first, rows] = groups.range(k);
        REQUIRE(rows >= 1);
        const auto spread = [&](const Eigen::ArrayXd& x) {
            return x.segment(first, rows).maxCoeff() - x.segment(first, rows).minCoeff();
        };
        CHECK(spread(times.pulse) <= limits.pulse);
        CHECK(spread(times.bulk) <= limits.bulk);
        if (k + 1 < groups.count()) {
            shortest = std::min(shortest, rows);
            longest = std::max(longest, rows);
        }
    }
    CHECK(shortest < 12);
    CHECK(longest == 32);
    // Where nothing may move, each frame is a group; where all may, groups are the longest.
    CHECK(quiet_groups(times, {4, 32, 0, 0}).count() == 3000);
    CHECK(quiet_groups(times, {4, 32, 1e9, 1e9}).count() == (3000 + 31) / 32);
    CHECK(quiet_groups(times, {4, 32, 1, 1}).unit == 4);
    CHECK_THROWS_AS(static_cast<void>(quiet_groups(times, {0, 32, 1, 1})), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(quiet_groups(times, {4, 0, 1, 1})), InvalidInput);
}

TEST_CASE("group means weigh usable frames, and keep what moves as it is said to") {
    LayerTimes times = made_times(400);
    const LayerShare share{-200e-6, 0.9};
    MadeGate made = made_gate(times, {share}, 0, 3);
    times.weight.segment(40, 4).setZero();
    made.gate.values.middleRows(40, 4) = 100;  // not usable: must not show
    const FrameGroups groups = even_groups(400, 8);
    const LayerTimes means = group_means(times, groups);
    CHECK(means.weight[0] == 1);
    CHECK(means.weight[5] == 0.5);
    CHECK_WITHIN(means.pulse[0], times.pulse.head(8).mean(), 1e-15);
    CHECK_WITHIN(means.pulse[5], times.pulse.segment(44, 4).mean(), 1e-15);
    const Eigen::ArrayXXcd values = group_means(made.gate, times, share, groups);
    // Turned back by its own motion the layer is as strong as it was, and stands at the group's
    // mean of the pulse; its bulk motion is gone.
    const Eigen::ArrayXXcd expected =
        layer_phasors(made.gate, means, {share.pulse, 0}).rowwise() * made.spectra.row(0);
    constexpr double rounding = 1e-12;
    CHECK_WITHIN((values - expected).abs().maxCoeff(), 0.0, rounding);
}

TEST_CASE("a group without a usable frame is zero and weighs nothing") {
    LayerTimes times = made_times(24);
    times.weight.segment(8, 8).setZero();
    const MadeGate made = made_gate(times, {{1e-4, 1}}, 0, 3);
    const FrameGroups groups = even_groups(24, 8);
    CHECK(group_means(times, groups).weight[1] == 0);
    CHECK((group_means(made.gate, times, {0, 1}, groups).row(1) == 0.0).all());
    CHECK_WITHIN(group_means(times, groups).pulse[1], times.pulse.segment(8, 8).mean(), 1e-15);
}
