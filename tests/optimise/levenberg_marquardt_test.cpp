// Bounded Levenberg-Marquardt against problems whose solutions are known.
#include "echosieve/optimise/levenberg_marquardt.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/core/random.hpp"
#include "optimise/reference/scipy_local.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

// Misra1a of the NIST StRD collection, y = b1 (1 - exp(-b2 x)): data and certified values from
// memory, confirmed by reference/scipy_local.py.
struct Misra1a {
    static constexpr std::array<double, 14> x = {77.6,  114.9, 141.1, 190.8, 239.9, 289.0, 332.8,
                                                 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0};
    static constexpr std::array<double, 14> y = {10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02,
                                                 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78};
    std::size_t residual_calls = 0;

    [[nodiscard]] std::size_t residual_count() const { return x.size(); }
    template <Real R>
    void residuals(std::span<const R> b, std::span<R> r) {
        ++residual_calls;
        for (std::size_t i = 0; i < x.size(); ++i) {
            r[i] = static_cast<R>(static_cast<double>(b[0]) *
                                      (1 - std::exp(-static_cast<double>(b[1]) * x[i])) -
                                  y[i]);
        }
    }
};
struct Misra1aWithJacobian : Misra1a {
    template <Real R>
    void jacobian(std::span<const R> b, std::span<R> j) const {
        for (std::size_t i = 0; i < x.size(); ++i) {
            const double e = std::exp(-static_cast<double>(b[1]) * x[i]);
            j[i] = static_cast<R>(1 - e);
            j[x.size() + i] = static_cast<R>(static_cast<double>(b[0]) * x[i] * e);
        }
    }
};
constexpr double misra1a_value = 1.2455138894e-01;
constexpr std::array<double, 2> misra1a_certified = {2.3894212918e+02, 5.5015643181e-04};
constexpr double certified_digits = 1e-10;  // eleven are given

// r = A x - b, columns of very different lengths, and the same without a Jacobian.
struct Linear {
    Eigen::MatrixXd a;
    Eigen::VectorXd b;

    [[nodiscard]] std::size_t residual_count() const { return static_cast<std::size_t>(b.size()); }
    void residuals(std::span<const double> x, std::span<double> r) const {
        Eigen::Map<Eigen::VectorXd>(r.data(), b.size()) =
            a * Eigen::Map<const Eigen::VectorXd>(x.data(), a.cols()) - b;
    }
    void jacobian(std::span<const double>, std::span<double> j) const {
        Eigen::Map<Eigen::MatrixXd>(j.data(), a.rows(), a.cols()) = a;
    }
};

Linear random_linear(RandomStream& stream, Eigen::Index n) {
    Linear out;
    const auto draw = [&] { return stream.normal(); };
    out.a = Eigen::MatrixXd::NullaryExpr(3 * n, n, draw);
    for (Eigen::Index k = 0; k < n; ++k) {
        out.a.col(k) *= std::pow(10.0, 6 * stream.uniform() - 3);
    }
    out.b = Eigen::VectorXd::NullaryExpr(3 * n, draw);
    return out;
}

}  // namespace

TEST_CASE("Misra1a from both published starts, to the certified digits") {
    const Box<double> box({0, 0}, {1000, 0.01});
    for (const std::array<double, 2>& start :
         {std::array<double, 2>{500, 0.0001}, std::array<double, 2>{250, 0.0005}}) {
        SumOfSquares exact(Misra1aWithJacobian{}, box);
        const auto result = minimise(exact, box, LevenbergMarquardt{}, 1, start);
        CHECK(result.status == OptimiseStatus::converged_value);
        CHECK_WITHIN_RELATIVE(result.value, misra1a_value, certified_digits);
        // The last step was promised a fall of 1e-12: the parameters lag the value by a root.
        CHECK_WITHIN_RELATIVE(result.x[0], misra1a_certified[0], 1e-7);
        CHECK_WITHIN_RELATIVE(result.x[1], misra1a_certified[1], 1e-7);
        CHECK(result.evaluations == exact.function().residual_calls);

        SumOfSquares numeric(Misra1a{}, box);
        const auto difference = minimise(numeric, box, LevenbergMarquardt{}, 1, start);
        CHECK_WITHIN_RELATIVE(difference.value, misra1a_value, certified_digits);
        CHECK_WITHIN_RELATIVE(difference.x[1], misra1a_certified[1], 1e-6);
        CHECK(difference.evaluations == numeric.function().residual_calls);
    }
    // In float the parameters are known to the root of the rounding unit, at best.
    const Box<float> narrow({0, 0}, {1000, 0.01F});
    SumOfSquares single(Misra1aWithJacobian{}, narrow);
    const auto rough =
        minimise(single, narrow, LevenbergMarquardt{}, 1, std::array<float, 2>{250, 0.0005F});
    CHECK(rough.usable());
    CHECK(rough.evaluations < 40);
    CHECK_WITHIN_RELATIVE(static_cast<double>(rough.value), misra1a_value, 1e-3);
}

