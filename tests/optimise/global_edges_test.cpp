// Differential evolution and covariance matrix adaptation at the edge of what makes sense.
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <stdexcept>
#include <string>
#include <vector>

#include "echosieve/optimise/covariance_adaptation.hpp"
#include "echosieve/optimise/differential_evolution.hpp"
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

// Evaluations of the start.
template <class O>
std::size_t first_evaluations(const O& method) {
    if constexpr (requires { method.initial_step; }) {
        return 1;
    } else {
        return method.population;
    }
}

// Pulled to the upper bound, or to the lower one; counts what lies outside.
template <Real R, class O>
void check_inside(const O& method, const Box<R>& box) {
    for (const R sign : {R(1), R(-1)}) {
        std::size_t outside = 0;
        const auto pull = [&](std::span<const R> x) {
            outside += box.contains(x) ? 0 : 1;
            R sum = 0;
            for (std::size_t k = 0; k < x.size(); ++k) {
                sum += box.width(k) > 0 ? sign * ((x[k] - box.lower(k)) / box.width(k)) : R(0);
            }
            return sum;
        };
        const auto result = minimise(pull, box, method, 5);
        CHECK(outside == 0);
        CHECK(box.contains(result.x));
        CHECK(result.usable());
    }
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

template <class F>
std::string refusal(const F& run) {
    try {
        run();
    } catch (const InvalidInput& error) {
        return error.what();
    }
    return "accepted";
}

template <class O, class F>
std::string refused(const F& spoil) {
    O method;
    spoil(method);
    return refusal([&] { validate(method); });
}

}  // namespace

