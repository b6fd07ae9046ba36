// Speeds, bound policies and options at the edge of what makes sense.
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <string>

#include "echosieve/optimise/particle_swarm.hpp"
#include "optimise/edges.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

template <Real R, class S>
void check_boxes() {
    constexpr R huge = std::numeric_limits<R>::max() / 2;
    constexpr R least = std::numeric_limits<R>::denorm_min();
    constexpr R normal = std::numeric_limits<R>::min();
    S fast;  // several widths a move: folded more than once
    fast.iterations = 40;
    fast.initial_velocity = 30;
    fast.largest_velocity = 20;
    check_inside<R>(fast, Box<R>({-huge, 0}, {huge, huge}));
    check_inside<R>(fast, Box<R>({0, -least, -normal}, {least, least, normal}));
    check_inside<R>(fast, Box<R>({1, R(-0.1)}, {std::nextafter(R(1), R(2)), R(0.7)}));
    check_inside<R>(fast,
                    Box<R>({huge / 2, R(1e6)}, {std::nextafter(huge / 2, huge), R(1e6) + R(0.5)}));
    check_inside<R>(fast, Box<R>({3, -0.0}, {3, 0.0}));
}

double square(std::span<const double> x) {
    return x[0] * x[0];
}

}  // namespace

TEST_CASE_TEMPLATE("huge, tiny and fixed boxes hold the fastest particles", S, Swarm, RingSwarm,
                   StandardSwarm, ParticleSwarm<GlobalBest, ReflectingBounds>,
                   ParticleSwarm<GlobalBest, PeriodicBounds>, ParticleSwarm<Ring, PeriodicBounds>) {
    check_boxes<double, S>();
    check_boxes<float, S>();
}

TEST_CASE_TEMPLATE("bound policies leave finite points and velocities", P, AbsorbingBounds,
                   BouncingBounds, ReflectingBounds, PeriodicBounds) {
    constexpr double infinity = std::numeric_limits<double>::infinity();
    constexpr double largest = std::numeric_limits<double>::max();
    for (const auto& [lower, upper] : {std::array<double, 2>{0, 1}, std::array<double, 2>{2, 2},
                                       std::array<double, 2>{-1e-300, 3e-300},
                                       std::array<double, 2>{-largest / 2, largest / 2}}) {
        for (double x : {-infinity, infinity, std::nan(""), -largest, largest, 1.5, -1e-310,
                         std::nextafter(upper, infinity), std::nextafter(lower, -infinity)}) {
            const bool was_inside = x >= lower && x <= upper;
            const double before = x;
            double v = was_inside ? 1 : x;
            P{}.apply(x, v, lower, upper);
            CAPTURE(before);
            CHECK(x >= lower);
            CHECK(x <= upper);
            CHECK(is_finite(v));
            CHECK((!was_inside || (x == before && v == 1)));
        }
    }
}

TEST_CASE("constriction holds over its whole range") {
    // chi near phi = 4 + d: 1 - sqrt(d) + d / 2 - ..., from the series of the formula.
    for (const double d : {0x1p-20, 0x1p-30, 0x1p-40}) {
        CHECK_WITHIN(constriction(4 + d), 1 - std::sqrt(d) + d / 2, std::pow(d, 1.5) + 1e-15);
    }
    double before = 1;
    for (double phi = 4.001; phi < 1e150; phi *= 1.5) {
        const double chi = constriction(phi);
        CHECK(chi > 0);
        CHECK(chi < before);
        before = chi;
    }
    CHECK(constriction(1e200) >= 0);
    CHECK(constriction(1e200) <= 1e-199);
    CHECK(constriction(4.1, 0.5) == constriction(4.1) / 2);
}

TEST_CASE("every option of a swarm that makes no sense is refused by name") {
    const Box<double> box({-1}, {1});
    const auto with = [&](auto change) {
        Swarm swarm;
        change(swarm);
        return refusal([&] { static_cast<void>(minimise(square, box, swarm, 1)); });
    };
    const double nan = std::nan("");
    const double infinity = std::numeric_limits<double>::infinity();
    CHECK(with([](Swarm&) {}) == "accepted");
    CHECK(with([](Swarm& s) { s.particles = 0; }) == "particles = 0: must be at least 1");
    CHECK(with([](Swarm& s) { s.move.cognition = -1; }) == "cognition = -1: must be zero or more");
    CHECK(with([&](Swarm& s) { s.move.social = nan; }).starts_with("social = nan"));
    CHECK(with([&](Swarm& s) { s.move.social = infinity; }).starts_with("phi = inf"));
    CHECK(with([](Swarm& s) { s.move.kappa = 1.5; }) == "kappa = 1.5: must lie in (0, 1]");
    CHECK(with([](Swarm& s) { s.initial_velocity = -1; }).starts_with("initial_velocity = -1"));
    CHECK(with([](Swarm& s) { s.largest_velocity = 0; }).starts_with("largest_velocity = 0"));
    CHECK(with([](Swarm& s) { s.max_evaluations = 49; }) ==
          "max_evaluations = 49: must allow the evaluations of the start, 50");
    CHECK(with([](Swarm& s) {
              s.particles = std::numeric_limits<std::size_t>::max();
          }).starts_with("particles = "));
    // 32 megabytes a table are a swarm still, more are a slip.
    CHECK(with([](Swarm& s) { s.particles = 4'194'305; }) ==
          "particles = 4194305: must not exceed 4194304");
}

TEST_CASE("one particle is a swarm") {
    const Box<double> box({-1}, {1});
    const auto lone = minimise(square, box, RingSwarm{.particles = 1, .iterations = 300}, 1);
    CHECK(lone.usable());
    CHECK(lone.evaluations == 301);
}

TEST_CASE("stagnation counts the fall since the value that started the count") {
    const Box<double> box({-1}, {1});
    Swarm swarm;
    swarm.iterations = 1000;
    swarm.stagnation_iterations = 10;
    swarm.tolerance = 1;
    // Falls by 0.3 each iteration: never 1 in one, always more than 1 in four.
    std::size_t calls = 0;
    const auto slope = [&](std::span<const double>) {
        return -0.3 * static_cast<double>(calls++ / 50);
    };
    CHECK(minimise(slope, box, swarm, 1).status == OptimiseStatus::iteration_limit);
    calls = 0;
    swarm.tolerance = 3.5;  // above the fall in ten iterations
    const auto result = minimise(slope, box, swarm, 1);
    CHECK(result.status == OptimiseStatus::stagnated);
    CHECK(result.iterations == 10);
}
