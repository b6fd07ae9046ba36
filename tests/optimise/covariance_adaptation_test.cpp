// Covariance matrix adaptation: constants, learning, invariance, restarts.
#include "echosieve/optimise/covariance_adaptation.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/Eigenvalues>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numeric>
#include <span>
#include <vector>

#include "optimise/problems.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;
using Point = std::vector<double>;

MatrixXd random_matrix(std::size_t n, RandomStream& stream) {
    const auto size = static_cast<Eigen::Index>(n);
    return MatrixXd::NullaryExpr(size, size, [&] { return stream.normal(); });
}

// n x n, row by row.
Eigen::Map<const Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>> as_matrix(
    std::span<const double> values, std::size_t n) {
    const auto size = static_cast<Eigen::Index>(n);
    return {values.data(), size, size};
}

double ellipsoid(std::span<const double> x) {
    double sum = 0;
    for (std::size_t k = 0; k < x.size(); ++k) {
        sum += std::pow(1e3, static_cast<double>(k)) * std::pow(x[k] - 0.4, 2);
    }
    return sum;
}

template <class F>
std::vector<Point> course(const CovarianceAdaptation& adaptation, const F& objective,
                          const Box<double>& box, std::uint64_t seed, const Point& start = {}) {
    std::vector<Point> points;
    const auto record = [&](std::span<const double> x) {
        points.emplace_back(x.begin(), x.end());
        return objective(x);
    };
    static_cast<void>(minimise(record, box, adaptation, seed, start));
    return points;
}

}  // namespace

TEST_CASE("the constants satisfy what they were made for") {
    constexpr double rounding = 1e-13;
    for (const std::size_t n : {1U, 2U, 3U, 6U, 18U, 50U}) {
        for (const std::size_t lambda : {3U, 4U, 5U, 6U, 10U, 12U, 40U, 1000U}) {
            CAPTURE(n);
            CAPTURE(lambda);
            std::vector<double> w(lambda);
            const CovarianceConstants c = covariance_constants(n, w);
            const double dim = static_cast<double>(n);
            REQUIRE(c.parents == lambda / 2);
            double sum = 0;
            double squares = 0;
            for (std::size_t i = 0; i < c.parents; ++i) {
                CHECK(w[i] > 0);
                sum += w[i];
                squares += w[i] * w[i];
            }
            CHECK_WITHIN(sum, 1, rounding);
            CHECK_WITHIN(c.effective_parents * squares, 1, rounding);
            CHECK(c.effective_parents >= 1 - rounding);
            CHECK(c.effective_parents <= static_cast<double>(c.parents) + rounding);
            CHECK(std::is_sorted(w.rbegin(), w.rend()));
            double negative = 0;
            for (std::size_t i = c.parents; i < lambda; ++i) {
                CHECK(w[i] <= rounding);
                negative -= w[i];
            }
            CHECK(c.rank_one_rate > 0);
            CHECK(c.rank_mu_rate >= 0);
            CHECK(c.rank_one_rate + c.rank_mu_rate <= 1);
            CHECK(c.step_rate > 0);
            CHECK(c.step_rate < 1);
            CHECK(c.path_rate > 0);
            CHECK(c.path_rate <= 1);
            CHECK(c.step_damping >= 1);
            // What the worst points take from C is less than what is left of it.
            CHECK(dim * c.rank_mu_rate * negative <=
                  1 - c.rank_one_rate - c.rank_mu_rate + rounding);
            CHECK(negative <= 1 + 2 * static_cast<double>(lambda));
        }
    }
}