TEST_CASE_TEMPLATE("global methods keep every evaluation inside huge, tiny and fixed boxes", O,
                   GLOBAL_METHODS) {
    O method;
    method.iterations = 60;
    check_boxes<double>(method);
    check_boxes<float>(method);
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

TEST_CASE_TEMPLATE("global methods: the same seed gives the same bits, another seed others", O,
                   GLOBAL_METHODS) {
    const Box<double> box({-1, -2, 3}, {2, 2, 4});
    O method;
    method.iterations = 30;
    const auto a = minimise(square, box, method, 7);
    const auto b = minimise(square, box, method, 7);
    const auto c = minimise(square, box, method, 8);
    CHECK(a.x == b.x);
    CHECK(a.value == b.value);
    CHECK(a.x != c.x);
}

TEST_CASE_TEMPLATE("global methods walk around regions of NaN and count them", O, GLOBAL_METHODS) {
    const Box<double> box({-2, -2}, {2, 2});
    const auto holes = [](std::span<const double> x) {
        return x[0] > 0.5 || x[1] < -0.5 ? std::nan("") : square(x);
    };
    for (std::uint64_t seed = 0; seed < 5; ++seed) {
        const auto result = minimise(holes, box, O{}, seed);
        CHECK(result.usable());
        CHECK(result.non_finite > 0);
        CHECK(result.value < 1e-6);
    }
    const auto nowhere = [](std::span<const double>) { return infinity; };
    O method;
    method.target = infinity;
    const auto lost = minimise(nowhere, box, method, 1);
    CHECK(lost.status == OptimiseStatus::no_finite_value);
    CHECK(!lost.usable());
    CHECK(lost.non_finite == lost.evaluations);
    CHECK(box.contains(lost.x));
}

TEST_CASE_TEMPLATE("global methods: exact start, cancelled, stopped, no iterations", O,
                   GLOBAL_METHODS) {
    const Box<double> box({-1, -1}, {1, 1});
    const std::vector<double> best = {0, 0};
    O method;
    method.target = 0;
    std::vector<std::vector<double>> points;
    const auto record = [&](std::span<const double> x) {
        points.emplace_back(x.begin(), x.end());
        return square(x);
    };
    const auto exact = minimise(record, box, method, 1, best);
    CHECK(exact.x == best);
    CHECK(points.front() == best);
    CHECK(exact.status == OptimiseStatus::target_reached);
    CHECK(exact.iterations == 0);
    CHECK(exact.evaluations == first_evaluations(method));
    // A start outside is clamped.
    points.clear();
    const std::vector<double> outside = {-7, 0.5};
    static_cast<void>(minimise(record, box, O{}, 1, outside));
    CHECK(points.front() == std::vector<double>{-1, 0.5});

    const auto cancelled = minimise<double>(square, box, O{}, 1, {},
                                            [](const Progress<double>&) { return Control::abort; });
    CHECK(cancelled.status == OptimiseStatus::aborted);
    CHECK(!cancelled.usable());
    CHECK(cancelled.evaluations == first_evaluations(O{}));
    std::size_t shown = 0;
    const auto stopped =
        minimise<double>(square, box, O{}, 1, {}, [&](const Progress<double>& progress) {
            CHECK(progress.iteration == shown++);
            return progress.iteration == 3 ? Control::stop : Control::go_on;
        });
    CHECK(stopped.status == OptimiseStatus::stopped);
    CHECK(stopped.usable());
    CHECK(stopped.iterations == 3);
    O none;
    none.iterations = 0;
    const auto start_only = minimise(square, box, none, 1);
    CHECK(start_only.status == OptimiseStatus::iteration_limit);
    CHECK(start_only.evaluations == first_evaluations(none));
    CHECK(start_only.usable());
}

TEST_CASE_TEMPLATE("global methods: one dimension, fixed coordinates, float", O, GLOBAL_METHODS) {
    const auto line = minimise(square, Box<double>({-3}, {4}), O{}, 1);
    CHECK(line.value < 1e-12);
    const auto partly = minimise(square, Box<double>({-3, 2, -1}, {4, 2, 5}), O{}, 1);
    CHECK(partly.x[1] == 2);
    CHECK_WITHIN(partly.value, 4, 1e-12);
    const auto fixed = minimise(square, Box<double>({2, 3}, {2, 3}), O{}, 1);
    CHECK(fixed.x == std::vector<double>{2, 3});
    CHECK(fixed.value == 13);
    const auto single = minimise([](std::span<const float> x) { return x[0] * x[0]; },
                                 Box<float>({-1.F}, {2.F}), O{}, 1);
    CHECK(single.value < 1e-6F);
}

TEST_CASE_TEMPLATE("global methods: limits and stagnation end a run", O, GLOBAL_METHODS) {
    const Box<double> box({-1, -1}, {1, 1});
    O limited;
    limited.max_evaluations = 133;
    const auto few = minimise(square, box, limited, 1);
    CHECK(few.status == OptimiseStatus::evaluation_limit);
    CHECK(few.evaluations <= 133);
    CHECK(few.evaluations > 133 - 50);
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

TEST_CASE_TEMPLATE("global methods let exceptions pass and refuse bad boxes and starts", O,
                   GLOBAL_METHODS) {
    const Box<double> box({-1, -1}, {1, 1});
    const auto throws = [](std::span<const double>) -> double { throw std::runtime_error("mine"); };
    CHECK_THROWS_WITH_AS(static_cast<void>(minimise(throws, box, O{}, 1)), "mine",
                         std::runtime_error);
    const double largest = std::numeric_limits<double>::max();
    CHECK(refusal([&] {
              const Box<double> wide({0, -largest}, {1, largest});
              static_cast<void>(minimise(square, wide, O{}, 1));
          }) == "width of the box in dimension 1 = inf: must be finite");
    const auto from = [&](const std::vector<double>& start) {
        return refusal([&] { static_cast<void>(minimise(square, box, O{}, 1, start)); });
    };
    CHECK(from({0, 0}) == "accepted");
    CHECK(from({0}) == "size of the start point = 1: must be 0 or the dimension, 2");
    CHECK(from({0, std::nan("")}).starts_with("start[1] = nan"));
    CHECK(refused<O>([](O& o) { o.target = std::nan(""); }).starts_with("target = nan"));
    CHECK(refused<O>([](O& o) { o.tolerance = -1; }).starts_with("tolerance = -1"));
    CHECK(refused<O>([](O& o) { o.max_evaluations = 0; }).starts_with("max_evaluations = 0"));
    CHECK(refusal([&] {
              O crowd;
              crowd.population = std::numeric_limits<std::size_t>::max() / 2;
              static_cast<void>(minimise(square, box, crowd, 1));
          }).starts_with("population = "));
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
