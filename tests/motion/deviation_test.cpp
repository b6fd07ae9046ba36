#include "motion/wall/deviation.hpp"

#include <boost/math/distributions/normal.hpp>
#include <cmath>

#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr double rounding = 1e-12;

WallMotion even_motion(double deviation) {
    WallMotion motion;
    motion.deviation = Eigen::ArrayXd::Constant(9, deviation);
    return motion;
}

WallReport wall_with(double doubt, double fast) {
    WallReport report;
    report.pulse_share = -200e-6;
    report.share_scatter = doubt;
    report.fast_motion = fast;
    return report;
}

constexpr WallDeviationOptions plain{.noise = 2,
                                     .gain_least = 3e-6,
                                     .gain_scatter = 0.5,
                                     .gain_own = 4,
                                     .model_least = 1e-6,
                                     .model_own = 1.5,
                                     .gain_correlation = 0.5,
                                     .model_correlation = 0.25};

}  // namespace

TEST_CASE("noise, gain and what the model leaves out make up a wall's deviation") {
    WallReport report = wall_with(8e-6, 0);
    set_deviations(report, even_motion(0.4e-6), plain);
    CHECK_WITHIN_RELATIVE(report.noise_std, 0.8e-6, rounding);
    CHECK_WITHIN_RELATIVE(report.gain_std, 5e-6 / 200e-6, rounding);
    CHECK_WITHIN_RELATIVE(report.model_std, 1e-6, rounding);
    // 2 um of noise, 5 um times 0.6 of the pulse, and 6 um besides: 7 um.
    const DeviationParts parts = deviation_parts(report, report.pulse_share);
    CHECK_WITHIN_RELATIVE(wall_deviation({parts.gain, 6e-6}, 2e-6, 0.6), 7e-6, rounding);
    // Where the pulse is at its mean, gain is no error.
    CHECK_WITHIN_RELATIVE(wall_deviation({parts.gain, 6e-6}, 8e-6, 0), 10e-6, rounding);
}

TEST_CASE("the diameter's deviation knows that its walls err alike") {
    const DeviationParts near{3e-6, 0};
    const DeviationParts far{5e-6, 0};
    CHECK_WITHIN_RELATIVE(diameter_deviation(near, far, 0, 1, plain), 7e-6, rounding);
    CHECK_WITHIN_RELATIVE(diameter_deviation({0, 4e-6}, {0, 6e-6}, 0, 1, plain),
                          std::sqrt(16 + 36 - 12) * 1e-6, rounding);
    CHECK_WITHIN_RELATIVE(diameter_deviation(near, far, 24e-6, 1, plain), 25e-6, rounding);
}

TEST_CASE("a wall that may be the wrong one has a deviation that holds either way (Boost.Math)") {
    constexpr double halved = 1e-5;  // of the search, over the wrong wall's error
    for (const double right : {0.3, 0.8, 0.95, 0.999}) {
        for (const double deviation : {0.5e-6, 3e-6, 20e-6}) {
            CAPTURE(right);
            CAPTURE(deviation);
            const double mixed = mixed_deviation(deviation, right, plain);
            const double reach = 1.959964 * mixed;
            const auto within = [&](double s) {
                const boost::math::normal error(0, s);
                return cdf(error, reach) - cdf(error, -reach);
            };
            CHECK_WITHIN(right * within(deviation) + (1 - right) * within(plain.wrong_wall), 0.95,
                         60 * halved);
        }
    }
    CHECK_WITHIN_RELATIVE(mixed_deviation(2e-6, 1, plain), 2e-6, 60 * halved);
    CHECK(mixed_deviation(2e-6, 0.5, plain) > 20e-6);
    CHECK(mixed_deviation(90e-6, 0.5, plain) == 90e-6);
}

TEST_CASE("what limits a wall is its largest part") {
    const auto limit = [](double noise, double doubt, double fast) {
        WallReport report = wall_with(doubt, fast);
        set_deviations(report, even_motion(noise), plain);
        return report.limit;
    };
    CHECK(limit(10e-6, 1e-6, 0.1e-6) == WallLimit::noise);
    CHECK(limit(0.1e-6, 60e-6, 0.1e-6) == WallLimit::tissue);
    CHECK(limit(0.1e-6, 1e-6, 5e-6) == WallLimit::change);
}

TEST_CASE("options of the deviation are checked") {
    const auto refused = [](auto change) {
        WallConfidenceOptions options;
        change(options.deviation);
        CHECK_THROWS_AS(validate(options), InvalidInput);
    };
    refused([](WallDeviationOptions& o) { o.noise = -1; });
    refused([](WallDeviationOptions& o) { o.gain_scatter = std::nan(""); });
    refused([](WallDeviationOptions& o) { o.gain_own = HUGE_VAL; });
    refused([](WallDeviationOptions& o) { o.model_own = -0.1; });
    refused([](WallDeviationOptions& o) { o.gain_least = 2; });
    refused([](WallDeviationOptions& o) { o.model_least = -1e-9; });
    refused([](WallDeviationOptions& o) { o.wrong_wall = -1e-9; });
    refused([](WallDeviationOptions& o) { o.gain_correlation = 1.1; });
    refused([](WallDeviationOptions& o) { o.model_correlation = std::nan(""); });
}
