// The bounded quasi-Newton method, its memory and its line search, against solutions that are
// known.
#include "echosieve/optimise/quasi_newton.hpp"

#include <Eigen/Dense>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/core/random.hpp"
#include "optimise/reference/scipy_local.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

// Rosenbrock's valley in n dimensions.
struct Valley {
    std::size_t calls = 0;
    template <Real R>
    R operator()(std::span<const R> x) {
        ++calls;
        R sum = 0;
        for (std::size_t k = 0; k + 1 < x.size(); ++k) {
            const R a = x[k + 1] - x[k] * x[k];
            sum += 100 * a * a + (1 - x[k]) * (1 - x[k]);
        }
        return sum;
    }
};
struct SlopedValley : Valley {
    template <Real R>
    R value_and_gradient(std::span<const R> x, std::span<R> gradient) {
        for (R& g : gradient) {
            g = 0;
        }
        for (std::size_t k = 0; k + 1 < x.size(); ++k) {
            const R a = x[k + 1] - x[k] * x[k];
            gradient[k] -= 400 * a * x[k] + 2 * (1 - x[k]);
            gradient[k + 1] += 200 * a;
        }
        return (*this)(x);
    }
};

// x' A x / 2 - b' x.
struct Quadratic {
    Eigen::MatrixXd a;
    Eigen::VectorXd b;
    double operator()(std::span<const double> x) const {
        const Eigen::Map<const Eigen::VectorXd> v(x.data(), b.size());
        return v.dot(a * v) / 2 - b.dot(v);
    }
};
struct SlopedQuadratic : Quadratic {
    double value_and_gradient(std::span<const double> x, std::span<double> gradient) const {
        const Eigen::Map<const Eigen::VectorXd> v(x.data(), b.size());
        Eigen::Map<Eigen::VectorXd>(gradient.data(), b.size()) = a * v - b;
        return (*this)(x);
    }
};

// Of condition `condition`, at random axes.
SlopedQuadratic random_quadratic(RandomStream& stream, Eigen::Index n, double condition) {
    const auto draw = [&] { return stream.normal(); };
    const Eigen::MatrixXd q =
        Eigen::HouseholderQR<Eigen::MatrixXd>(Eigen::MatrixXd::NullaryExpr(n, n, draw))
            .householderQ();
    Eigen::VectorXd d(n);
    for (Eigen::Index k = 0; k < n; ++k) {
        d[k] = std::pow(condition, stream.uniform());
    }
    SlopedQuadratic out;
    out.a = q * d.asDiagonal() * q.transpose();
    out.b = out.a * Eigen::VectorXd::NullaryExpr(n, draw);
    return out;
}

}  // namespace

TEST_CASE("quadratics between bounds end where the conditions of a minimum hold") {
    RandomStream stream(5);
    std::size_t evaluations = 0;
    for (int round = 0; round < 40; ++round) {
        const Eigen::Index n = 1 + round % 12;
        const SlopedQuadratic sloped = random_quadratic(stream, n, 1e3);
        const Box<double> box(std::vector<double>(static_cast<std::size_t>(n), -0.5),
                              std::vector<double>(static_cast<std::size_t>(n), 0.7));
        const auto exact = minimise(sloped, box, QuasiNewton{}, 1);
        evaluations += exact.evaluations;
        const auto numeric = minimise(static_cast<const Quadratic&>(sloped), box, QuasiNewton{}, 1);
        CAPTURE(round);
        const double steepest = sloped.a.norm();
        for (const auto& [result, flat] : {std::pair{exact, 1e-6}, std::pair{numeric, 1e-5}}) {
            CHECK(result.usable());
            CHECK(box.contains(result.x));
            const Eigen::VectorXd slope =
                sloped.a * Eigen::Map<const Eigen::VectorXd>(result.x.data(), n) - sloped.b;
            for (Eigen::Index k = 0; k < n; ++k) {
                const double x = result.x[static_cast<std::size_t>(k)];
                CHECK((slope[k] <= flat * steepest || x == -0.5));
                CHECK((slope[k] >= -flat * steepest || x == 0.7));
            }
        }
        CHECK_WITHIN(exact.value, numeric.value, 1e-9 * std::max(1.0, std::abs(exact.value)));
    }
    // 1 to 12 dimensions of condition 1000: 13 as measured (g++ 12, x86-64), some more for other
    // roundings.
    CHECK(evaluations <= 18 * 40);
}

