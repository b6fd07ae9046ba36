#include "echosieve/motion/smoothing.hpp"

#include <cmath>
#include <numbers>
#include <variant>

#include "motion/slow_time.hpp"
#include "support/check.hpp"

using namespace echosieve;

TEST_CASE("smoothers do to displacements what their names say, at any frame rate") {
    Eigen::ArrayXd x(200);
    for (Eigen::Index i = 0; i < x.size(); ++i) {
        x[i] = std::sin(0.05 * static_cast<double>(i)) + (i == 100 ? 3 : 0);
    }
    CHECK((NoSmoothing{}(x, 500) == x).all());
    CHECK((MovingAverage{7}(x, 500) == moving_average(x, 7)).all());
    CHECK((MovingAverage{7}(x, 1000) == moving_average(x, 7)).all());
    // The Gaussian's length is a time.
    CHECK((GaussianSmoothing{4e-3}(x, 500) == gaussian_smooth<double>(x, 2)).all());
    CHECK((GaussianSmoothing{4e-3}(x, 1000) == gaussian_smooth<double>(x, 4)).all());
    CHECK((GaussianSmoothing{0}(x, 1000) == x).all());
}

TEST_CASE("smoothers keep what their documentation says they keep") {
    // A mean of 30 frames at 1 kHz keeps 70 % of 15 Hz, a Gaussian of 3 ms 98 % of 10 Hz.
    const auto kept = [](const auto& smoother, double frequency) {
        Eigen::ArrayXd x(2000);
        for (Eigen::Index i = 0; i < x.size(); ++i) {
            x[i] = std::sin(2 * std::numbers::pi * frequency * static_cast<double>(i) / 1000);
        }
        const Eigen::ArrayXd y = smoother(x, 1000.0);
        return std::sqrt(y.segment(200, 1600).square().mean() /
                         x.segment(200, 1600).square().mean());
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