TEST_CASE("weights and rates of ten points in ten dimensions") {
    // Hansen 2016's formulas by hand (from memory): w_1 = ln 5.5 / (5 ln 5.5 - ln 120).
    std::vector<double> w(10);
    const CovarianceConstants c = covariance_constants(10, w);
    constexpr double rounding = 1e-14;
    const double sum = 5 * std::log(5.5) - std::log(120.0);
    CHECK_WITHIN(w[0], std::log(5.5) / sum, rounding);
    CHECK_WITHIN(w[4], std::log(1.1) / sum, rounding);
    const double mu_eff = c.effective_parents;
    CHECK_WITHIN(mu_eff, 3.1673, 1e-4);  // as printed in many places; from memory
    CHECK_WITHIN(c.step_rate, (mu_eff + 2) / (15 + mu_eff), rounding);
    CHECK_WITHIN(c.path_rate, (4 + mu_eff / 10) / (14 + mu_eff / 5), rounding);
    CHECK_WITHIN(c.rank_one_rate, 2 / (127.69 + mu_eff), rounding);
    CHECK_WITHIN(c.rank_mu_rate, 2 * (mu_eff - 2 + 1 / mu_eff) / (144 + mu_eff), rounding);
    CHECK_WITHIN(c.step_damping, 1 + c.step_rate, rounding);  // mu_eff < n + 2
    CHECK(usual_population(1) == 4);
    CHECK(usual_population(2) == 6);
    CHECK(usual_population(6) == 9);
    CHECK(usual_population(10) == 10);
    CHECK(usual_population(18) == 12);
    CHECK_THROWS_AS(static_cast<void>(covariance_constants(0, w)), InvalidInput);
}

TEST_CASE("the expected length of a normal vector") {
    for (std::size_t n = 1; n <= 100; ++n) {
        const double dim = static_cast<double>(n);
        const double exact = std::sqrt(2.0) * std::tgamma((dim + 1) / 2) / std::tgamma(dim / 2);
        CHECK_WITHIN_RELATIVE(expected_normal_length(n), exact, 1e-13);
        // The usual approximation: right to (1 / 21 - 1 / 32) n^-2 = 0.0164 n^-2.
        const double near = std::sqrt(dim) * (1 - 1 / (4 * dim) + 1 / (21 * dim * dim));
        CHECK_WITHIN_RELATIVE(expected_normal_length(n), near, 2e-2 / (dim * dim));
    }
}

TEST_CASE("points have the mean and the covariance that they are drawn from") {
    // Learns from points ordered by a slope, so that C is no longer the identity, then draws.
    constexpr std::size_t n = 3;
    constexpr std::size_t lambda = 9;
    Workspace workspace;
    detail::CovarianceDistribution drawn(n, lambda, workspace);
    RandomStream stream(1);
    std::vector<std::size_t> order(lambda);
    for (int generation = 0; generation < 30; ++generation) {
        for (std::size_t i = 0; i < lambda; ++i) {
            drawn.draw(i, stream);
        }
        std::iota(order.begin(), order.end(), std::size_t{0});
        std::ranges::sort(order, {}, [&](std::size_t i) {
            return drawn.point(i, 0) + 2 * drawn.point(i, 1) - drawn.point(i, 2);
        });
        REQUIRE(drawn.learn(order));
    }
    drawn.set_step(2);
    const MatrixXd c = as_matrix(drawn.covariance(), n);
    constexpr int draws = 40000;
    MatrixXd moments = MatrixXd::Zero(n, n);
    VectorXd mean = VectorXd::Zero(n);
    for (int t = 0; t < draws; ++t) {
        drawn.draw(0, stream);
        VectorXd y(n);
        for (std::size_t k = 0; k < n; ++k) {
            y(static_cast<Eigen::Index>(k)) = (drawn.point(0, k) - drawn.mean()[k]) / 2;
        }
        mean += y / draws;
        moments += y * y.transpose() / draws;
    }
    CHECK(c.eigenvalues().real().maxCoeff() > 2 * c.eigenvalues().real().minCoeff());
    constexpr double deviations = 5;
    for (Eigen::Index r = 0; r < 3; ++r) {
        CHECK_WITHIN(mean(r), 0, deviations * std::sqrt(c(r, r) / draws));
        for (Eigen::Index s = 0; s < 3; ++s) {
            const double variance = c(r, r) * c(s, s) + c(r, s) * c(r, s);
            CHECK_WITHIN(moments(r, s), c(r, s), deviations * std::sqrt(variance / draws));
        }
    }
}

