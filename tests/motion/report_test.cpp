#include "motion/wall/report.hpp"

#include <cmath>
#include <numbers>

#include "echosieve/motion/wall_options.hpp"
#include "support/check.hpp"

using namespace echosieve;

TEST_CASE("a report says of a wall what its state and its gate say") {
    constexpr double rate = 500;
    SeparatedWall wall;
    wall.state.sense = -1;
    wall.state.share = 200e-6;
    wall.state.bulk = 1.1;
    wall.state.share_deviation = 3e-6;
    wall.state.prior.tissue_reach = 0.5;
    wall.layered.fit.noise = 0.03;
    wall.layered.fit.power = 2;
    wall.doubt = {.presence = 1.25, .pulse_drift = 0.02, .scatter = 2e-6, .separability = 0.9};
    wall.evidence = 1234;
    wall.mean_evidence = 1.5;
    wall.tissue_linearity = 0.25;
    wall.tissue_line = -40e-6;
    WallMotion motion;
    // 6 um at 5 Hz, which is fast, and 9 um at 0.1 Hz, which is not.
    motion.own = Eigen::ArrayXd::NullaryExpr(5000, [&](Eigen::Index i) {
        const double t = 2 * std::numbers::pi * static_cast<double>(i) / rate;
        return 6e-6 * std::sin(5 * t) + 9e-6 * std::sin(0.1 * t);
    });
    const WallReport report = wall_report(wall, motion, rate);
    CHECK(report.pulse_share == -200e-6);
    CHECK(report.bulk_share == 1.1);
    CHECK_WITHIN(report.tissue_pulse_share, -100e-6, 1e-15);
    CHECK(report.residual == 0.015);
    CHECK_WITHIN_RELATIVE(report.own_motion, std::sqrt((36 + 81) / 2.0) * 1e-6, 1e-3);
    // The Gaussian of 1 Hz takes exp(-1 / 200) of the slow part off and exp(-12.5) of the fast one;
    // its mirrored ends are a thousandth or two.
    CHECK_WITHIN_RELATIVE(report.fast_motion, 6e-6 / std::numbers::sqrt2, 4e-3);
    CHECK(report.share_deviation == 3e-6);
    CHECK(report.presence == 1.25);
    CHECK(report.pulse_drift == 0.02);
    CHECK(report.share_scatter == 2e-6);
    CHECK(report.separability == 0.9);
    CHECK(report.separable);
    CHECK(report.evidence == 1234);
    CHECK(report.mean_evidence == 1.5);
    CHECK(report.tissue_linearity == 0.25);
    CHECK(report.tissue_line == -40e-6);
}

TEST_CASE("each wall's confidence is that of its own signs beside the other's") {
    WallReport near;
    near.pulse_share = -200e-6;
    near.bulk_share = 1.05;
    near.residual = 0.02;
    near.fast_motion = 1e-6;
    near.mean_evidence = 3;
    near.presence = 2;
    near.pulse_drift = 0.2;
    near.share_scatter = 5e-6;
    WallReport far = near;
    far.pulse_share = 150e-6;
    far.tissue_line = 140e-6;
    far.residual = 0.9;
    far.mean_evidence = 0.2;
    far.bulk_share = 0.9;
    const WallConfidenceOptions options;
    set_confidence(near, far, options);
    CHECK(near.confidence == wall_confidence(wall_signs(near, far), options));
    CHECK(far.confidence == wall_confidence(wall_signs(far, near), options));
    CHECK(near.confidence > far.confidence + 0.1);
}
