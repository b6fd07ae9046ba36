// How often each global method solves each of the published problems.
#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

#include "echosieve/optimise/covariance_adaptation.hpp"
#include "echosieve/optimise/differential_evolution.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "optimise/problems.hpp"
#include "optimise/success.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

constexpr int seeds = 25;
constexpr std::size_t budget = 50000;     // evaluations
constexpr double solved_distance = 1e-8;  // on the value, above the published minimum

// Of seeds 0 to 24, those from which a method with its default options (but for iterations, as many
// as the budget allows) solves a problem, as measured (g++ 12, x86-64): Swarm, RingSwarm,
// InertiaSwarm, StandardSwarm, DifferentialEvolution, SelfAdaptingDifferentialEvolution,
// CovarianceAdaptation.
//
// What falls short of 24, and why (the values are those above the minimum at the end):
//   Swarm, InertiaSwarm   on Shekel all follow one best point into the wrong one of its wells; on
//       Hartmann 6 into the second minimum, 0.119 higher.
//   Swarm, InertiaSwarm, StandardSwarm   on Schwefel 4 and Michalewicz 5, whose minima stand on a
//       grid, a swarm that has settled has no step to the next column: 118 and 0.042 higher. On
//       Rastrigin 5 likewise (0.995), and RingSwarm now and then.
//   all swarms   on Rosenbrock 4 and 6: each coordinate has its own random factor, so of the steps
//       along a curved valley few go down: 1e-4 to 0.1 are left, at four times the budget still
//       1e-6 to 1e-2. On Griewank 6 they end in one of the lowest of very many minima, 0.01 to 0.1.
//   DifferentialEvolution   on Griewank 6 is slow: 23 of 25 at four times the budget.
//   DifferentialEvolution, SelfAdapting...   on Hartmann 6, one run of ten converges to the second
//       minimum; a larger population helps little (93 % with 60, of 100 seeds).
//   CovarianceAdaptation   on Michalewicz 5: narrow grooves along the axes between plains without
//       slope, which no normal distribution is like: 0.042. On Griewank 2, with minima 1/200 of the
//       box apart, 97 % of 100 seeds; the others are converging when the budget ends.
struct Rate {
    std::string_view name;
    std::array<int, 7> solved;
};
constexpr std::array<Rate, 26> rates = {{
    {"sphere 4", {25, 25, 25, 25, 25, 25, 25}},
    {"sphere 6", {25, 25, 25, 25, 25, 25, 25}},
    {"Rosenbrock 2", {25, 25, 25, 25, 25, 25, 25}},
    {"Rosenbrock 4", {0, 0, 0, 0, 25, 25, 25}},
    {"Rosenbrock 6", {0, 0, 0, 0, 25, 25, 25}},
    {"Rastrigin 2", {25, 25, 25, 25, 25, 25, 25}},
    {"Rastrigin 3", {24, 25, 25, 25, 25, 25, 25}},
    {"Rastrigin 5", {14, 19, 24, 2, 25, 25, 25}},
    {"Ackley 3", {25, 25, 25, 25, 25, 25, 25}},
    {"Ackley 6", {25, 25, 25, 25, 25, 25, 25}},
    {"Griewank 2", {24, 25, 22, 25, 25, 25, 22}},
    {"Griewank 6", {0, 0, 0, 0, 0, 25, 25}},
    {"Levy 4", {25, 25, 25, 25, 25, 25, 25}},
    {"Levy 6", {25, 25, 25, 25, 25, 25, 25}},
    {"Schwefel 2", {22, 25, 25, 25, 25, 25, 25}},
    {"Schwefel 4", {5, 25, 7, 11, 25, 25, 25}},
    {"Branin", {25, 25, 25, 24, 25, 25, 25}},
    {"Goldstein-Price", {25, 25, 25, 25, 25, 25, 25}},
    {"six-hump camel", {25, 25, 25, 25, 25, 25, 25}},
    {"Hartmann 3", {25, 25, 25, 25, 25, 25, 25}},
    {"Hartmann 6", {14, 25, 12, 24, 21, 21, 25}},
    {"Shekel 5", {10, 25, 12, 25, 25, 25, 25}},
    {"Shekel 7", {18, 25, 21, 25, 25, 25, 25}},
    {"Shekel 10", {17, 25, 23, 25, 25, 25, 25}},
    {"Michalewicz 2", {25, 25, 25, 25, 25, 25, 25}},
    {"Michalewicz 5", {8, 24, 17, 9, 24, 25, 9}},
}};

template <class O>
O within_budget() {
    O method;
    method.max_evaluations = budget;
    method.iterations = budget;
    if constexpr (std::is_same_v<O, InertiaSwarm>) {
        method.iterations = budget / method.particles - 1;  // over which its inertia falls
    }
    return method;
}

template <class O>
int count_solved(const Problem& problem, int runs) {
    O method = within_budget<O>();
    method.target = problem.minimum + solved_distance;
    int solved = 0;
    for (int seed = 0; seed < runs; ++seed) {
        const auto result =
            minimise(problem.function, problem.box, method, static_cast<std::uint64_t>(seed));
        const bool reached = result.status == OptimiseStatus::target_reached;
        CHECK(reached == (result.value <= method.target));
        CHECK(result.evaluations <= budget);
        // Nobody gets below the published minimum by more than its last printed digit.
        CHECK(result.value >= problem.minimum - problem.minimum_tolerance);
        solved += reached ? 1 : 0;
    }
    return solved;
}

template <class O>
void check_rates(std::size_t column, int runs, int least_rate) {
    const std::vector<Problem> all = problems();
    REQUIRE(all.size() == rates.size());
    std::string counts;
    for (std::size_t i = 0; i < all.size(); ++i) {
        REQUIRE(all[i].name == rates[i].name);
        const int measured = rates[i].solved[column];
        if (measured < least_rate) {
            continue;
        }
        CAPTURE(all[i].name);
        const int solved = count_solved<O>(all[i], runs);
        counts += std::to_string(solved);
        counts += ' ';
        CHECK(solved >= least_successes(measured, seeds, runs));
    }
    MESSAGE("solved from ", runs, " seeds: ", counts);
}

template <class O>
constexpr std::size_t column = 0;
template <>
constexpr std::size_t column<RingSwarm> = 1;
template <>
constexpr std::size_t column<InertiaSwarm> = 2;
template <>
constexpr std::size_t column<StandardSwarm> = 3;
template <>
constexpr std::size_t column<DifferentialEvolution> = 4;
template <>
constexpr std::size_t column<SelfAdaptingDifferentialEvolution> = 5;
template <>
constexpr std::size_t column<CovarianceAdaptation> = 6;

}  // namespace

TEST_CASE_TEMPLATE("global methods solve what they always solve, from a few seeds", O, Swarm,
                   RingSwarm, InertiaSwarm, StandardSwarm, DifferentialEvolution,
                   SelfAdaptingDifferentialEvolution, CovarianceAdaptation) {
    check_rates<O>(column<O>, 4, seeds);
}

TEST_CASE_TEMPLATE("global methods solve the published problems as often as measured (long)", O,
                   Swarm, RingSwarm, InertiaSwarm, StandardSwarm, DifferentialEvolution,
                   SelfAdaptingDifferentialEvolution, CovarianceAdaptation) {
    check_rates<O>(column<O>, seeds, 0);
}