TEST_CASE("linear residuals under bounds end at a point that meets the conditions of a minimum") {
    RandomStream stream(3);
    for (int round = 0; round < 50; ++round) {
        const Eigen::Index n = 1 + round % 8;
        const Linear linear = random_linear(stream, n);
        const Eigen::VectorXd free = linear.a.colPivHouseholderQr().solve(linear.b);
        std::vector<double> lower, upper;
        for (Eigen::Index k = 0; k < n; ++k) {
            // About half of the minimisers without bounds lie inside.
            const double width = std::abs(free[k]) * (0.5 + 2 * stream.uniform());
            lower.push_back(free[k] - width * (2 * stream.uniform() - 0.5));
            upper.push_back(lower.back() + width);
        }
        const Box<double> box(lower, upper);
        SumOfSquares objective(linear, box);
        const auto result = minimise(objective, box, LevenbergMarquardt{.initial_damping = 0}, 1);
        CAPTURE(round);
        CHECK(result.usable());
        CHECK(result.evaluations <= 12);
        const Eigen::VectorXd r =
            linear.a * Eigen::Map<const Eigen::VectorXd>(result.x.data(), n) - linear.b;
        for (Eigen::Index k = 0; k < n; ++k) {
            const auto i = static_cast<std::size_t>(k);
            const double slope = linear.a.col(k).dot(r) / (linear.a.col(k).norm() * r.norm());
            constexpr double flat = 1e-6;  // a fall of 1e-12 of the value may be left
            CHECK((slope <= flat || result.x[i] == lower[i]));
            CHECK((slope >= -flat || result.x[i] == upper[i]));
        }
    }
}

TEST_CASE("no coordinate goes further in a step than the largest, up or down") {
    struct Tracked : Linear {
        std::vector<Eigen::Vector2d>* points = nullptr;

        void residuals(std::span<const double> x, std::span<double> r) const {
            points->emplace_back(x[0], x[1]);
            Linear::residuals(x, r);
        }
    };
    std::vector<Eigen::Vector2d> points;
    Tracked linear;
    linear.a = Eigen::MatrixXd::Identity(2, 2);
    linear.b = Eigen::Vector2d(-8, 7);
    linear.points = &points;
    const Box<double> box({-10, -10}, {10, 10});
    SumOfSquares objective(linear, box);
    const LevenbergMarquardt method{.initial_damping = 0, .largest_step = 0.05};
    const auto result = minimise(objective, box, method, 1, std::vector<double>{8, -8});
    CHECK_WITHIN(result.x[0], -8, 1e-9);
    CHECK_WITHIN(result.x[1], 7, 1e-9);
    REQUIRE(points.size() > 16);
    for (std::size_t n = 1; n < points.size(); ++n) {
        CHECK((points[n] - points[n - 1]).cwiseAbs().maxCoeff() <= 0.05 * 20 * (1 + 1e-12));
    }
}

