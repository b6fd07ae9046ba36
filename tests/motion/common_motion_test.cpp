#include "motion/courses/common_motion.hpp"

#include <cmath>
#include <numbers>

#include "echosieve/core/random.hpp"
#include "support/artery_line.hpp"
#include "support/check.hpp"

using namespace echosieve;
using test::ArteryLine;
using test::moving_line;

namespace {

double alike(const Eigen::ArrayXd& x, const Eigen::ArrayXd& y) {
    const Eigen::ArrayXd a = x - x.mean();
    const Eigen::ArrayXd b = y - y.mean();
    return (a * b).sum() / std::sqrt(a.square().sum() * b.square().sum());
}

}  // namespace

TEST_CASE("pulse and bulk motion of a line are found, in the gauge of its median depth") {
    for (const std::uint64_t seed : {1U, 2U, 3U}) {
        CAPTURE(seed);
        const ArteryLine made({.seed = seed});
        const CommonMotion truth = made.motion();
        const CommonMotion motion = estimate_common_motion(made.line);
        REQUIRE(motion.usable());
        // 0.995 and 0.999 here: the upstroke of 100 ms against Gaussians of 4 and 3 ms.
        CHECK(alike(motion.pulse, truth.pulse) > 0.985);
        CHECK(alike(motion.bulk, truth.bulk) > 0.995);
        CHECK_WITHIN(motion.pulse.mean(), 0, 1e-12);
        CHECK_WITHIN(motion.bulk.mean(), 0, 1e-15);
        CHECK_WITHIN(quantile(motion.pulse, 0.97) - quantile(motion.pulse, 0.03), 1, 1e-9);
        CHECK_WITHIN(median(motion.bulk_share), 1, 1e-9);
        CHECK_WITHIN(median(motion.pulse_share / motion.bulk_share.max(0.3)), 0, 1e-12);
        CHECK(motion.weight.maxCoeff() == 1);
        CHECK(motion.weight.minCoeff() >= 0);
        CHECK(motion.coherence > 0.8);
        CHECK(motion.stretch.size() == 0);
        // Above the artery tissue goes up with the pulse, below it down.
        double above = 0, below = 0;
        for (Eigen::Index g = 0; g < motion.depths.size(); ++g) {
            const double part = motion.weight[g] * motion.pulse_share[g];
            (motion.depths[g] < 15e-3 ? above : below) += part;
        }
        CHECK(above < 0);
        CHECK(below > 0);
    }
}

TEST_CASE("a bulk line is the line of most gates, and what walls do by themselves is left out") {
    CommonMotion motion;
    motion.depths = Eigen::ArrayXd::LinSpaced(30, 8e-3, 22.5e-3);
    motion.bulk_share = 0.8 + 12 * motion.depths;
    motion.weight = Eigen::ArrayXd::Ones(30);
    fit_bulk_line(motion);
    CHECK_WITHIN(motion.bulk_slope, 12, 1e-9);
    CHECK_WITHIN(motion.bulk_intercept, 0.8, 1e-9);
    // Both walls, three gates each, far off to one side: by plain least squares the line is 0.08
    // off at 18 mm.
    const Eigen::ArrayXd straight = motion.bulk_share;
    motion.bulk_share.segment(8, 3) += 0.5;
    motion.bulk_share.segment(20, 3) += 0.9;
    fit_bulk_line(motion);
    constexpr double hardly = 0.01;
    CHECK_WITHIN(motion.bulk_share_at(12e-3), 0.8 + 12 * 12e-3, hardly);
    CHECK_WITHIN(motion.bulk_share_at(18e-3), 0.8 + 12 * 18e-3, hardly);
    // Far from the gates the share is held within limits.
    motion.bulk_slope = 100;
    CHECK(motion.bulk_share_at(1) == 1.6);
    CHECK(motion.bulk_share_at(-1) == 0.5);
}

TEST_CASE("a line with nothing to estimate from has no common motion") {
    const auto still = [](double, Eigen::Index) { return 0.0; };
    CHECK(!estimate_common_motion(moving_line(7, 0.1, 3, still)).usable());
    LineHistory noise = moving_line(200, 0, 3, still);
    RandomStream random(4);
    for (std::complex<double>& y : noise.samples.reshaped()) {
        const double real = random.normal();
        y = {real, random.normal()};
    }
    CommonMotionOptions strict;
    strict.lowest_coherence = 0.9;  // a gate of noise has 0.5 or so
    CHECK(!estimate_common_motion(noise, strict).usable());
    CommonMotionOptions deep;
    deep.tracks.first_offset = 18.5e-3;  // two gates to the line's end
    CHECK(!estimate_common_motion(ArteryLine({.frames = 100}).line, deep).usable());
    noise.samples.setZero();
    CHECK(!estimate_common_motion(noise).usable());
}

TEST_CASE("options of the common motion outside their domain are refused by name") {
    const LineHistory line = ArteryLine({.frames = 20}).line;
    const auto refused = [&](auto change, const char* name) {
        CommonMotionOptions options;
        change(options);
        CHECK_THROWS_WITH_AS(static_cast<void>(estimate_common_motion(line, options)),
                             doctest::Contains(name), InvalidInput);
    };
    refused([](auto& o) { o.tracks.spacing = 0; }, "spacing = 0");
    refused([](auto& o) { o.joining.window = 0; }, "window = 0");
    refused([](auto& o) { o.slow_frequency = 0; }, "slow_frequency = 0");
    refused([](auto& o) { o.lowest_coherence = 1; }, "lowest_coherence = 1");
    refused([](auto& o) { o.fastest_stretch = 0; }, "fastest_stretch = 0");
    refused([](auto& o) { o.least_gain = -1; }, "least_gain = -1");
    refused([](auto& o) { o.reweightings = 0; }, "reweightings = 0");
}
