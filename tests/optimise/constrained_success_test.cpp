// How often, and how fast, the optimisers solve the constrained problems, counted as their report
// counts: 25 runs, at most 500,000 evaluations, success when feasible and no more than 1e-4 above
// the minimum.
#include <algorithm>
#include <array>
#include <cstddef>
#include <limits>
#include <string_view>
#include <vector>

#include "echosieve/optimise/augmented_lagrangian.hpp"
#include "echosieve/optimise/covariance_adaptation.hpp"
#include "echosieve/optimise/differential_evolution.hpp"
#include "echosieve/optimise/nelder_mead.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "optimise/constrained_problems.hpp"
#include "optimise/success.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

using Table = std::array<Successes, 8>;

template <class O>
O with_budget(O optimiser, std::size_t evaluations) {
    optimiser.max_evaluations = evaluations;
    optimiser.iterations = std::numeric_limits<std::size_t>::max();
    return optimiser;
}

template <class O>
void check_table(std::string_view method, const O& optimiser, const Table& measured,
                 Start from = Start::of_the_method) {
    const std::vector<ConstrainedProblem> all = constrained_problems();
    REQUIRE(all.size() == measured.size());
    for (std::size_t i = 0; i < all.size(); ++i) {
        check_successes(method, with_budget(optimiser, recording_points.back()), all[i],
                        measured[i], from);
    }
}

// As measured (g++ 12, x86-64). Where fewer than 25 of 25 runs succeed in the end, why.

// g01 and g06: all gather within 10,000 evaluations, at a corner of the feasible set or at a point
// that violates least. g09: see the ring.
constexpr Table usual = {{{"g01", {0, 1, 1}, 11950},
                          {"g04", {0, 25, 25}, 12650},
                          {"g06", {0, 13, 14}, 43900},
                          {"g08", {25, 25, 25}, 1450},
                          {"g09", {0, 0, 0}, 0},
                          {"g11", {0, 25, 25}, 36050},
                          {"g12", {25, 25, 25}, 1400},
                          {"g24", {24, 25, 25}, 3850}}};
// g09: the edge of two curved constraints along which the value falls by 1e-7 of itself; the swarm
// does not gather (0.6 % of the box after 500,000 evaluations), yet a move, drawn coordinate by
// coordinate, seldom follows the edge. The value is 0.002 to 0.04 too high in the end, 0.0007 to
// 0.004 after ten times the evaluations. None of the topologies, populations of 20 to 200 and
// constants that were tried brings a swarm of any move to 0.0001.
constexpr Table ring = {{{"g01", {0, 25, 25}, 39050},
                         {"g04", {0, 8, 25}, 53750},
                         {"g06", {0, 0, 25}, 65950},
                         {"g08", {25, 25, 25}, 1650},
                         {"g09", {0, 0, 0}, 0},
                         {"g11", {0, 23, 25}, 37600},
                         {"g12", {24, 25, 25}, 3000},
                         {"g24", {9, 25, 25}, 5300}}};
// Searches on until its inertia has fallen, over all 500,000 evaluations.
constexpr Table inertia = {{{"g01", {0, 0, 0}, 0},
                            {"g04", {0, 0, 25}, 113450},
                            {"g06", {0, 0, 8}, 249250},
                            {"g08", {4, 25, 25}, 13450},
                            {"g09", {0, 0, 0}, 0},
                            {"g11", {0, 6, 25}, 70400},
                            {"g12", {2, 25, 25}, 17400},
                            {"g24", {0, 0, 25}, 69300}}};
// g01, g04, g11: it gathers to a point short of the minimum (known of the 2011 standard, whose
// spheres shrink with the swarm). g09: as the ring.
constexpr Table standard = {{{"g01", {0, 0, 0}, 0},
                             {"g04", {0, 15, 15}, 15400},
                             {"g06", {0, 25, 25}, 25160},
                             {"g08", {25, 25, 25}, 1160},
                             {"g09", {0, 0, 0}, 0},
                             {"g11", {0, 7, 9}, 36080},
                             {"g12", {25, 25, 25}, 1800},
                             {"g24", {25, 25, 25}, 3680}}};
constexpr Table evolution = {{{"g01", {0, 25, 25}, 23650},
                              {"g04", {0, 25, 25}, 20450},
                              {"g06", {0, 25, 25}, 9700},
                              {"g08", {25, 25, 25}, 1300},
                              {"g09", {0, 1, 25}, 58200},
                              {"g11", {0, 25, 25}, 35500},
                              {"g12", {25, 25, 25}, 3350},
                              {"g24", {25, 25, 25}, 3650}}};
