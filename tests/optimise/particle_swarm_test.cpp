#include "echosieve/optimise/particle_swarm.hpp"

#include <array>
#include <cmath>
#include <limits>
#include <span>
#include <vector>

#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

template <class Policy>
std::array<double, 2> applied(double x) {
    double v = 1;
    Policy{}.apply(x, v, 0.0, 1.0);
    return {x, v};
}

}  // namespace

TEST_CASE("constriction coefficients are the published ones") {
    // Clerc and Kennedy 2002, equation from memory; values recomputed independently.
    constexpr double rounding = 4e-16;
    CHECK_WITHIN(constriction(4.1), 0.7298437881283576, rounding);
    CHECK_WITHIN(constriction(4.1) * 4.1 / 2, 1.4961797656631330, 1e-15);
    CHECK_WITHIN(constriction(4.05), 0.8, 1e-14);
    CHECK_WITHIN(constriction(5), 0.3819660113, 1e-10);
    CHECK_WITHIN(constriction(4.25), 0.6096117968, 1e-10);
    CHECK_THROWS_AS(static_cast<void>(constriction(4)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(constriction(4.1, 0)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(constriction(std::nan(""))), InvalidInput);
}

TEST_CASE("bound policies absorb, reflect and wrap") {
    struct Row {
        double x, absorbed, reflected, wrapped;
    };
    for (const Row& row : {Row{1.3, 1, 0.7, 0.3}, Row{-0.4, 0, 0.4, 0.6}, Row{2.7, 1, 0.7, 0.7},
                           Row{-1.2, 0, 0.8, 0.8}}) {
        CAPTURE(row.x);
        constexpr double rounding = 1e-15;
        CHECK_WITHIN(applied<AbsorbingBounds>(row.x)[0], row.absorbed, rounding);
        CHECK(applied<AbsorbingBounds>(row.x)[1] == 0);
        CHECK_WITHIN(applied<ReflectingBounds>(row.x)[0], row.reflected, rounding);
        CHECK(applied<ReflectingBounds>(row.x)[1] == -1);
        CHECK_WITHIN(applied<PeriodicBounds>(row.x)[0], row.wrapped, rounding);
        CHECK(applied<PeriodicBounds>(row.x)[1] == 1);
    }
    for (const double wild :
         {1e300, -1e300, std::numeric_limits<double>::infinity(), std::nan("")}) {
        for (const double x :
             {applied<AbsorbingBounds>(wild)[0], applied<ReflectingBounds>(wild)[0],
              applied<PeriodicBounds>(wild)[0]}) {
            CHECK(x >= 0);
            CHECK(x <= 1);
        }
    }
}

TEST_CASE("a ring informs its neighbours only") {
    const std::vector<double> values = {5, 4, 3, 2, 1, 6};
    std::vector<Merit<double>> memories;
    for (const double value : values) {
        memories.push_back({value, 0});
    }
    const auto informants = [&](const auto& topology, std::size_t count) {
        std::vector<std::size_t> out(count);
        topology.inform(std::span<const Merit<double>>(memories).first(count), std::span(out), {});
        return out;
    };
    using Indices = std::vector<std::size_t>;
    CHECK(informants(GlobalBest{}, 6) == Indices(6, 4));
    CHECK(informants(Ring{1}, 6) == Indices{1, 2, 3, 4, 4, 4});
    CHECK(informants(Ring{2}, 6) == Indices{4, 3, 4, 4, 4, 4});
    CHECK(informants(Ring{9}, 6) == Indices(6, 4));
    CHECK(informants(Ring{0}, 6) == Indices{0, 1, 2, 3, 4, 5});
    CHECK(informants(Ring{1}, 1) == Indices{0});
    // A feasible particle informs better than any that is not, whatever its value.
    memories[5].violation = 0;
    memories[4].violation = 1;
    CHECK(informants(GlobalBest{}, 6) == Indices(6, 3));
}

TEST_CASE_TEMPLATE("a swarm evaluates its particles at the start and once an iteration", S, Swarm,
                   RingSwarm, InertiaSwarm, StandardSwarm) {
    const Box<double> box({-1, -1}, {1, 1});
    const auto square = [](std::span<const double> x) { return x[0] * x[0] + x[1] * x[1]; };
    S swarm{.particles = 9, .iterations = 12};
    CHECK(minimise(square, box, swarm, 1).evaluations == 9 * 13);
    swarm.max_evaluations = 9 * 5 + 8;  // not enough for half an iteration more
    const auto few = minimise(square, box, swarm, 1);
    CHECK(few.status == OptimiseStatus::evaluation_limit);
    CHECK(few.evaluations == 9 * 5);
    CHECK(few.iterations == 4);
    swarm.stagnation_iterations = 3;
    const auto flat = minimise([](std::span<const double>) { return 1.0; }, box, swarm, 1);
    CHECK(flat.status == OptimiseStatus::stagnated);
    CHECK(flat.iterations == 3);
}
