// What an optimiser of a user's gives back is judged by the library: constraints that it is blind
// to, points outside the box, points of another size, no point at all.
#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/multi_start.hpp"
#include "echosieve/optimise/objective.hpp"
#include "echosieve/optimise/parallel.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "echosieve/pursuit/echo_source.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();

// A grid over one dimension; it has never heard of constraints.
struct BlindSearch {
    std::size_t iterations = 100;
    double target = -infinity;
    double tolerance = 0;
    std::size_t stagnation_iterations = 0;
    std::size_t max_evaluations = std::numeric_limits<std::size_t>::max();

    template <class F, Real R, class Watch>
    OptimiseResult<R> minimise(F& objective, const Box<R>& box, std::uint64_t, std::span<const R>,
                               Watch&) const {
        OptimiseResult<R> result;
        result.status = OptimiseStatus::iteration_limit;
        const std::size_t count = std::min<std::size_t>(101, max_evaluations);
        for (std::size_t k = 0; k < count; ++k) {
            const std::array<R, 1> x = {box.lower(0) + box.width(0) * static_cast<R>(k) / R{100}};
            const R value = static_cast<R>(objective(std::span<const R>(x)));
            ++result.evaluations;
            if (value < result.value) {
                result.value = value;
                result.x.assign(x.begin(), x.end());
            }
        }
        return result;
    }
};

// Gives back what it is told to.
struct Claims {
    std::vector<double> x;
    double value = 0;
    OptimiseStatus status = OptimiseStatus::target_reached;

    template <class F, Real R, class Watch>
    OptimiseResult<R> minimise(F&, const Box<R>&, std::uint64_t, std::span<const R>, Watch&) const {
        OptimiseResult<R> result;
        result.x.assign(x.begin(), x.end());
        result.value = static_cast<R>(value);
        result.status = status;
        return result;
    }
};

static_assert(Optimiser<BlindSearch, double> && Optimiser<BlindSearch, float>);
static_assert(Optimiser<Claims, double> && LimitedOptimiser<BlindSearch>);

// x^2 with x >= 1/2: the minimum is 1/4.
template <Real R>
auto half_line() {
    return Constrained{
        [](std::span<const R> x) { return x[0] * x[0]; },
        [](std::span<const R> x, std::span<R> g, std::span<R>) { g[0] = R(0.5) - x[0]; }, 1, 0};
}

double square(std::span<const double> x) {
    return x[0] * x[0];
}

}  // namespace

TEST_CASE_TEMPLATE("a blind optimiser's point is not called feasible", R, float, double) {
    const Box<R> box({R(-1)}, {R(1)});
    auto objective = half_line<R>();
    const auto result = minimise(objective, box, BlindSearch{}, 1);
    CHECK(result.usable());
    CHECK(!result.feasible());
    CHECK(result.x[0] == 0);
    CHECK(result.violation == R(0.5));
    CHECK(result.judged);
    CHECK(result.evaluations == 102);  // 101 of its own, one to judge it
    const auto parallel = minimise(Parallel(half_line<R>(), 2), box, BlindSearch{}, 1);
    CHECK(!parallel.feasible());
    CHECK(parallel.violation == R(0.5));
    // Where the constraint holds nothing is held against it.
    const auto inside = minimise(objective, Box<R>({R(0.75)}, {R(1)}), BlindSearch{}, 1);
    CHECK(inside.feasible());
}

TEST_CASE("composites don't take a blind optimiser's word for it") {
    const Box<double> box({-1}, {1});
    auto objective = half_line<double>();
    const MultiStart<BlindSearch> starts{.samples = 20, .iterations = 3};
    const GlobalThenLocal<Swarm, BlindSearch> both{.global = {.iterations = 50}};
    const auto check = [&](const auto& optimiser) {
        const auto result = minimise(objective, box, optimiser, 3);
        CHECK(result.feasible());  // of the points that the composite saw itself
        CHECK(result.x[0] >= 0.5);
        CHECK(result.value >= 0.25);
    };
    check(starts);
    check(both);
    // Within the evaluations allowed, the one to judge by among them.
    MultiStart<BlindSearch> few{.samples = 5, .iterations = 1};
    few.max_evaluations = 60;
    const std::vector<double> start = {0.9};
    CHECK(minimise(objective, box, few, 3, start).evaluations <= 60);
}

