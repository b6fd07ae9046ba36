// The bounded step against a search over every set of bounds, and the damping's rule.
#include "echosieve/optimise/detail/bounded_step.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/optimise/detail/damped_steps.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

struct Problem {
    Eigen::MatrixXd h;
    Eigen::VectorXd right, weight, down, up;
};

// A well-posed problem with its minimum a tenth of the longest step away, bounds `room` away.
Problem random_problem(RandomStream& stream, Eigen::Index n, double room) {
    const auto draw = [&] { return stream.normal(); };
    const Eigen::MatrixXd j = Eigen::MatrixXd::NullaryExpr(3 * n, n, draw);
    const Eigen::VectorXd wanted = 0.03 * Eigen::VectorXd::NullaryExpr(n, draw);
    const Eigen::MatrixXd h = j.transpose() * j;
    const auto away = [&] { return room * stream.uniform(); };
    return {h, h * wanted, j.colwise().squaredNorm(), -Eigen::VectorXd::NullaryExpr(n, away),
            Eigen::VectorXd::NullaryExpr(n, away)};
}

double gain(const Problem& problem, const Eigen::VectorXd& step) {
    return 2 * step.dot(problem.right) - step.dot(problem.h * step);
}

// The best gain inside the bounds: every parameter free, on its lower or on its upper bound.
double best_gain(const Problem& problem) {
    const Eigen::Index n = problem.right.size();
    double best = 0;
    for (int code = 0; code < static_cast<int>(std::pow(3, n)); ++code) {
        Eigen::VectorXd step = Eigen::VectorXd::Zero(n);
        std::vector<Eigen::Index> free;
        int rest = code;
        for (Eigen::Index j = 0; j < n; ++j, rest /= 3) {
            if (rest % 3 == 0) {
                free.push_back(j);
            } else {
                step[j] = rest % 3 == 1 ? problem.down[j] : problem.up[j];
            }
        }
        if (!free.empty()) {
            const Eigen::VectorXd right = problem.right - problem.h * step;
            const Eigen::MatrixXd h = problem.h(free, free);
            const Eigen::VectorXd found = h.ldlt().solve(right(free).eval());
            step(free) = found;
        }
        if ((step.array() >= problem.down.array()).all() &&
            (step.array() <= problem.up.array()).all()) {
            best = std::max(best, gain(problem, step));
        }
    }
    return best;
}

}  // namespace

TEST_CASE("with room enough the step is the damped one") {
    RandomStream stream(1);
    for (int run = 0; run < 20; ++run) {
        Problem problem = random_problem(stream, 5, 0);
        problem.down.setConstant(-1);
        problem.up.setConstant(1);
        BoundedStep solver(5);
        Eigen::VectorXd step(5);
        solver.solve(
            StepProblem{problem.h, problem.right, problem.weight, problem.down, problem.up}, 0.1,
            step);
        Eigen::MatrixXd damped = problem.h;
        damped.diagonal() += 0.1 * problem.weight;
        const Eigen::VectorXd expected = damped.inverse() * problem.right;
        CHECK_WITHIN((step - expected).norm(), 0.0, 1e-12);  // rounding at condition 100
    }
}

TEST_CASE("the step stays inside and gains nearly what can be gained there") {
    RandomStream stream(2);
    double sum = 0;
    const int runs = 200;
    for (int run = 0; run < runs; ++run) {
        const Problem problem = random_problem(stream, 4, 0.03);
        BoundedStep solver(4);
        Eigen::VectorXd step(4);
        solver.solve(
            StepProblem{problem.h, problem.right, problem.weight, problem.down, problem.up}, 0,
            step);
        REQUIRE((step.array() >= problem.down.array()).all());
        REQUIRE((step.array() <= problem.up.array()).all());
        const double best = best_gain(problem);
        CHECK(gain(problem, step) > 0);
        CHECK(gain(problem, step) <= best * (1 + 1e-12));
        sum += gain(problem, step) / best;
    }
    // What is put on a bound is not let go again, which costs little.
    INFO("mean gain against the best ", sum / runs);
    CHECK(sum / runs > 0.97);
}

TEST_CASE("a settled step gains all that can be gained") {
    RandomStream stream(4);
    for (int run = 0; run < 300; ++run) {
        const Problem problem = random_problem(stream, 5, run % 2 == 0 ? 0.03 : 0.01);
        BoundedStep solver(5);
        Eigen::VectorXd step(5);
        solver.solve(
            StepProblem{problem.h, problem.right, problem.weight, problem.down, problem.up}, 0,
            step);
        solver.settle(
            StepProblem{problem.h, problem.right, problem.weight, problem.down, problem.up}, 0,
            step);
        REQUIRE((step.array() >= problem.down.array()).all());
        REQUIRE((step.array() <= problem.up.array()).all());
        CHECK_WITHIN_RELATIVE(gain(problem, step), best_gain(problem), 1e-10);  // rounding
    }
}

TEST_CASE("held: no room, a bound with the slope outwards, no weight") {
    Problem problem{Eigen::Matrix3d::Identity(), Eigen::Vector3d(0.1, 0.1, 0.1),
                    Eigen::Vector3d::Ones(), Eigen::Vector3d::Constant(-1),
                    Eigen::Vector3d::Constant(1)};
    BoundedStep solver(3);
    Eigen::VectorXd step(3);
    SUBCASE("no room") {
        problem.down[1] = problem.up[1] = 0;
    }
    SUBCASE("slope outwards") {
        problem.up[1] = 0;
    }
    SUBCASE("no weight") {
        problem.weight[1] = 0;
        problem.h(1, 1) = 0;
    }
    solver.solve(StepProblem{problem.h, problem.right, problem.weight, problem.down, problem.up}, 0,
                 step);
    CHECK(step[1] == 0);
    CHECK_WITHIN(step[0], 0.1, 1e-12);
    CHECK_WITHIN(step[2], 0.1, 1e-12);
}

TEST_CASE("a singular matrix gives a step of at most the longest") {
    const Eigen::Matrix2d h = Eigen::Matrix2d::Ones();
    const Eigen::Vector2d right(1, -1);  // not in its range
    BoundedStep solver(2);
    Eigen::VectorXd step(2);
    solver.solve(StepProblem{h, right, Eigen::Vector2d(1, 1), Eigen::Vector2d(-9, -9),
                             Eigen::Vector2d(9, 9)},
                 0, step);
    CHECK(step.allFinite());
    CHECK(step.cwiseAbs().maxCoeff() <= longest_step);
}

TEST_CASE("the damping falls with good steps and rises ever faster with bad ones") {
    Damping damping(1e-3, 3);
    const double start = damping.value();
    CHECK(damping.judge(1, 1));
    CHECK(damping.value() < start);
    const double low = damping.value();
    CHECK(damping.judge(0.5, 1));
    CHECK(damping.value() == low);
    CHECK(damping.judge(0.1, 1));
    CHECK(damping.value() > low);
    const double before = damping.value();
    CHECK_FALSE(damping.judge(0, 1));
    const double once = damping.value() / before;
    CHECK_FALSE(damping.judge(std::nan(""), 1));
    CHECK(damping.value() / before > once * once);
}