TEST_CASE("it learns as a slow textbook does") {
    // Hansen 2016's equations in matrices, from memory: a second writing, of the same points.
    constexpr std::size_t n = 5;
    constexpr std::size_t lambda = 8;
    constexpr int size = 5;
    std::vector<double> w(lambda);
    const CovarianceConstants k = covariance_constants(n, w);
    const double c_s = k.step_rate;
    const double c_c = k.path_rate;
    VectorXd m = VectorXd::Constant(size, 0.5);
    VectorXd p_s = VectorXd::Zero(size);
    VectorXd p_c = VectorXd::Zero(size);
    MatrixXd c = MatrixXd::Identity(size, size);
    double sigma = 0.3;

    Workspace workspace;
    detail::CovarianceDistribution drawn(n, lambda, workspace);
    std::ranges::fill(drawn.mean(), 0.5);
    drawn.set_step(sigma);
    RandomStream stream(6);
    std::vector<std::size_t> order(lambda);
    bool waited = false;
    for (int g = 1; g <= 60; ++g) {
        MatrixXd y(size, static_cast<int>(lambda));
        for (std::size_t i = 0; i < lambda; ++i) {
            drawn.draw(i, stream);
            for (std::size_t j = 0; j < n; ++j) {
                y(static_cast<int>(j), static_cast<int>(i)) =
                    (drawn.point(i, j) - drawn.mean()[j]) / drawn.step();
            }
        }
        std::iota(order.begin(), order.end(), std::size_t{0});
        std::ranges::sort(order, {}, [&](std::size_t i) {
            // Far away at first, so that the path gets long and p_c waits.
            double sum = 0;
            for (std::size_t j = 0; j < n; ++j) {
                sum += std::pow(10, static_cast<double>(j)) * std::pow(drawn.point(i, j) - 40, 2);
            }
            return sum;
        });
        REQUIRE(drawn.learn(order));

        const Eigen::SelfAdjointEigenSolver<MatrixXd> solver(c);
        const MatrixXd whitening = solver.operatorInverseSqrt();
        VectorXd y_w = VectorXd::Zero(size);
        for (std::size_t i = 0; i < k.parents; ++i) {
            y_w += w[i] * y.col(static_cast<int>(order[i]));
        }
        m += sigma * y_w;
        p_s =
            (1 - c_s) * p_s + std::sqrt(c_s * (2 - c_s) * k.effective_parents) * (whitening * y_w);
        const double h = p_s.norm() / std::sqrt(1 - std::pow(1 - c_s, 2 * g)) <
                                 (1.4 + 2 / (size + 1.0)) * k.expected_length
                             ? 1
                             : 0;
        waited = waited || h == 0;
        p_c = (1 - c_c) * p_c + h * std::sqrt(c_c * (2 - c_c) * k.effective_parents) * y_w;
        const double c_1 = k.rank_one_rate;
        const double c_mu = k.rank_mu_rate;
        const double sum = std::accumulate(w.begin(), w.end(), 0.0);
        MatrixXd next = (1 + c_1 * (1 - h) * c_c * (2 - c_c) - c_1 - c_mu * sum) * c +
                        c_1 * p_c * p_c.transpose();
        for (std::size_t i = 0; i < lambda; ++i) {
            const VectorXd y_i = y.col(static_cast<int>(order[i]));
            const double circ = w[i] >= 0 ? w[i] : w[i] * size / (whitening * y_i).squaredNorm();
            next += c_mu * circ * y_i * y_i.transpose();
        }
        c = next;
        sigma *= std::exp(c_s / k.step_damping * (p_s.norm() / k.expected_length - 1));

        constexpr double rounding = 1e-9;  // relative, over 60 updates
        CHECK_WITHIN_RELATIVE(drawn.step(), sigma, rounding);
        CHECK((as_matrix(drawn.covariance(), n) - c).norm() <= rounding * c.norm());
        for (int j = 0; j < size; ++j) {
            CHECK_WITHIN(drawn.mean()[static_cast<std::size_t>(j)], m(j), rounding * m.norm());
        }
    }
    CHECK(waited);
}

