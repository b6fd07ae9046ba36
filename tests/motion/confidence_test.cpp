#include "echosieve/motion/wall_options.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>

#include "motion/wall/report.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

WallReport good_wall(double share) {
    WallReport wall;
    wall.pulse_share = share;
    wall.bulk_share = 1;
    wall.residual = 0.02;
    wall.fast_motion = 0.5e-6;
    wall.share_deviation = 1e-6;
    wall.evidence = 2e4;
    wall.mean_evidence = 3;
    wall.presence = 5;
    wall.pulse_drift = 0.02;
    wall.share_scatter = 1e-6;
    wall.tissue_linearity = 0.5;
    wall.tissue_line = 0.1 * share;
    return wall;
}

}  // namespace

TEST_CASE("closeness is the probability of a normal error within the limit (Boost.Math)") {
    WallConfidenceOptions options;
    for (const double deviation : {0.1e-6, 2e-6, 7e-6, 20e-6, 300e-6}) {
        const boost::math::normal error(0, deviation);
        const double expected = cdf(error, options.close) - cdf(error, -options.close);
        CHECK_WITHIN(closeness(deviation, options), expected, 1e-12);
    }
    CHECK(closeness(0) == 1);
}

TEST_CASE("both walls of a pair are judged from each other's signs") {
    WallReport near = good_wall(-150e-6);
    WallReport far = good_wall(250e-6);
    far.residual = 0.4;
    WallConfidenceOptions options;
    const double expected_near = wall_confidence(wall_signs(near, far), options);
    const double expected_far = wall_confidence(wall_signs(far, near), options);
    set_confidence(near, far, options);
    CHECK(near.confidence == expected_near);
    CHECK(far.confidence == expected_far);
    CHECK(far.confidence < near.confidence);
}

TEST_CASE("clear walls are trusted, walls with the signs of a wrong one are not") {
    const WallReport near = good_wall(-150e-6);
    const WallReport far = good_wall(250e-6);
    const double sure = wall_confidence(wall_signs(near, far));
    CHECK(sure > 0.95);
    CHECK(sure < 1);
    const auto doubted = [&](auto change) {
        WallReport wall = near;
        change(wall);
        CHECK(wall_confidence(wall_signs(wall, far)) < sure);
    };
    doubted([](WallReport& w) { w.residual = 0.5; });
    doubted([](WallReport& w) { w.tissue_linearity = 0.96; });
    doubted([](WallReport& w) { w.tissue_line = 0.9 * w.pulse_share; });
    doubted([](WallReport& w) { w.mean_evidence = 0.1; });
    doubted([](WallReport& w) { w.presence = 0.1; });
    doubted([](WallReport& w) { w.pulse_drift = 0.4; });
    doubted([](WallReport& w) { w.share_scatter = 20e-6; });
    doubted([](WallReport& w) { w.fast_motion = 15e-6; });
    doubted([](WallReport& w) { w.bulk_share = 1.6; });
    WallReport wrong = near;
    wrong.fast_motion = 15e-6;
    wrong.residual = 0.8;
    wrong.presence = 0.2;
    wrong.bulk_share = 1.5;
    CHECK(wall_confidence(wall_signs(wrong, far)) < 0.5);  // likelier wrong than right
}

TEST_CASE("signs are finite for walls of nothing") {
    const auto finite = [](const WallSigns& signs) {
        return std::ranges::all_of(signs, [](double x) { return std::isfinite(x); });
    };
    CHECK(finite(wall_signs(WallReport{}, WallReport{})));
    WallReport odd;
    odd.tissue_linearity = 1;
    odd.share_deviation = 1;
    CHECK(finite(wall_signs(odd, WallReport{})));
}

TEST_CASE("options of the confidence are checked") {
    const auto refused = [](auto change) {
        WallConfidenceOptions options;
        change(options);
        CHECK_THROWS_AS(validate(options), InvalidInput);
    };
    refused([](WallConfidenceOptions& o) { o.weights[3] = std::nan(""); });
    refused([](WallConfidenceOptions& o) { o.close = -1; });
    refused([](WallConfidenceOptions& o) { o.least_confidence = 2; });
}
