#include "motion/layers/smooth_step.hpp"

#include <Eigen/Cholesky>
#include <cmath>
#include <numbers>

#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;

TEST_CASE("steps are those of a dense solution of the same normal equations") {
    constexpr Eigen::Index frames = 40;
    RandomStream random(1, 0);
    for (const Eigen::Index size : {1, 2, 3}) {
        CAPTURE(size);
        Eigen::ArrayXXd blocks(frames, size * size);
        Eigen::ArrayXXd gradient(frames, size);
        Eigen::ArrayXd penalty(size);
        Eigen::MatrixXd dense = Eigen::MatrixXd::Zero(frames * size, frames * size);
        Eigen::VectorXd right(frames * size);
        for (Eigen::Index i = 0; i < frames; ++i) {
            Eigen::MatrixXd root(size, size);
            for (double& x : root.reshaped()) {
                x = random.normal();
            }
            Eigen::MatrixXd h = root * root.transpose();
            if (i == 7) {
                h.setZero();  // a frame that says nothing: its neighbours do
            }
            dense.block(i * size, i * size, size, size) = h;
            for (Eigen::Index m = 0; m < size; ++m) {
                gradient(i, m) = i == 7 ? 0 : random.normal();
                right[i * size + m] = gradient(i, m);
                for (Eigen::Index n = 0; n < size; ++n) {
                    blocks(i, m * size + n) = h(m, n);
                }
            }
        }
        for (Eigen::Index m = 0; m < size; ++m) {
            penalty[m] = 0.5 + 3 * static_cast<double>(m);
            Eigen::MatrixXd second = Eigen::MatrixXd::Zero(frames - 2, frames * size);
            for (Eigen::Index i = 0; i + 2 < frames; ++i) {
                second(i, i * size + m) = 1;
                second(i, (i + 1) * size + m) = -2;
                second(i, (i + 2) * size + m) = 1;
            }
            dense += penalty[m] * second.transpose() * second;
        }
        const Eigen::VectorXd expected = dense.ldlt().solve(right);
        const Eigen::ArrayXXd steps = smooth_steps(blocks, gradient, penalty);
        REQUIRE(steps.rows() == frames);
        REQUIRE(steps.cols() == size);
        double largest = 0;
        for (Eigen::Index i = 0; i < frames; ++i) {
            for (Eigen::Index m = 0; m < size; ++m) {
                largest = std::max(largest, std::abs(steps(i, m) - expected[i * size + m]));
            }
        }
        constexpr double rounding = 1e-10;  // of steps of order one, condition number 1e4 or so
        CHECK_WITHIN(largest, 0.0, rounding);
    }
}

TEST_CASE("a step at the cutoff is held back to half, a slow one is let through") {
    constexpr double rate = 1000;
    constexpr Eigen::Index frames = 2000;
    const auto gain = [&](double frequency, double cutoff, double curvature) {
        Eigen::ArrayXd wave(frames);
        for (Eigen::Index i = 0; i < frames; ++i) {
            wave[i] = std::sin(2 * std::numbers::pi * frequency * static_cast<double>(i) / rate);
        }
        const Eigen::ArrayXXd steps =
            smooth_steps(Eigen::ArrayXXd::Constant(frames, 1, curvature), curvature * wave,
                         Eigen::ArrayXd::Constant(1, roughness_penalty(curvature, cutoff, rate)));
        // away from the ends
        const Eigen::ArrayXd middle = steps.col(0).segment(500, 1000);
        return (middle * wave.segment(500, 1000)).sum() / wave.segment(500, 1000).square().sum();
    };
    constexpr double difference = 5e-3;  // between a second difference and a second derivative
    CHECK_WITHIN(gain(25, 25, 1), 0.5, difference);
    CHECK_WITHIN(gain(25, 25, 1e9), 0.5, difference);
    CHECK_WITHIN(gain(5, 25, 1), 1 / (1 + std::pow(0.2, 4)), difference);
    CHECK_WITHIN(gain(50, 25, 1), 1.0 / 17, difference);
}