TEST_CASE("the constraints follow upon a value at the same point") {
    double last = 0;
    std::size_t wrong = 0;
    Constrained objective{[&](std::span<const double> x) {
                              last = x[0];
                              return x[0] * x[0];
                          },
                          [&](std::span<const double> x, std::span<double> g, std::span<double> h) {
                              wrong += x[0] != last || g.size() != 1 || h.size() != 1 ? 1 : 0;
                              g[0] = 0;
                              h[0] = x[0] - 1;
                          },
                          1, 1};
    const auto result = minimise(objective, Box<double>({-1}, {1}), BlindSearch{}, 1);
    CHECK(wrong == 0);
    constexpr double rounding = 1e-15;
    CHECK_WITHIN(result.violation, 1 - 1e-4, rounding);  // less the tolerance of equalities
}

TEST_CASE("points outside the box are not feasible, and lose to any within") {
    const Box<double> box({-1, 0}, {1, 2});
    const auto bowl = [](std::span<const double> x) { return x[0] + x[1]; };
    const auto result = minimise(bowl, box, Claims{.x = {-3, 2.5}}, 1);
    CHECK(!result.feasible());
    constexpr double rounding = 1e-15;
    CHECK_WITHIN(result.violation, 2.5, rounding);
    CHECK(minimise(bowl, box, Claims{.x = {-1, 2}}, 1).feasible());
}

TEST_CASE("a result without a point or a value is none") {
    const Box<double> box({-1}, {1});
    const double not_a_number = std::numeric_limits<double>::quiet_NaN();
    for (const Claims& claims :
         {Claims{.x = {}}, Claims{.x = {not_a_number}}, Claims{.x = {0.0}, .value = infinity},
          Claims{.x = {0.0}, .value = not_a_number}}) {
        const auto result = minimise(square, box, claims, 1);
        CHECK(result.status == OptimiseStatus::no_finite_value);
        CHECK(!result.usable());
        CHECK(!result.feasible());
        CHECK(result.violation == infinity);
    }
    const auto aborted =
        minimise(square, box, Claims{.x = {}, .status = OptimiseStatus::aborted}, 1);
    CHECK(aborted.status == OptimiseStatus::aborted);
    const Claims not_run{.x = {}, .status = OptimiseStatus::not_run};
    CHECK(minimise(square, box, not_run, 1).status == OptimiseStatus::not_run);
    CHECK_THROWS_WITH_AS(static_cast<void>(minimise(square, box, Claims{.x = {0.0, 0.0}}, 1)),
                         "size of the optimiser's point = 2: must be 0 or the dimension, 1",
                         InvalidInput);
}

TEST_CASE("a pursuit keeps its atom where the user's optimiser finds none") {
    const SamplingGrid grid{0, 40e6, 128, 0};
    const GaborBox box{{1e-6, 2e-6}, {3e6, 5e6}, {1e6, 3e6}};
    const Gabor<double> start{1.5e-6, 4e6, 2e6};
    const Eigen::VectorXd residual = Eigen::VectorXd::Ones(128);
    CHECK(refine(Claims{.x = {}}, start, {box, grid, 1}, residual) == start);
    CHECK_THROWS_AS(static_cast<void>(refine(Claims{.x = {0.5}}, start, {box, grid, 1}, residual)),
                    InvalidInput);
    CHECK(box.contains(refine(Claims{.x = {9, -9, 0.5}}, start, {box, grid, 1}, residual)));
}
