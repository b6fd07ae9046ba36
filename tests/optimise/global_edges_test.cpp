// Differential evolution and covariance matrix adaptation at the edge of what makes sense.
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <string>

#include "echosieve/optimise/covariance_adaptation.hpp"
#include "echosieve/optimise/differential_evolution.hpp"
#include "optimise/edges.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

#define GLOBAL_METHODS                                                                     \
    DifferentialEvolution, SelfAdaptingDifferentialEvolution, GreedyDifferentialEvolution, \
        DifferentialPopulation<CurrentToBestBase>, CovarianceAdaptation

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();

double square(std::span<const double> x) {
    double sum = 0;
    for (const double v : x) {
        sum += v * v;
    }
    return sum;
}

template <Real R, class O>
void check_boxes(const O& method) {
    constexpr R huge = std::numeric_limits<R>::max() / 2;
    constexpr R least = std::numeric_limits<R>::denorm_min();
    constexpr R normal = std::numeric_limits<R>::min();
    check_inside<R>(method, Box<R>({-huge, 0}, {huge, huge}));
    check_inside<R>(method, Box<R>({0, -least, -normal}, {least, least, normal}));
    check_inside<R>(method, Box<R>({1, R(-0.1)}, {std::nextafter(R(1), R(2)), R(0.7)}));
    check_inside<R>(method,
                    Box<R>({huge / 2, R(1e6)}, {std::nextafter(huge / 2, huge), R(1e6) + R(0.5)}));
    check_inside<R>(method, Box<R>({3, R(-0.0)}, {3, R(0.0)}));
}

template <class O, class F>
std::string refused(const F& spoil) {
    O method;
    spoil(method);
    return refusal([&] { validate(method); });
}

}  // namespace

TEST_CASE_TEMPLATE("global methods with the boldest options stay inside huge, tiny and fixed boxes",
                   O, GLOBAL_METHODS) {
    O method;
    method.iterations = 60;
    if constexpr (requires { method.initial_step; }) {
        method.initial_step = 1;
        method.redraws = 0;
    } else {
        method.population = 4;
        method.parameters.differential_weight = 1;
    }
    check_boxes<double>(method);
    check_boxes<float>(method);
}

TEST_CASE_TEMPLATE("global methods: five flat iterations are five", O, GLOBAL_METHODS) {
    const Box<double> box({-1, -1}, {1, 1});
    O still;
    still.stagnation_iterations = 5;
    const auto flat = minimise([](std::span<const double>) { return 1.0; }, box, still, 1);
    CHECK(flat.status == OptimiseStatus::stagnated);
    CHECK(flat.iterations == 5);
}

TEST_CASE_TEMPLATE("global methods find a corner between two constraints", O, GLOBAL_METHODS) {
    // The least x0 + x1 in the disk of radius 1 about 0, outside of that about (-1, -1): -1, where
    // their edges meet, at (-1, 0) and (0, -1).
    const auto sum = [](std::span<const double> x) { return x[0] + x[1]; };
    const auto constrain = [](std::span<const double> x, std::span<double> g, std::span<double>) {
        g[0] = 1 - std::pow(x[0] + 1, 2) - std::pow(x[1] + 1, 2);
        g[1] = x[0] * x[0] + x[1] * x[1] - 1;
    };
    Constrained<decltype(sum), decltype(constrain)> objective{sum, constrain, 2, 0};
    const Box<double> box({-2, -2}, {2, 2});
    for (std::uint64_t seed = 0; seed < 5; ++seed) {
        const auto result = minimise(objective, box, O{}, seed);
        CHECK(result.feasible());
        CHECK_WITHIN(result.value, -1, 1e-6);
    }
}

