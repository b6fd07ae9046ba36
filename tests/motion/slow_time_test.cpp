#include "motion/line/slow_time.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/motion/smoothing.hpp"
#include "motion/line/plain.hpp"
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

TEST_CASE("long Gaussians agree with short ones, and cost no more the longer they are") {
    // One sigma just beyond what is smoothed sample by sample, done that way by hand.
    const double sigma = longest_direct_sigma * 1.01;
    const Eigen::Index count = 15'000;
    RandomStream random(4);
    Eigen::ArrayXd x(count);
    double walk = 0;
    for (double& value : x) {
        value = walk += random.normal();
    }
    const std::vector<double> taps = detail::gaussian_taps(sigma);
    const Eigen::ArrayXd smooth = gaussian_smooth<double>(x, sigma);
    const double range = x.maxCoeff() - x.minCoeff();
    // Straight lines between means a 200th of sigma long, and taps that are cut at 4 sigma.
    constexpr double close = 1e-4;
    for (const Eigen::Index i :
         {Eigen::Index{0}, Eigen::Index{1}, Eigen::Index{7001}, Eigen::Index{12'345}, count - 1}) {
        double sum = taps[0] * x[i];
        for (std::size_t k = 1; k < taps.size(); ++k) {
            const auto by = static_cast<Eigen::Index>(k);
            sum +=
                taps[k] * (x[detail::mirrored(i - by, count)] + x[detail::mirrored(i + by, count)]);
        }
        CAPTURE(i);
        CHECK_WITHIN(smooth[i], sum, close * range);
    }
    // Far longer than the signal: its mean. Taps for these would fill any memory.
    for (const double longer : {1e6, 1e12, 1e300, std::numeric_limits<double>::infinity()}) {
        CAPTURE(longer);
        const Eigen::ArrayXd mean = gaussian_smooth<double>(x, longer);
        CHECK((mean - x.mean()).abs().maxCoeff() <= 1e-3 * range);
    }
    const Eigen::ArrayXcd turning = x.cast<std::complex<double>>() * std::complex<double>(0, 1);
    CHECK((gaussian_smooth<std::complex<double>>(turning, sigma).imag() - smooth).abs().maxCoeff() <
          rounding * range);
}

TEST_CASE("long averages are those of their windows, and cost no more the longer they are") {
    RandomStream random(5);
    Eigen::ArrayXd x(2500);
    for (double& value : x) {
        value = 10 + random.normal();
    }
    const auto at = [&](Eigen::Index i) { return x[std::clamp<Eigen::Index>(i, 0, x.size() - 1)]; };
    for (const Eigen::Index length : {Eigen::Index{1001}, Eigen::Index{1002}, Eigen::Index{6000}}) {
        const Eigen::ArrayXd y = moving_average(x, length);
        for (const Eigen::Index i :
             {Eigen::Index{0}, Eigen::Index{499}, Eigen::Index{1250}, Eigen::Index{2499}}) {
            double sum = 0;
            for (Eigen::Index k = i - length / 2; k < i - length / 2 + length; ++k) {
                sum += at(k);
            }
            CAPTURE(length);
            CAPTURE(i);
            CHECK_WITHIN(y[i], sum / static_cast<double>(length), rounding * 100);
        }
    }
    const Eigen::ArrayXd ends = moving_average(x, Eigen::Index{1'000'000'000'000});
    constexpr double all_ends = 1e-6;  // half of each end, but for 2500 samples in 1e12
    CHECK_WITHIN(ends[1250], (x[0] + x[2499]) / 2, all_ends);
}