TEST_CASE("on a quadratic the covariance becomes the inverse of the Hessian up to its scale") {
    constexpr std::size_t n = 4;
    constexpr std::size_t lambda = 8;
    RandomStream stream(3);
    const Eigen::HouseholderQR<MatrixXd> turn(random_matrix(n, stream));
    const MatrixXd q = turn.householderQ();
    const MatrixXd hessian = q * Eigen::Vector4d(1, 10, 100, 1000).asDiagonal() * q.transpose();
    const Eigen::LLT<MatrixXd> factor(hessian);
    Workspace workspace;
    detail::CovarianceDistribution drawn(n, lambda, workspace);
    std::ranges::fill(drawn.mean(), 1.0);
    std::vector<std::size_t> order(lambda);
    MatrixXd sum = MatrixXd::Zero(n, n);
    double condition = 0;
    for (int generation = 0; generation < 800; ++generation) {
        for (std::size_t i = 0; i < lambda; ++i) {
            drawn.draw(i, stream);
        }
        std::iota(order.begin(), order.end(), std::size_t{0});
        std::ranges::sort(order, {}, [&](std::size_t i) {
            Eigen::Vector4d x;
            for (std::size_t k = 0; k < n; ++k) {
                x(static_cast<Eigen::Index>(k)) = drawn.point(i, k);
            }
            return x.dot(hessian * x);
        });
        REQUIRE(drawn.learn(order));
        if (generation >= 300) {
            // H^(1/2) C H^(1/2) up to a rotation: near the identity if C is near H^-1.
            const MatrixXd l = factor.matrixL();
            MatrixXd m = l.transpose() * as_matrix(drawn.covariance(), n) * l;
            m *= static_cast<double>(n) / m.trace();
            sum += m / 500;
            const VectorXd values = Eigen::SelfAdjointEigenSolver<MatrixXd>(m).eigenvalues();
            condition += values(3) / values(0) / 500;
        }
    }
    const VectorXd values = Eigen::SelfAdjointEigenSolver<MatrixXd>(sum).eigenvalues();
    MESSAGE("condition ", values(3) / values(0), " of the mean, ", condition, " on average");
    // From 1000 at the start; what is left is the scatter of few points.
    CHECK(values(3) / values(0) < 1.5);
    CHECK(condition < 10);
}

TEST_CASE("only the order of the values counts") {
    const Box<double> box({0, 0, 0}, {1, 1, 1});
    CovarianceAdaptation adaptation;
    adaptation.iterations = 40;  // far from where values meet their rounding
    adaptation.value_tolerance = 0;
    const auto plain = course(adaptation, ellipsoid, box, 5);
    CHECK(plain.size() == 1 + 40 * 7);
    CHECK(plain == course(
                       adaptation, [](auto x) { return std::exp(1e-6 * ellipsoid(x)); }, box, 5));
    CHECK(plain == course(
                       adaptation, [](auto x) { return std::cbrt(ellipsoid(x) - 1e3); }, box, 5));
}

TEST_CASE("a box that is scaled or shifted leaves the course as it is") {
    CovarianceAdaptation adaptation;
    adaptation.iterations = 40;
    const auto plain = course(adaptation, ellipsoid, Box<double>({0, 0, 0}, {1, 1, 1}), 5);
    const auto moved = [&](double scale, double shift) {
        const auto objective = [&](std::span<const double> x) {
            Point back(x.begin(), x.end());
            for (double& v : back) {
                v = (v - shift) / scale;
            }
            return ellipsoid(back);
        };
        const Box<double> box(Point(3, shift), Point(3, shift + scale));
        auto points = course(adaptation, objective, box, 5);
        for (Point& x : points) {
            for (double& v : x) {
                v = (v - shift) / scale;
            }
        }
        return points;
    };
    CHECK(moved(0x1p300, 0) == plain);
    CHECK(moved(0x1p-300, 0) == plain);
    const auto shifted = moved(3, 100);
    REQUIRE(shifted.size() == plain.size());
    for (std::size_t i = 0; i < plain.size(); ++i) {
        for (std::size_t k = 0; k < 3; ++k) {
            REQUIRE(within(shifted[i][k], plain[i][k], 1e-12));  // rounding of 100 + 3 u
        }
    }
}

