// Runs with a workspace of the right size allocate their result and nothing else.
#include <atomic>
#include <cmath>
#include <cstddef>
#include <cstdlib>
#include <new>
#include <span>
#include <type_traits>
#include <vector>

#include "echosieve/optimise/covariance_adaptation.hpp"
#include "echosieve/optimise/differential_evolution.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "optimise/bowls.hpp"
#include "support/check.hpp"

namespace {

std::atomic<std::size_t> allocations = 0;  // other tests of this binary start threads

void* counted(std::size_t size) {
    ++allocations;
    if (void* memory = std::malloc(size == 0 ? 1 : size)) {
        return memory;
    }
    throw std::bad_alloc();
}

}  // namespace

// Of this whole test binary.
void* operator new(std::size_t size) {
    return counted(size);
}
void* operator new[](std::size_t size) {
    return counted(size);
}
void operator delete(void* memory) noexcept {
    std::free(memory);
}
void operator delete[](void* memory) noexcept {
    std::free(memory);
}
void operator delete(void* memory, std::size_t) noexcept {
    std::free(memory);
}
void operator delete[](void* memory, std::size_t) noexcept {
    std::free(memory);
}

using namespace echosieve;

TEST_CASE("the counter counts") {
    const std::size_t before = allocations;
    void* memory = ::operator new(8);
    CHECK(memory != nullptr);
    ::operator delete(memory);
    CHECK(allocations == before + 1);
}

TEST_CASE_TEMPLATE("a reused workspace leaves one allocation, the result", S, Swarm, RingSwarm,
                   ParticleSwarm<GlobalBest, PeriodicBounds>) {
    const Box<double> box({-1, -2, 0}, {3, 2, 0});
    const auto objective = [](std::span<const double> x) { return x[0] * x[0] + x[1] * x[1]; };
    const std::vector<double> start = {1, 1, 0};
    NoObserver observer;
    Workspace workspace;
    S swarm;
    static_cast<void>(swarm.minimise(OptimiseTask{objective, box, 1, start, observer, workspace}));
    for (const std::size_t iterations : {0U, 1U, 10U, 1000U}) {
        CAPTURE(iterations);
        swarm.iterations = iterations;
        const std::size_t before = allocations;
        const auto result =
            swarm.minimise(OptimiseTask{objective, box, 2, start, observer, workspace});
        const std::size_t made = allocations - before;
        CHECK(made == 1);
        CHECK(result.iterations == iterations);
    }
    // A smaller swarm fits as well, and does what it does in a fresh workspace.
    swarm.particles = 7;
    swarm.iterations = 20;
    const std::size_t before = allocations;
    const auto reused = swarm.minimise(OptimiseTask{objective, box, 3, {}, observer, workspace});
    const std::size_t made = allocations - before;
    CHECK(made == 1);
    const auto fresh = minimise(objective, box, swarm, 3);
    CHECK(reused.x == fresh.x);
    CHECK(reused.evaluations == fresh.evaluations);
}

TEST_CASE_TEMPLATE("local methods: a reused workspace leaves what is made at set-up", C,
                   echosieve::test::Squares, echosieve::test::Numeric, echosieve::test::Analytic,
                   echosieve::test::Simplex) {
    const Box<double> box({-1, -2, 0, -1}, {3, 2, 0, 1});
    const std::vector<double> start = {-1, 2, 0, 0.5};
    typename C::template Objective<double> objective(box, {0.5, 2.5, 1, 0.1});
    objective.first = start;  // it remembers the first point, once
    NoObserver observer;
    Workspace workspace;
    typename C::Method method;
    static_cast<void>(method.minimise(OptimiseTask{objective, box, 1, start, observer, workspace}));
    std::size_t least = 0;
    for (const std::size_t iterations : {0U, 1U, 3U, 200U}) {
        CAPTURE(iterations);
        method.iterations = iterations;
        const std::size_t before = allocations;
        const auto result =
            method.minimise(OptimiseTask{objective, box, 2, start, observer, workspace});
        const std::size_t made = allocations - before;
        least = iterations == 0 ? made : least;
        CHECK(made == least);  // an iteration allocates nothing
        CHECK(result.usable());
    }
    // The result; the solver of a sum of squares takes its matrices as well.
    constexpr std::size_t solver = 8;
    CHECK(least <= (std::is_same_v<typename C::Method, LevenbergMarquardt> ? 1 + solver : 1));
}

TEST_CASE_TEMPLATE("evolution in a reused workspace leaves one allocation, the result", O,
                   DifferentialEvolution, SelfAdaptingDifferentialEvolution,
                   DifferentialPopulation<BestBase>, CovarianceAdaptation) {
    const Box<double> box({-1, -2, 0, -3}, {3, 2, 0, 2});
    // Many minima: covariance adaptation restarts, with more points each time.
    const auto objective = [](std::span<const double> x) {
        double sum = 0;
        for (const double v : x) {
            sum += v * v - std::cos(20 * v);
        }
        return sum;
    };
    NoObserver observer;
    Workspace workspace;
    O method;
    method.iterations = 400;
    static_cast<void>(method.minimise(OptimiseTask{objective, box, 1, {}, observer, workspace}));
    static_cast<void>(method.minimise(OptimiseTask{objective, box, 2, {}, observer, workspace}));
    for (const std::size_t iterations : {0U, 1U, 10U, 400U}) {
        CAPTURE(iterations);
        method.iterations = iterations;
        const std::size_t before = allocations;
        const auto result =
            method.minimise(OptimiseTask{objective, box, 2, {}, observer, workspace});
        const std::size_t made = allocations - before;
        CHECK(made == 1);
        CHECK(result.iterations == iterations);
        const auto fresh = minimise(objective, box, method, 2);
        CHECK(result.x == fresh.x);
    }
}