constexpr Table self_adapting = {{{"g01", {0, 25, 25}, 18650},
                                  {"g04", {0, 25, 25}, 25550},
                                  {"g06", {0, 25, 25}, 9900},
                                  {"g08", {25, 25, 25}, 1150},
                                  {"g09", {0, 22, 25}, 27450},
                                  {"g11", {0, 24, 25}, 34800},
                                  {"g12", {25, 25, 25}, 2450},
                                  {"g24", {25, 25, 25}, 3800}}};
constexpr Table covariance = {{{"g01", {0, 16, 25}, 35597},
                               {"g04", {25, 25, 25}, 2897},
                               {"g06", {25, 25, 25}, 1333},
                               {"g08", {25, 25, 25}, 199},
                               {"g09", {25, 25, 25}, 2908},
                               {"g11", {25, 25, 25}, 3385},
                               {"g12", {0, 25, 25}, 20518},
                               {"g24", {25, 25, 25}, 559}}};

// A local method, from starts at random: g01, g08, g12 and g24 have local minima. g06: ends at the
// minimum, yet feasible by a margin, which multipliers of about 1000 turn into up to 0.0007 of
// value.
constexpr Table lagrangian = {{{"g01", {15, 15, 15}, 1657},
                               {"g04", {25, 25, 25}, 737},
                               {"g06", {16, 16, 16}, 358},
                               {"g08", {6, 6, 6}, 408},
                               {"g09", {25, 25, 25}, 1509},
                               {"g11", {25, 25, 25}, 106},
                               {"g12", {11, 11, 11}, 38},
                               {"g24", {17, 17, 17}, 141}}};
constexpr Table simplices = {{{"g01", {0, 12, 12}, 19885},
                              {"g04", {0, 25, 25}, 5499},
                              {"g06", {25, 25, 25}, 1876},
                              {"g08", {6, 6, 6}, 2666},
                              {"g09", {6, 25, 25}, 8274},
                              {"g11", {25, 25, 25}, 262},
                              {"g12", {25, 25, 25}, 1212},
                              {"g24", {17, 17, 17}, 286}}};

template <class O>
void check_quickly(std::string_view method, const O& optimiser,
                   const std::array<Successes, 5>& measured) {
    for (const Successes& row : measured) {
        const std::vector<ConstrainedProblem> all = constrained_problems();
        const auto problem = std::ranges::find(all, row.problem, &ConstrainedProblem::name);
        REQUIRE(problem != all.end());
        check_successes(method, with_budget(optimiser, recording_points[1]), *problem, row);
    }
}

}  // namespace

TEST_CASE("constrained problems within 50,000 evaluations, as often as measured") {
    check_quickly("the ring swarm", RingSwarm{},
                  {{{"g01", {0, 25, 25}, 39050},
                    {"g08", {25, 25, 25}, 1650},
                    {"g11", {2, 23, 23}, 7100},
                    {"g12", {24, 25, 25}, 3000},
                    {"g24", {9, 25, 25}, 5300}}});
    check_quickly("jDE", SelfAdaptingDifferentialEvolution{},
                  {{{"g01", {0, 25, 25}, 18650},
                    {"g08", {25, 25, 25}, 1150},
                    {"g11", {4, 25, 25}, 6350},
                    {"g12", {25, 25, 25}, 2450},
                    {"g24", {25, 25, 25}, 3800}}});
    check_quickly("CMA-ES", CovarianceAdaptation{},
                  {{{"g04", {25, 25, 25}, 2897},
                    {"g06", {25, 25, 25}, 1333},
                    {"g09", {25, 25, 25}, 2908},
                    {"g11", {25, 25, 25}, 3385},
                    {"g24", {25, 25, 25}, 559}}});
}

TEST_CASE("the usual swarm solves the constrained problems as often as measured (long)") {
    check_table("the usual swarm", Swarm{}, usual);
}

TEST_CASE("the ring swarm solves the constrained problems as often as measured (long)") {
    check_table("the ring swarm", RingSwarm{}, ring);
}

TEST_CASE("the inertia swarm solves the constrained problems as often as measured (long)") {
    check_table("the inertia swarm", InertiaSwarm{}, inertia);
}

TEST_CASE("the standard swarm solves the constrained problems as often as measured (long)") {
    check_table("the standard swarm", StandardSwarm{.particles = 40}, standard);
}

TEST_CASE("differential evolution solves the constrained problems as often as measured (long)") {
    check_table("DE", DifferentialEvolution{}, evolution);
    check_table("jDE", SelfAdaptingDifferentialEvolution{}, self_adapting);
}

TEST_CASE("covariance adaptation solves the constrained problems as often as measured (long)") {
    check_table("CMA-ES", CovarianceAdaptation{}, covariance);
}

TEST_CASE("the augmented Lagrangian solves the constrained problems as often as measured") {
    check_table("the augmented Lagrangian", AugmentedLagrangian<>{}, lagrangian, Start::random);
    check_table("the augmented Lagrangian of simplices", AugmentedLagrangian<NelderMead>{},
                simplices, Start::random);
}
