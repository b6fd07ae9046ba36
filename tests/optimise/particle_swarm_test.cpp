#include "echosieve/optimise/particle_swarm.hpp"

#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <span>
#include <stdexcept>
#include <vector>

#include "optimise/problems.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

// Keeps every point that it is asked for.
struct Recorder {
    const Box<double>* box;
    std::size_t outside = 0;
    std::size_t calls = 0;
    double operator()(std::span<const double> x) {
        ++calls;
        outside += box->contains(x) ? 0 : 1;
        // The minimum lies outside, so the swarm presses against the bounds.
        double sum = 0;
        for (const double v : x) {
            sum += (v - 5) * (v - 5);
        }
        return sum;
    }
};

double square(std::span<const double> x) {
    double sum = 0;
    for (const double v : x) {
        sum += v * v;
    }
    return sum;
}

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

TEST_CASE_TEMPLATE("every evaluation lies inside the box", S, Swarm, RingSwarm,
                   ParticleSwarm<GlobalBest, PeriodicBounds>,
                   ParticleSwarm<Ring, AbsorbingBounds>) {
    const Box<double> box({-1, 0.1, 2, -3}, {1, 0.3, 2, 7});
    Recorder recorder{&box};
    const auto result = minimise(recorder, box, S{}, 3);
    CHECK(recorder.outside == 0);
    CHECK(recorder.calls == result.evaluations);
    CHECK(result.evaluations == 50 * 101);
    CHECK(box.contains(result.x));
    CHECK(result.x[2] == 2);
}

TEST_CASE("the same seed gives the same bits, another seed others") {
    const Problem problem = problems().front();
    const auto a = minimise(problem.function, problem.box, Swarm{}, 7);
    const auto b = minimise(problem.function, problem.box, Swarm{}, 7);
    const auto c = minimise(problem.function, problem.box, Swarm{}, 8);
    CHECK(a.x == b.x);
    CHECK(a.value == b.value);
    CHECK(a.x != c.x);
}

TEST_CASE("NaN regions are walked around and counted") {
    const Box<double> box({-2, -2}, {2, 2});
    const auto holes = [](std::span<const double> x) {
        return x[0] > 0.5 || x[1] < -0.5 ? std::nan("") : square(x);
    };
    const auto result = minimise(holes, box, Swarm{}, 1);
    CHECK(result.usable());
    CHECK(result.non_finite > 0);
    CHECK(result.value < 1e-6);
    const auto nowhere = [](std::span<const double>) {
        return std::numeric_limits<double>::infinity();
    };
    const auto lost = minimise(nowhere, box, Swarm{}, 1);
    CHECK(lost.status == OptimiseStatus::no_finite_value);
    CHECK(!lost.usable());
    CHECK(lost.non_finite == lost.evaluations);
    CHECK(box.contains(lost.x));
}

TEST_CASE("edges: exact start, cancelled, zero iterations, one dimension, fixed parameters") {
    const Box<double> box({-1, -1}, {1, 1});
    const std::vector<double> best = {0, 0};
    Swarm swarm;
    swarm.target = 0;
    const auto exact = minimise<double>(square, box, swarm, 1, best);
    CHECK(exact.x == best);
    CHECK(exact.status == OptimiseStatus::target_reached);
    CHECK(exact.iterations == 0);
    const auto cancelled = minimise<double>(square, box, Swarm{}, 1, {},
                                            [](const Progress<double>&) { return Control::abort; });
    CHECK(cancelled.status == OptimiseStatus::aborted);
    CHECK(!cancelled.usable());
    CHECK(cancelled.evaluations == 50);
    const auto stopped =
        minimise<double>(square, box, Swarm{}, 1, {}, [](const Progress<double>& progress) {
            return progress.iteration == 3 ? Control::stop : Control::go_on;
        });
    CHECK(stopped.status == OptimiseStatus::stopped);
    CHECK(stopped.usable());
    CHECK(stopped.iterations == 3);
    const auto none = minimise<double>(square, box, Swarm{.iterations = 0}, 1);
    CHECK(none.status == OptimiseStatus::iteration_limit);
    CHECK(none.evaluations == 50);
    const auto line = minimise<double>(square, Box<double>({-3}, {4}), Swarm{}, 1);
    CHECK(line.value < 1e-12);
    const auto fixed = minimise<double>(square, Box<double>({2, 3}, {2, 3}), Swarm{}, 1);
    CHECK(fixed.x == std::vector<double>{2, 3});
    CHECK(fixed.value == 13);
    Swarm limited;
    limited.max_evaluations = 120;
    const auto few = minimise<double>(square, box, limited, 1);
    CHECK(few.status == OptimiseStatus::evaluation_limit);
    CHECK(few.evaluations == 100);
    Swarm still;
    still.stagnation_iterations = 5;
    const auto flat = minimise<double>([](std::span<const double>) { return 1.0; }, box, still, 1);
    CHECK(flat.status == OptimiseStatus::stagnated);
    CHECK(flat.iterations == 5);
    const auto single = minimise<float>([](std::span<const float> x) { return x[0] * x[0]; },
                                        Box<float>({-1.F}, {2.F}), Swarm{}, 1);
    CHECK(single.value < 1e-6F);
}

TEST_CASE("bad boxes and options are refused, exceptions pass through") {
    const double infinity = std::numeric_limits<double>::infinity();
    CHECK_THROWS_AS(Box<double>({0}, {infinity}), InvalidInput);
    CHECK_THROWS_AS(Box<double>({1}, {0}), InvalidInput);
    CHECK_THROWS_AS(Box<double>({std::nan("")}, {0}), InvalidInput);
    CHECK_THROWS_AS(Box<double>({}, {}), InvalidInput);
    CHECK_THROWS_AS(Box<double>({0, 0}, {1}), InvalidInput);
    const Box<double> box({-1}, {1});
    CHECK_THROWS_AS(static_cast<void>(minimise<double>(square, box, Swarm{.particles = 0}, 1)),
                    InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(minimise<double>(square, box, Swarm{.move = {1, 1}}, 1)),
                    InvalidInput);
    const std::vector<double> wrong = {0, 0};
    CHECK_THROWS_AS(static_cast<void>(minimise<double>(square, box, Swarm{}, 1, wrong)),
                    InvalidInput);
    const auto throws = [](std::span<const double>) -> double { throw std::runtime_error("mine"); };
    CHECK_THROWS_WITH_AS(static_cast<void>(minimise<double>(throws, box, Swarm{}, 1)), "mine",
                         std::runtime_error);
}
