#include "motion/slow_time.hpp"

#include <cmath>
#include <numbers>

#include "echosieve/core/random.hpp"
#include "echosieve/motion/smoothing.hpp"
#include "motion/plain.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

// Sums of some thousand rounded terms of order one.
constexpr double rounding = 1e-12;

Eigen::ArrayXd cosine(Eigen::Index count, double frequency, double rate) {
    return Eigen::ArrayXd::NullaryExpr(count, [=](Eigen::Index i) {
        return std::cos(2 * std::numbers::pi * frequency * static_cast<double>(i) / rate);
    });
}

}  // namespace

TEST_CASE("Gaussian smoothing keeps constants and has a Gaussian frequency response") {
    const Eigen::ArrayXd ones = Eigen::ArrayXd::Constant(50, 3.5);
    CHECK_WITHIN((gaussian_smooth<double>(ones, 7.0) - ones).abs().maxCoeff(), 0.0, rounding);
    const double rate = 1000;
    const double frequency = 20;
    const double sigma = 5;
    const Eigen::ArrayXd x = cosine(2000, frequency, rate);
    const Eigen::ArrayXd y = gaussian_smooth<double>(x, sigma);
    const double omega = 2 * std::numbers::pi * frequency / rate;
    const double expected = std::exp(-omega * omega * sigma * sigma / 2);
    // The kernel is cut at four standard deviations: 6e-5 of its weight is missing.
    constexpr double truncation = 2e-4;
    CHECK_WITHIN(y[1000] / x[1000], expected, truncation);
    CHECK_WITHIN(gaussian_sigma(frequency, rate), rate / (2 * std::numbers::pi * frequency),
                 rounding);
}

TEST_CASE("smoothing mirrors at the ends and takes kernels longer than the signal") {
    Eigen::ArrayXd x(3);
    x << 1, 2, 4;
    const Eigen::ArrayXd y = gaussian_smooth<double>(x, 1000.0);
    // A kernel that is flat over many mirrored periods gives the mean.
    constexpr double nearly_flat = 1e-3;
    CHECK_WITHIN(y[1], 7.0 / 3, nearly_flat);
    const Eigen::ArrayXd one = Eigen::ArrayXd::Constant(1, 2.0);
    CHECK(gaussian_smooth<double>(one, 5.0)[0] == 2.0);
    CHECK((gaussian_smooth<double>(x, 0.0) == x).all());
    CHECK_THROWS_AS(static_cast<void>(gaussian_smooth<double>(x, -1.0)), InvalidInput);
}

TEST_CASE("the moving average is the mean of its window") {
    Eigen::ArrayXd x(5);
    x << 1, 2, 3, 10, 20;
    const Eigen::ArrayXd y = moving_average(x, 3);
    CHECK_WITHIN(y[1], 2.0, rounding);
    CHECK_WITHIN(y[0], (1 + 1 + 2) / 3.0, rounding);
    CHECK_WITHIN(y[4], (10 + 20 + 20) / 3.0, rounding);
    CHECK((moving_average(x, 1) == x).all());
    CHECK_THROWS_AS(static_cast<void>(moving_average(x, 0)), InvalidInput);
}

TEST_CASE("bridging draws straight lines over unusable frames") {
    Eigen::ArrayXd x(7);
    x << 9, 1, 0, 0, 4, 5, 0;
    bridge(x, {false, true, false, false, true, true, false});
    Eigen::ArrayXd expected(7);
    expected << 1, 1, 2, 3, 4, 5, 5;
    CHECK_WITHIN((x - expected).abs().maxCoeff(), 0.0, rounding);
    Eigen::ArrayXd untouched = expected;
    bridge(untouched, std::vector<bool>(7, false));
    CHECK((untouched == expected).all());
}

TEST_CASE("a phase is unwrapped over many turns, either way") {
    constexpr Eigen::Index count = 400;
    Eigen::ArrayXcd turning(count);
    Eigen::ArrayXd truth(count);
    for (Eigen::Index i = 0; i < count; ++i) {
        truth[i] = 1 + 20 * std::sin(0.02 * static_cast<double>(i));
        turning[i] = std::polar(0.1 + static_cast<double>(i), truth[i]);
    }
    CHECK_WITHIN((unwrapped_phase(turning) - truth).abs().maxCoeff(), 0.0, rounding);
    CHECK(unwrapped_phase(Eigen::ArrayXcd()).size() == 0);
    CHECK((unwrapped_phase(Eigen::ArrayXcd::Zero(5)) == 0).all());
}

TEST_CASE("quantiles interpolate between sorted values") {
    Eigen::ArrayXd x(5);
    x << 5, 1, 4, 2, 3;
    CHECK(median(x) == 3);
    CHECK(quantile(x, 0) == 1);
    CHECK(quantile(x, 1) == 5);
    CHECK_WITHIN(quantile(x, 0.1), 1.4, rounding);
    volatile Eigen::Index none =
        0;  // g++ 12 warns of the code behind the exception if it knows the size
    const Eigen::ArrayXd nothing(none);
    CHECK_THROWS_AS(static_cast<void>(median(nothing)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(quantile(x, 1.1)), InvalidInput);
}

TEST_CASE("the noise gain of each smoother is what white noise shows") {
    RandomStream random(20, 0);
    Eigen::ArrayXd noise(200000);
    for (double& x : noise) {
        x = random.normal();
    }
    // 200,000 draws, some 10 of them to an independent value: 0.5 % standard error, four of them.
    constexpr double sampling = 0.02;
    const auto check = [&](const auto& smoother) {
        const Eigen::ArrayXd y = array_of(smoother(span_of(noise), 1000.0));
        CHECK_WITHIN_RELATIVE(std::sqrt((y - y.mean()).square().mean()),
                              smoother.noise_gain(1000.0), sampling);
    };
    check(NoSmoothing{});
    check(MovingAverage{30});
    check(GaussianSmoothing{3e-3});
    CHECK_THROWS_AS(validate(Smoothing(MovingAverage{0})), InvalidInput);
    CHECK_THROWS_AS(validate(Smoothing(GaussianSmoothing{-1})), InvalidInput);
    CHECK_THROWS_AS(validate(Smoothing(GaussianSmoothing{std::nan("")})), InvalidInput);
}
