// The published problems have the minima that they are said to have.
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "optimise/problems.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

// The least value that the ring swarm finds over a few seeds.
template <class F>
double found_minimum(const F& function, const Box<double>& box) {
    RingSwarm swarm;
    swarm.iterations = 1000;
    double best = std::numeric_limits<double>::infinity();
    for (std::uint64_t seed = 0; seed < 3; ++seed) {
        best = std::min(best, minimise(function, box, swarm, seed).value);
    }
    return best;
}

}  // namespace

TEST_CASE("the published problems have the minima that they are said to have") {
    for (const Problem& problem : problems()) {
        CAPTURE(problem.name);
        CHECK(!problem.source.empty());
        REQUIRE(!problem.minimisers.empty());
        for (const std::vector<double>& minimiser : problem.minimisers) {
            CHECK(problem.box.contains(minimiser));
            CHECK_WITHIN(problem.function(minimiser), problem.minimum, problem.minimum_tolerance);
        }
    }
}

TEST_CASE("nothing near a published minimiser is lower") {
    RandomStream stream(1);
    for (const Problem& problem : problems()) {
        CAPTURE(problem.name);
        for (const std::vector<double>& minimiser : problem.minimisers) {
            std::vector<double> x(minimiser.size());
            for (int trial = 0; trial < 1000; ++trial) {
                const double reach = std::pow(10, -1 - trial % 5);  // in widths of the box
                for (std::size_t k = 0; k < x.size(); ++k) {
                    const double step = reach * problem.box.width(k);
                    x[k] = std::clamp(minimiser[k] + stream.uniform(-step, step),
                                      problem.box.lower(k), problem.box.upper(k));
                }
                REQUIRE(problem.function(x) >= problem.minimum - problem.minimum_tolerance);
            }
        }
    }
}

TEST_CASE("misprinted matrices have other minima") {
    // Hartmann 3 with 0.0381 for 0.03815, Shekel with row 7 = (5, 3, 5, 3), and row 10 = (7, 3, 7,
    // 3) too: variants in circulation; minima recomputed independently by polished multistarts.
    constexpr double printed = 1e-9;
    ShekelCentres row_7 = shekel_centres;
    row_7[6] = {5, 3, 5, 3};
    ShekelCentres row_7_and_10 = row_7;
    row_7_and_10[9] = {7, 3, 7, 3};
    CHECK_WITHIN(found_minimum([](Coordinates x) { return hartmann_3(x, 381); }, cube(3, 0, 1)),
                 -3.862779787333, printed);
    CHECK_WITHIN(found_minimum([&](Coordinates x) { return shekel(x, 7, row_7); }, cube(4, 0, 10)),
                 -10.402915336778, printed);
    CHECK_WITHIN(found_minimum([&](Coordinates x) { return shekel(x, 10, row_7); }, cube(4, 0, 10)),
                 -10.536443153484, printed);
    CHECK_WITHIN(
        found_minimum([&](Coordinates x) { return shekel(x, 10, row_7_and_10); }, cube(4, 0, 10)),
        -10.532087221186, printed);
}