TEST_CASE("Rosenbrock's valley from several starts, by its gradient and without") {
    const Box<double> box({-5, -5}, {10, 10});
    for (const std::array<double, 2>& start :
         {std::array<double, 2>{-1.2, 1}, std::array<double, 2>{-5, 10},
          std::array<double, 2>{10, -5}, std::array<double, 2>{10, 10},
          std::array<double, 2>{-5, -5}, std::array<double, 2>{0, 0}}) {
        CAPTURE(start[0]);
        CAPTURE(start[1]);
        SlopedValley sloped;
        const auto exact = minimise(sloped, box, QuasiNewton{}, 1, start);
        CHECK(exact.value <= 1e-15);
        CHECK_WITHIN(exact.x[0], 1.0, 1e-7);
        CHECK_WITHIN(exact.x[1], 1.0, 2e-7);
        CHECK(exact.evaluations == sloped.calls);
        CHECK(exact.evaluations <= 150);
        Valley valley;
        const auto numeric = minimise(valley, box, QuasiNewton{}, 1, start);
        CHECK(numeric.value <= 1e-12);
        CHECK(numeric.evaluations == valley.calls);
        CHECK(numeric.evaluations <= 5 * 150);
    }
    const Box<float> narrow({-5, -5}, {10, 10});
    SlopedValley sloped;
    const auto single = minimise(sloped, narrow, QuasiNewton{}, 1, std::array<float, 2>{-1.2F, 1});
    CHECK(single.value <= 1e-5F);
    CHECK_WITHIN(single.x[0], 1.0F, 1e-2);
}

TEST_CASE("bounds that cut the valley off: SciPy's minima") {
    for (const ValleyRow& row : bounded_valleys) {
        const Box<double> box(std::vector<double>(4, row.lower), std::vector<double>(4, row.upper));
        for (const double part : {0.0, 0.5, 1.0}) {
            const std::vector<double> start(4, row.lower + part * (row.upper - row.lower));
            CAPTURE(part);
            const auto result = minimise(SlopedValley{}, box, QuasiNewton{}, 1, start);
            CHECK_WITHIN_RELATIVE(result.value, row.value, 1e-11);
            const std::array<double, 4> expected = {row.a, row.b, row.c, row.d};
            for (std::size_t k = 0; k < 4; ++k) {
                CHECK_WITHIN(result.x[k], expected[k], 1e-6);
            }
            CHECK(result.x[0] == expected[0]);  // on its bound, exactly
        }
    }
}

TEST_CASE("a value tolerance below rounding lets the slopes decide") {
    // Near its minimum of 1e3 the value is known to 1e-13, and x by it to 3e-7 only.
    struct High {
        double operator()(std::span<const double> x) const {
            return 1e3 + std::pow(x[0] - 0.3, 2) + std::pow(x[1] + x[0], 2);
        }
        double value_and_gradient(std::span<const double> x, std::span<double> gradient) const {
            gradient[0] = 2 * (x[0] - 0.3) + 2 * (x[1] + x[0]);
            gradient[1] = 2 * (x[1] + x[0]);
            return (*this)(x);
        }
    };
    const Box<double> box({-1, -1}, {1, 1});
    QuasiNewton method;
    method.value_tolerance = 0;
    method.gradient_tolerance = 1e-12;
    const auto result = minimise(High{}, box, method, 1, std::array<double, 2>{-1, 0.9});
    CHECK(result.usable());
    // The best point is one of equal values; that the end was by slopes is what the status tells.
    CHECK((result.status == OptimiseStatus::converged_gradient ||
           result.status == OptimiseStatus::converged_value));
    CHECK_WITHIN(result.x[0], 0.3, 1e-6);
}