TEST_CASE("points outside are folded back") {
    CHECK(detail::folded(0.25) == 0.25);
    CHECK(detail::folded(-0.25) == 0.25);
    CHECK(detail::folded(1.25) == 0.75);
    CHECK(detail::folded(-1.75) == 0.25);
    CHECK(detail::folded(4.5) == 0.5);
    CHECK(detail::folded(1) == 1);
    CHECK(detail::folded(3) == 1);
    for (const double wild : {std::numeric_limits<double>::infinity(), std::nan(""), 1e300}) {
        CHECK(detail::folded(wild) >= 0);
        CHECK(detail::folded(wild) <= 1);
    }
    // A minimum in a corner is found as exactly as one inside, and no point is cut off at a bound.
    std::size_t cut = 0;
    const auto slope = [&](std::span<const double> x) {
        cut += std::ranges::any_of(x, [](double v) { return v == 0 || v == 1; }) ? 1 : 0;
        return x[0] - 2 * x[1] + x[2];
    };
    CovarianceAdaptation adaptation;
    adaptation.target = -2 + 1e-9;
    const auto result = minimise(slope, Box<double>({0, 0, 0}, {1, 1, 1}), adaptation, 1);
    CHECK(result.status == OptimiseStatus::target_reached);
    CHECK(result.evaluations < 3000);
    CHECK(cut == 0);
}

TEST_CASE("each restart draws more points, from a point at random") {
    struct Batch {
        std::vector<std::size_t> sizes;
        double operator()(std::span<const double>) const { return 1; }
        void evaluate(const Points<double>& points, std::span<double> values) {
            sizes.push_back(points.size());
            std::ranges::fill(values, 1.0);
        }
    };
    CovarianceAdaptation adaptation;
    adaptation.restarts = 3;
    adaptation.flat_iterations = 4;
    Batch batch;
    const Box<double> box({0, 0}, {1, 1});
    const auto result = minimise(batch, box, adaptation, 1);
    std::vector<std::size_t> expected;
    for (const std::size_t size : {6U, 12U, 24U, 48U}) {
        expected.insert(expected.end(), 4, size);
    }
    CHECK(batch.sizes == expected);
    CHECK(result.status == OptimiseStatus::converged_value);
    CHECK(result.evaluations == 1 + 4 * 90);
    // Never more than may yet be evaluated.
    batch.sizes.clear();
    adaptation.max_evaluations = 1 + 4 * 42 + 30;
    const auto limited = minimise(batch, box, adaptation, 1);
    CHECK(batch.sizes.back() == 30);
    CHECK(limited.evaluations == adaptation.max_evaluations);
    CHECK(limited.status == OptimiseStatus::evaluation_limit);
}

TEST_CASE("what ends a run") {
    const Box<double> box({0, 0, 0}, {1, 1, 1});
    CovarianceAdaptation adaptation;
    adaptation.restarts = 0;
    const auto status = [&] { return minimise(ellipsoid, box, adaptation, 1); };
    adaptation.step_tolerance = 1e-3;
    const auto coarse = status();
    CHECK(coarse.status == OptimiseStatus::converged_step);
    adaptation.step_tolerance = 1e-11;
    const auto fine = status();
    CHECK(fine.status == OptimiseStatus::converged_step);
    CHECK(fine.evaluations > coarse.evaluations);
    CHECK(fine.value < 1e-15);
    adaptation.step_tolerance = 0;
    adaptation.value_tolerance = 0.5;
    adaptation.iterations = 150;  // of values that fall to 0, no two agree until both are rounded
    CHECK(status().status == OptimiseStatus::iteration_limit);
    const auto raised = [](std::span<const double> x) { return 1 + ellipsoid(x); };
    CHECK(minimise(raised, box, adaptation, 1).status == OptimiseStatus::converged_value);
    adaptation.condition_limit = 30;
    CHECK(status().status == OptimiseStatus::ill_conditioned);
}

TEST_CASE("restarts find what one run does not") {
    const auto all = problems();
    const auto problem = std::ranges::find(all, "Rastrigin 3", &Problem::name);
    REQUIRE(problem != all.end());
    int one = 0;
    int many = 0;
    for (std::uint64_t seed = 0; seed < 10; ++seed) {
        CovarianceAdaptation adaptation;
        adaptation.target = problem->minimum + 1e-8;
        adaptation.restarts = 0;
        one +=
            minimise(problem->function, problem->box, adaptation, seed).value <= adaptation.target
                ? 1
                : 0;
        adaptation.restarts = 9;
        many +=
            minimise(problem->function, problem->box, adaptation, seed).value <= adaptation.target
                ? 1
                : 0;
    }
    CHECK(one <= 3);
    CHECK(many == 10);
}
