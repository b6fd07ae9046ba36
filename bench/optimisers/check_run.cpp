// Checks what is counted while a method runs. Ends with status 1 if anything is off.
//
//   check_run
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <limits>
#include <span>
#include <vector>

#include "counted_problem.hpp"
#include "echo_fit.hpp"
#include "problems.hpp"
#include "tournament.hpp"

namespace {

using namespace bench;

constexpr double long_enough = 60;  // seconds of processor time that no check needs

int wrong = 0;

void check(bool good, const char* what) {
    std::printf("%-78s %s\n", what, good ? "good" : "WRONG");
    wrong += good ? 0 : 1;
}

// (x - 1)^2 + y^2 in [0, 3] x [-1, 2]; y >= 1/2 if it is constrained.
Problem bowl(bool constrained) {
    Problem out{
        .name = "bowl",
        .box = echosieve::Box<double>({0, -1}, {3, 2}),
        .least = constrained ? 0.25 : 0.0,
        .target = constrained ? 0.26 : 0.01,
        .value = [](std::span<const double> x) { return (x[0] - 1) * (x[0] - 1) + x[1] * x[1]; },
        .fit = {},
        .inequalities = constrained ? std::size_t{1} : 0,
        .constrain = [](std::span<const double> x, std::span<double> g,
                        std::span<double>) { g[0] = 0.5 - x[1]; }};
    return out;
}

void check_counts() {
    const Problem problem = bowl(false);
    Run run(problem, 100, long_enough);
    const std::vector<double> a{2, 1};
    const std::vector<double> b{2, 0.5};
    std::vector<double> gradient(2);
    run.value(a);
    run.value(a);
    check(run.remaining() == 99, "a point asked for twice in a row counts once");
    run.value(b);
    run.value(a);
    check(run.remaining() == 97, "and again if another one lies between");
    run.value_and_gradient(b, gradient);
    check(run.remaining() == 92, "a numeric gradient of two unknowns takes five");
    check(std::abs(gradient[0] - 2) < 1e-8 && std::abs(gradient[1] - 1) < 1e-8,
          "and is the gradient");
    const std::vector<double> three{2, 2.5, 3, 1, 1, 1};
    std::vector<double> values(3);
    run.values({three.data(), 3, 2, 3}, values);
    check(run.remaining() == 89 && values[2] == 5, "a batch of three points counts three");
    check(!run.over(), "the run goes on");
    run.value(std::vector<double>{1.05, 0.05});
    check(run.over(), "the target ends it");
    run.value(a);
    const RunRecord record = run.record();
    check(record.success && record.evaluations == 12 && record.best <= 0.01,
          "what comes after the target is not counted");
    check(record.seconds > 0 && record.seconds < 1, "it has a time");
}

void check_limits() {
    const Problem problem = bowl(false);
    Run few(problem, 3, long_enough);
    for (int k = 0; k < 9; ++k) {
        few.value(std::vector<double>{2, 0.1 * k});
    }
    check(few.over() && !few.record().success && few.record().evaluations == 3,
          "the budget ends a run without success");
    Problem outside = bowl(false);
    outside.target = 0.3;  // met by (1, 0), and so by points of a box that holds them not
    outside.box = echosieve::Box<double>({2, -1}, {3, 2});
    Run away(outside, 100, long_enough);
    away.value(std::vector<double>{1, 0});
    check(!away.over() && away.record().best > 1e9, "a point outside the box is no success");
    Run late(problem, 1000000, 0);
    for (int k = 0; k < 200; ++k) {
        late.value(std::vector<double>{2, 0.001 * k});
    }
    check(late.over() && late.record().evaluations == 64, "the clock ends a run");
}

void check_constraints() {
    const Problem problem = bowl(true);
    Run run(problem, 100, long_enough);
    run.value(std::vector<double>{1, 0});
    check(!run.over(), "a point that breaks a constraint is no success");
    std::vector<double> slopes(2);
    run.constraint_slopes(std::vector<double>{2, 1}, slopes);
    check(std::abs(slopes[0]) < 1e-8 && std::abs(slopes[1] + 1) < 1e-8 && run.remaining() == 99,
          "slopes of constraints come free");
    run.value(std::vector<double>{1, 0.5});
    check(run.over() && run.record().success, "a feasible one on the constraint is");
}

void check_scores() {
    const auto runs = [](std::vector<std::size_t> successes, std::size_t failures) {
        std::vector<RunRecord> out;
        for (const std::size_t evaluations : successes) {
            out.push_back({true, evaluations, 1e-3 * static_cast<double>(evaluations), 0});
        }
        out.resize(successes.size() + failures, {false, 1000, 1, 1});
        return out;
    };
    const Score most = score(runs({10, 30, 20}, 2));
    check(most.successes == 3 && most.runs == 5 && most.evaluations == 30 && most.seconds == 0.03,
          "failures count as infinite in the median");
    check(std::abs(most.expected_evaluations - (60 + 2000) / 3.0) < 1e-9,
          "expected evaluations: of all runs over the successes");
    const Score half = score(runs({10}, 2));
    check(std::isinf(half.evaluations) && std::isinf(half.seconds) && half.successes == 1,
          "of fewer than half the runs it is infinite");
}

void check_problems() {
    bool met = true;
    std::size_t count = 0;
    for (const auto list : {published_problems, constrained_problems}) {
        for (const Problem& problem : list()) {
            met = met && problem.target > problem.least;
            ++count;
        }
    }
    check(met && count > 30, "targets lie above minima");
    const EchoFit fit({.echoes = 2, .snr_decibels = 40});
    const EchoReference reference = find_reference(fit, 20, 1);
    check(reference.value <= reference.from_truth && reference.from_truth < fit(fit.truth()),
          "a reference is no worse than the fit from the truth, and that than the truth");
    check(std::abs(fit(reference.x) - reference.value) <= 1e-12 * reference.value,
          "it is the value at its point");
}

}  // namespace

int main() {
    check_counts();
    check_limits();
    check_constraints();
    check_scores();
    check_problems();
    return wrong > 0 ? 1 : 0;
}