TEST_CASE("the memory of n exact line searches inverts a quadratic of n dimensions") {
    RandomStream stream(8);
    const Eigen::Index n = 5;
    const SlopedQuadratic quadratic = random_quadratic(stream, n, 100);
    Workspace workspace;
    LimitedMemory memory(5, 5, workspace);
    // Conjugate steps: the eigenvectors.
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> axes(quadratic.a);
    for (Eigen::Index k = 0; k < n; ++k) {
        const Eigen::VectorXd s = axes.eigenvectors().col(k);
        const Eigen::VectorXd y = quadratic.a * s;
        memory.add({s.data(), 5}, {y.data(), 5});
    }
    CHECK(memory.size() == 5);
    // Along an axis the gradient changes by the step times the axis's eigenvalue.
    CHECK_WITHIN_RELATIVE(memory.gamma(), 1 / axes.eigenvalues()[n - 1], 1e-12);
    Eigen::VectorXd v = quadratic.b;
    const std::array<char, 5> free = {1, 1, 1, 1, 1};
    CHECK(memory.apply(free, {v.data(), 5}));
    const Eigen::VectorXd expected = quadratic.a.ldlt().solve(quadratic.b);
    CHECK_WITHIN((v - expected).norm(), 0.0, 1e-11 * expected.norm());
    // What is not free stays, and has no say.
    const std::array<char, 5> some = {1, 0, 1, 0, 0};
    Eigen::VectorXd part = quadratic.b;
    CHECK(memory.apply(some, {part.data(), 5}));
    CHECK(part[1] == quadratic.b[1]);
    CHECK(part[4] == quadratic.b[4]);
    // A pair without curvature is left out; a cleared memory does nothing.
    const std::array<double, 5> s = {1, 0, 0, 0, 0};
    const std::array<double, 5> y = {-1, 0, 0, 0, 0};
    memory.clear();
    memory.add(s, y);
    CHECK(memory.size() == 0);
    CHECK(!memory.apply(free, {part.data(), 5}));
    CHECK(part[1] == quadratic.b[1]);
}

TEST_CASE("a memory goes from run to run") {
    const Box<double> box({-1, -1, -1}, {1, 1, 1});
    RandomStream stream(9);
    SlopedQuadratic quadratic = random_quadratic(stream, 3, 100);
    quadratic.b *= 0.1;
    NoObserver observer;
    Workspace workspace;
    LimitedMemory pairs(10, 3, workspace);
    const QuasiNewton method;
    const auto first =
        method.minimise(OptimiseTask{quadratic, box, 1, {}, observer, workspace}, pairs);
    quadratic.b *= 1.1;
    const auto second =
        method.minimise(OptimiseTask{quadratic, box, 1, first.x, observer, workspace}, pairs);
    const auto anew =
        method.minimise(OptimiseTask{quadratic, box, 1, first.x, observer, workspace});
    CHECK_WITHIN(second.value, anew.value, 1e-12);
    CHECK(second.evaluations < anew.evaluations);
    LimitedMemory other(10, 2, workspace);
    CHECK_THROWS_WITH_AS(static_cast<void>(method.minimise(
                             OptimiseTask{quadratic, box, 1, {}, observer, workspace}, other)),
                         "dimension of the memory = 2: must be that of the box", InvalidInput);
}

TEST_CASE("interpolation finds the minimum of cubics and parabolas, and stays inside") {
    const auto cubic = [](double a) {
        return LinePoint{a, a * a * a - 3 * a, 3 * a * a - 3};  // least at 1
    };
    CHECK_WITHIN(interpolated_minimum(cubic(0), cubic(3)), 1.0, 1e-14);
    CHECK_WITHIN(step_between(cubic(0), cubic(2)), 1.0, 1e-14);
    CHECK_WITHIN(step_beyond(cubic(0), cubic(0.5)), 1.0, 1e-14);
    LinePoint high{4, 4 * 4 - 2 * 4, std::numeric_limits<double>::quiet_NaN()};
    CHECK_WITHIN(interpolated_minimum({0, 0, -2}, high), 1.0, 1e-14);  // of a^2 - 2 a
    high.value = std::numeric_limits<double>::infinity();
    CHECK(step_between({0, 0, -2}, high) == 1);  // a quarter
    // Whatever the numbers are, a trial goes back by a tenth to a half, or on by 1.1 to 4.
    RandomStream stream(2);
    for (int run = 0; run < 1000; ++run) {
        const auto draw = [&] { return std::exp(20 * stream.normal()) - 1; };
        const LinePoint low{0, draw(), -std::abs(draw())};
        const LinePoint far{1, draw(), run % 3 == 0 ? std::nan("") : draw()};
        const double back = step_between(low, far);
        CHECK((back >= 0.1 && back <= 0.5));
        const double on = step_beyond(low, far);
        CHECK((on >= 1.1 && on <= 5));
    }
}