TEST_CASE("options of differential evolution are refused by name") {
    using O = DifferentialEvolution;
    CHECK(refused<O>([](O&) {}) == "accepted");
    CHECK(refused<O>([](O& o) { o.population = 3; }) ==
          "population = 3: must exceed 3, those drawn at random");
    CHECK(refused<O>([](O& o) { o.population = 4; }) == "accepted");
    using Best = GreedyDifferentialEvolution;
    CHECK(refused<Best>([](Best& o) { o.population = 3; }) == "accepted");
    CHECK(refused<Best>([](Best& o) { o.population = 2; }).starts_with("population = 2"));
    for (const double bad : {0.0, -1.0, 2.1, std::nan("")}) {
        CHECK(refused<O>([&](O& o) {
                  o.parameters.differential_weight = bad;
              }).starts_with("differential_weight = "));
    }
    for (const double bad : {-0.1, 1.1, std::nan("")}) {
        CHECK(refused<O>([&](O& o) {
                  o.parameters.crossover_rate = bad;
              }).starts_with("crossover_rate = "));
    }
    CHECK(refused<O>([](O& o) { o.parameters.weight_dither = 0.65; }).starts_with("weight_dither"));
    using J = SelfAdaptingDifferentialEvolution;
    CHECK(refused<J>([](J&) {}) == "accepted");
    CHECK(
        refused<J>([](J& o) { o.parameters.smallest_weight = 0; }).starts_with("smallest_weight"));
    CHECK(refused<J>([](J& o) { o.parameters.largest_weight = 3; }).starts_with("largest_weight"));
    CHECK(refused<J>([](J& o) {
              o.parameters.largest_weight = 0.05;
          }).starts_with("smallest_weight = 0.1"));
    CHECK(refused<J>([](J& o) {
              o.parameters.differential_weight = 0.05;
          }).starts_with("differential_weight = 0.05"));
    CHECK(refused<J>([](J& o) { o.parameters.weight_renewal = 2; }).starts_with("weight_renewal"));
    CHECK(refused<J>([](J& o) {
              o.parameters.crossover_renewal = -1;
          }).starts_with("crossover_renewal"));
}

TEST_CASE("options of covariance adaptation are refused by name") {
    using O = CovarianceAdaptation;
    CHECK(refused<O>([](O&) {}) == "accepted");
    CHECK(refused<O>([](O& o) { o.population = 2; }).starts_with("population = 2"));
    CHECK(refused<O>([](O& o) { o.population = 3; }) == "accepted");
    for (const double bad : {0.0, 1.1, std::nan("")}) {
        CHECK(refused<O>([&](O& o) { o.initial_step = bad; }).starts_with("initial_step = "));
    }
    CHECK(refused<O>([](O& o) { o.population_growth = 0.5; }).starts_with("population_growth"));
    CHECK(refused<O>([](O& o) { o.population_growth = infinity; }).starts_with("population_grow"));
    CHECK(refused<O>([](O& o) { o.restarts = 21; }).starts_with("restarts = 21"));
    CHECK(refused<O>([](O& o) { o.value_tolerance = -1; }).starts_with("value_tolerance = -1"));
    CHECK(refused<O>([](O& o) { o.step_tolerance = -1; }).starts_with("step_tolerance = -1"));
    CHECK(refused<O>([](O& o) { o.condition_limit = 1; }).starts_with("condition_limit = 1"));
    CHECK(refused<O>([](O& o) { o.flat_iterations = 0; }).starts_with("flat_iterations = 0"));
}

TEST_CASE_TEMPLATE("global methods: a population of more than 32 megabytes a table is refused", O,
                   GLOBAL_METHODS) {
    for (const std::size_t many :
         {std::size_t{2'097'153}, std::numeric_limits<std::size_t>::max() / 2}) {
        O crowd;
        crowd.population = many;
        const std::string refused = test::refusal([&] {
            static_cast<void>(minimise(square, Box<double>({-1, -1}, {1, 1}), crowd, 1));
        });
        CHECK(refused == "population = " + std::to_string(many) + ": must not exceed 2097152");
    }
}
