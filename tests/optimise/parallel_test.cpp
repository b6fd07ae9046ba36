// Objectives on several threads, and in batches: the same bits as one point after the other.
#include <algorithm>
#include <atomic>
#include <cmath>
#include <cstddef>
#include <span>
#include <stdexcept>
#include <string>
#include <vector>

#include "echosieve/optimise/parallel.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "optimise/problems.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

// Of one point; and the same of many, in an order of its own, as a vectorised objective has.
struct Ripples {
    double operator()(std::span<const double> x) const {
        double sum = 0;
        for (const double v : x) {
            sum += v * v + 1 - std::cos(7 * v);
        }
        return sum;
    }
};
struct BatchRipples : Ripples {
    void evaluate(const Points<double>& points, std::span<double> values) const {
        std::ranges::fill(values, 0.0);
        for (std::size_t k = 0; k < points.dimension(); ++k) {
            const std::span<const double> x = points.coordinate(k);
            for (std::size_t i = 0; i < x.size(); ++i) {
                values[i] += x[i] * x[i] + 1 - std::cos(7 * x[i]);
            }
        }
    }
};
// Remembers how many points came together.
struct CountingRipples : BatchRipples {
    void evaluate(const Points<double>& points, std::span<double> values) const {
        BatchRipples::evaluate(points, values);
        largest = std::max(largest, points.size());
    }
    mutable std::size_t largest = 0;
};

bool same(const OptimiseResult<double>& a, const OptimiseResult<double>& b) {
    return a.x == b.x && a.value == b.value && a.evaluations == b.evaluations &&
           a.iterations == b.iterations && a.status == b.status && a.non_finite == b.non_finite;
}

}  // namespace

TEST_CASE_TEMPLATE("threads and batches change no bit", S, Swarm, RingSwarm, InertiaSwarm,
                   StandardSwarm) {
    const Box<double> box = cube(4, -3, 5);
    const S swarm{.particles = 23, .iterations = 40};
    const auto plain = minimise(Ripples{}, box, swarm, 7);
    CHECK(same(plain, minimise(BatchRipples{}, box, swarm, 7)));
    for (const std::size_t threads : {1U, 2U, 4U, 30U}) {
        CAPTURE(threads);
        CHECK(same(plain, minimise(Parallel(Ripples{}, threads), box, swarm, 7)));
        CHECK(same(plain, minimise(Parallel(BatchRipples{}, threads), box, swarm, 7)));
    }
}

TEST_CASE("a swarm hands over all its points at once") {
    const Box<double> box = cube(2, -1, 1);
    CountingRipples objective;
    const auto result = minimise(objective, box, Swarm{.particles = 17, .iterations = 3}, 1);
    CHECK(objective.largest == 17);
    CHECK(result.evaluations == 17 * 4);
}

TEST_CASE("points of more coordinates than fit the stack, and of none to share") {
    const Box<double> box = cube(40, -1, 1);
    const Swarm swarm{.particles = 3, .iterations = 5};
    CHECK(
        same(minimise(Ripples{}, box, swarm, 2), minimise(Parallel(Ripples{}, 8), box, swarm, 2)));
    Parallel objective(Ripples{}, 2);
    std::vector<double> none;
    objective.evaluate(Points<double>(nullptr, 0, 2, 0), std::span<double>(none));
    CHECK(none.empty());
}

TEST_CASE("what the objective throws on a thread reaches the caller") {
    const auto throws = [](std::span<const double> x) -> double {
        if (x[0] > 0.5) {
            throw std::runtime_error("too far");
        }
        return x[0];
    };
    CHECK_THROWS_WITH_AS(
        static_cast<void>(minimise(Parallel(throws, 2), cube(1, 0, 1), Swarm{}, 1)), "too far",
        std::runtime_error);
    CHECK_THROWS_AS(Parallel(throws, 0), InvalidInput);
    CHECK_THROWS_AS(Parallel(throws, 1025), InvalidInput);
}

TEST_CASE("a view of points reads coordinates, points and parts") {
    const std::vector<double> data = {1, 2, 3, -9, 10, 20, 30, -9};  // stride 4
    const Points<double> points(data.data(), 3, 2, 4);
    CHECK(points.size() == 3);
    CHECK(points.dimension() == 2);
    CHECK(points(1, 1) == 20);
    CHECK(std::ranges::equal(points.coordinate(1), std::vector<double>{10, 20, 30}));
    std::vector<double> x(2);
    points.read(2, x);
    CHECK(x == std::vector<double>{3, 30});
    const Points<double> part = points.part(1, 3);
    CHECK(part.size() == 2);
    CHECK(part(0, 1) == 20);
    const Points<double> one{std::span<const double>(x)};
    CHECK(one.size() == 1);
    CHECK(one(0, 1) == 30);
}