TEST_CASE("Misra1a with its first parameter held down by a bound: SciPy's minima") {
    for (const RegressionRow& row : misra1a_fits) {
        const Box<double> box({0, 0}, {row.highest_first, 0.01});
        SumOfSquares exact(Misra1aWithJacobian{}, box);
        SumOfSquares numeric(Misra1a{}, box);
        for (const double second : {1e-4, 5e-4, 9e-3}) {
            const std::array<double, 2> start = {150, second};
            CAPTURE(second);
            const auto a = minimise(exact, box, LevenbergMarquardt{}, 1, start);
            const auto b = minimise(numeric, box, LevenbergMarquardt{}, 1, start);
            for (const auto& result : {a, b}) {
                CHECK_WITHIN_RELATIVE(result.value, row.value, 1e-9);
                CHECK_WITHIN_RELATIVE(result.x[0], row.first, 1e-6);
                CHECK_WITHIN_RELATIVE(result.x[1], 1e-4 * row.second_e4, 1e-6);
            }
        }
    }
}

TEST_CASE("numeric Jacobians stay inside the box, count what they take and fit its budget") {
    struct Inside {
        const Box<double>* box;
        std::size_t calls = 0;
        std::size_t outside = 0;
        [[nodiscard]] static std::size_t residual_count() { return 3; }
        void residuals(std::span<const double> x, std::span<double> r) {
            ++calls;
            outside += box->contains(x) ? 0 : 1;
            r[0] = x[0] - 2;  // held by a bound
            r[1] = 10 * (x[1] - x[0] * x[0]);
            r[2] = x[2];
        }
    };
    const Box<double> box({-1, -5, 0.25}, {1, 5, 0.25});
    for (std::size_t limit = 1; limit < 30; ++limit) {
        SumOfSquares objective(Inside{&box}, box);
        LevenbergMarquardt method;
        method.max_evaluations = limit;
        const auto result = minimise(objective, box, method, 1, std::array<double, 3>{-1, 5, 0.25});
        CHECK(objective.function().outside == 0);
        CHECK(objective.function().calls == result.evaluations);
        CHECK(result.evaluations <= limit);
    }
    SumOfSquares objective(Inside{&box}, box);
    const auto result =
        minimise(objective, box, LevenbergMarquardt{}, 1, std::array<double, 3>{-1, 5, 0.25});
    CHECK(result.x[0] == 1);
    CHECK_WITHIN(result.x[1], 1.0, 1e-7);
    // Two coordinates have room, and a rejected trial takes no differences.
    CHECK(result.evaluations < 3 * (result.iterations + 1));
    struct Nothing {
        [[nodiscard]] static std::size_t residual_count() { return 0; }
        void residuals(std::span<const double>, std::span<double>) const {}
    };
    CHECK_THROWS_WITH_AS(SumOfSquares(Nothing{}, box),
                         "number of residuals = 0: must be at least 1", InvalidInput);
}

TEST_CASE("normal equations, gradients and values of residuals agree") {
    RandomStream stream(6);
    const Linear linear = random_linear(stream, 4);
    const Box<double> box(std::vector<double>(4, -1), std::vector<double>(4, 1));
    SumOfSquares objective(linear, box);
    const std::vector<double> x = {0.1, -0.2, 0.3, 0.4};
    const Eigen::Map<const Eigen::VectorXd> v(x.data(), 4);
    const Eigen::VectorXd r = linear.a * v - linear.b;
    Eigen::Matrix4d gram;
    Eigen::Vector4d gradient, full;
    const double scale = linear.a.squaredNorm();
    CHECK_WITHIN_RELATIVE(objective(x), r.squaredNorm(), 1e-14);
    CHECK_WITHIN_RELATIVE(objective.normal_equations(x, {gram.data(), 16}, {gradient.data(), 4}),
                          r.squaredNorm(), 1e-14);
    CHECK_WITHIN((gram - linear.a.transpose() * linear.a).norm(), 0.0, 1e-14 * scale);
    CHECK_WITHIN((gradient - linear.a.transpose() * r).norm(), 0.0, 1e-13 * scale);
    CHECK_WITHIN_RELATIVE(objective.value_and_gradient(x, {full.data(), 4}), r.squaredNorm(),
                          1e-14);
    CHECK_WITHIN((full - 2 * gradient).norm(), 0.0, 1e-14 * scale);
}
