#include "motion/courses/time_courses.hpp"

#include <cmath>
#include <numbers>

#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr double rate = 500;
constexpr double slow = 0.7;
constexpr Eigen::Index frames = 4000;  // 8 s: whole periods of all that follows

// Even about both ends, as the filter's mirrored continuation is: an eigenfunction of it.
Eigen::ArrayXd cosine(double frequency) {
    Eigen::ArrayXd x(frames);
    for (Eigen::Index i = 0; i < frames; ++i) {
        x[i] = std::cos(2 * std::numbers::pi * frequency * (static_cast<double>(i) + 0.5) / rate);
    }
    return x;
}

// Rises within a tenth of its period, falls for the rest.
Eigen::ArrayXd sawtooth(double frequency) {
    Eigen::ArrayXd x(frames);
    for (Eigen::Index i = 0; i < frames; ++i) {
        const double t = std::fmod(static_cast<double>(i) * frequency / rate, 1.0);
        x[i] = t < 0.1 ? t / 0.1 : (1 - t) / 0.9;
    }
    return x - x.mean();
}

double correlation(const Eigen::ArrayXd& a, const Eigen::ArrayXd& b) {
    return (a * b).sum() / std::sqrt(a.square().sum() * b.square().sum());
}

}  // namespace

TEST_CASE("a known mixture is split back") {
    const Eigen::ArrayXd p = cosine(1.25);
    const Eigen::ArrayXd q = 150e-6 * cosine(0.25);
    const Eigen::ArrayXd first = 0.6 * p + 2e3 * q + 3;
    const Eigen::ArrayXd second = -0.2 * p + 5e3 * q;
    const auto split = split_courses(first, second, slow, rate);
    REQUIRE(split.has_value());
    constexpr double rounding = 1e-9;
    CHECK_WITHIN(std::abs(correlation(split->pulse, p)), 1.0, rounding);
    CHECK_WITHIN(std::abs(correlation(split->bulk, q)), 1.0, rounding);
    // former = mixture * present, means apart
    const Eigen::ArrayXd again =
        split->mixture(0, 0) * split->pulse + split->mixture(0, 1) * split->bulk;
    const Eigen::ArrayXd other =
        split->mixture(1, 0) * split->pulse + split->mixture(1, 1) * split->bulk;
    CHECK_WITHIN((again + 3 - first).abs().maxCoeff(), 0.0, rounding);
    CHECK_WITHIN((other - second).abs().maxCoeff(), 0.0, rounding);
}

TEST_CASE("the pulse has range 1, mean 0 and rises faster than it falls") {
    const Eigen::ArrayXd p = sawtooth(1.25);
    const Eigen::ArrayXd q = 150e-6 * cosine(0.25);
    for (const double sign : {1.0, -1.0}) {
        CAPTURE(sign);
        const auto split = split_courses(sign * p + 1e3 * q, q + 1e-5 * p, slow, rate);
        REQUIRE(split.has_value());
        constexpr double shape = 0.99;  // the two are not quite orthogonal
        CHECK(correlation(split->pulse, p) > shape);
        constexpr double rounding = 1e-12;
        CHECK_WITHIN(split->pulse.mean(), 0.0, rounding);
        CHECK_WITHIN(quantile(split->pulse, 0.97) - quantile(split->pulse, 0.03), 1.0, rounding);
    }
}

TEST_CASE("time courses that span no plane are not split") {
    const Eigen::ArrayXd p = cosine(1.25);
    CHECK(!split_courses(p, 2 * p, slow, rate).has_value());
    CHECK(!split_courses(p, Eigen::ArrayXd::Constant(frames, 3), slow, rate).has_value());
}
