#include "echosieve/motion/smoothing.hpp"

#include <Eigen/Core>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <variant>
#include <vector>

#include "motion/line/slow_time.hpp"
#include "support/check.hpp"

using namespace echosieve;

TEST_CASE("smoothers do to displacements what their names say, at any frame rate") {
    std::vector<double> x(200);
    for (std::size_t i = 0; i < x.size(); ++i) {
        x[i] = std::sin(0.05 * static_cast<double>(i)) + (i == 100 ? 3 : 0);
    }
    const Eigen::Map<const Eigen::ArrayXd> array(x.data(), 200);
    const auto same = [](const std::vector<double>& y, const Eigen::ArrayXd& expected) {
        return (Eigen::Map<const Eigen::ArrayXd>(y.data(), 200) == expected).all();
    };
    CHECK(NoSmoothing{}(x, 500) == x);
    CHECK(same(MovingAverage{7}(x, 500), moving_average(array, 7)));
    CHECK(same(MovingAverage{7}(x, 1000), moving_average(array, 7)));
    // The Gaussian's length is a time.
    CHECK(same(GaussianSmoothing{4e-3}(x, 500), gaussian_smooth<double>(array, 2)));
    CHECK(same(GaussianSmoothing{4e-3}(x, 1000), gaussian_smooth<double>(array, 4)));
    CHECK(GaussianSmoothing{0}(x, 1000) == x);
}

TEST_CASE("smoothers keep what their documentation says they keep") {
    // A mean of 30 frames at 1 kHz keeps 70 % of 15 Hz, a Gaussian of 3 ms 98 % of 10 Hz.
    const auto kept = [](const auto& smoother, double frequency) {
        std::vector<double> x(2000);
        for (std::size_t i = 0; i < x.size(); ++i) {
            x[i] = std::sin(2 * std::numbers::pi * frequency * static_cast<double>(i) / 1000);
        }
        const std::vector<double> y = smoother(x, 1000.0);
        double before = 0, after = 0;
        for (std::size_t i = 200; i < 1800; ++i) {
            before += x[i] * x[i];
            after += y[i] * y[i];
        }
        return std::sqrt(after / before);
    };
    CHECK_WITHIN(kept(MovingAverage{30}, 15), 0.70, 0.005);
    CHECK_WITHIN(kept(GaussianSmoothing{3e-3}, 10), 0.98, 0.005);
}

TEST_CASE("a smoothing outside its domain is refused by name") {
    CHECK_NOTHROW(validate(Smoothing(NoSmoothing{})));
    CHECK_NOTHROW(validate(Smoothing(GaussianSmoothing{0})));
    CHECK_THROWS_WITH_AS(validate(Smoothing(MovingAverage{0})),
                         doctest::Contains("moving average = 0"), InvalidInput);
    for (const double bad : {-1e-3, std::nan(""), std::numeric_limits<double>::infinity()}) {
        CHECK_THROWS_WITH_AS(validate(Smoothing(GaussianSmoothing{bad})),
                             doctest::Contains("smoothing sigma"), InvalidInput);
    }
}
