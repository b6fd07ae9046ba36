// Optimisers made of others at the edge of what makes sense.
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/optimise/blockwise_search.hpp"
#include "echosieve/optimise/differential_evolution.hpp"
#include "echosieve/optimise/levenberg_marquardt.hpp"
#include "echosieve/optimise/multi_start.hpp"
#include "echosieve/optimise/parallel.hpp"
#include "optimise/methods.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

struct Starts : MultiStart<LevenbergMarquardt> {};
struct Both : GlobalThenLocal<DifferentialEvolution, LevenbergMarquardt> {};
struct Blocks : BlockwiseSearch<> {};

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr double not_a_number = std::numeric_limits<double>::quiet_NaN();

template <class O>
O few(std::size_t iterations) {
    O method;
    method.iterations = iterations;
    if constexpr (requires { method.global; }) {
        method.global.iterations = 5;
    }
    return method;
}

// What must hold of every run.
template <class O>
OptimiseResult<double> checked(const O& method, const Box<double>& box, Trial<double>& trial,
                               std::span<const double> start = {}) {
    const OptimiseResult<double> result = minimise(trial, box, method, 3, start);
    CHECK(result.evaluations == trial.calls);
    CHECK(result.non_finite == trial.non_finite);
    CHECK(trial.outside == 0);
    CHECK(box.contains(result.x));
    CHECK(result.evaluations <= method.max_evaluations);
    return result;
}

}  // namespace

TEST_CASE_TEMPLATE("composites: one dimension, fixed ones, all fixed, huge and tiny boxes", O,
                   Starts, Both, Blocks) {
    constexpr double found = 1e-12;
    const O method = few<O>(3);
    for (const Box<double>& box :
         {Box<double>({-3}, {4}), Box<double>({-3, 1, -3}, {4, 1, 4}), Box<double>({1, 1}, {1, 1}),
          Box<double>({-1e150, -1e-150}, {1e150, 1e-150})}) {
        Trial<double> trial(box);
        for (std::size_t k = 0; k < box.dimension(); ++k) {
            trial.centre[k] = box.lower(k) + 0.3 * box.width(k);
            trial.unit[k] = box.width(k) > 0 ? box.width(k) : 1;
        }
        const auto result = checked(method, box, trial);
        CHECK(result.usable());
        CHECK(result.value <= found);
    }
}

TEST_CASE_TEMPLATE("composites: no iterations, an exact start, a start outside", O, Starts, Both,
                   Blocks) {
    const Box<double> box({-2, -2}, {2, 2});
    const std::vector<double> exact = {0, 0};
    Trial<double> trial(box);
    const auto kept = checked(few<O>(0), box, trial, exact);
    CHECK(kept.x == exact);
    CHECK(kept.iterations == 0);
    CHECK(kept.status == OptimiseStatus::iteration_limit);
    const std::vector<double> outside = {9, -infinity};
    Trial<double> other(box);
    O aimed = few<O>(50);
    aimed.target = 1e-9;
    const auto result = checked(aimed, box, other, outside);
    CHECK(other.first == std::vector<double>{2, -2});
    CHECK(result.status == OptimiseStatus::target_reached);
    Trial<double> third(box);
    aimed.target = infinity;
    CHECK(checked(aimed, box, third).evaluations <= 50);
}

TEST_CASE_TEMPLATE("composites: regions without a value, and no value anywhere", O, Starts, Both,
                   Blocks) {
    const Box<double> box({-2, -2}, {2, 2});
    Trial<double> holes(box, {0.7, -0.45});
    holes.change = [](std::span<const double> x, double value) {
        return std::fmod(std::abs(x[0]), 0.5) > 0.3 ? not_a_number : value;
    };
    O method = few<O>(20);
    method.target = 1e-6;
    const auto result = checked(method, box, holes);
    CHECK(result.status == OptimiseStatus::target_reached);
    CHECK(result.non_finite > 0);
    Trial<double> nowhere(box);
    nowhere.change = [](std::span<const double>, double) { return not_a_number; };
    O short_run = few<O>(3);
    short_run.max_evaluations = 500;
    const auto lost = checked(short_run, box, nowhere);
    CHECK(lost.status == OptimiseStatus::no_finite_value);
    CHECK(lost.non_finite == lost.evaluations);
}

TEST_CASE_TEMPLATE("composites: evaluations never exceeded, observers obeyed at once", O, Starts,
                   Both, Blocks) {
    const Box<double> box({-2, -2}, {2, 2});
    for (const std::size_t most : {60U, 61U, 99U, 250U}) {
        Trial<double> ragged(box);
        ragged.change = [](std::span<const double> x, double value) {
            return value + std::sin(40 * x[0]) * std::sin(50 * x[1]);
        };
        O method = few<O>(1000);
        method.max_evaluations = most;
        const auto result = checked(method, box, ragged);
        CHECK(result.status == OptimiseStatus::evaluation_limit);
    }
    for (const Control wish : {Control::stop, Control::abort}) {
        Trial<double> trial(box);
        const auto result =
            minimise(trial, box, few<O>(10), 1, {}, [&](const Progress<double>&) { return wish; });
        CHECK(result.status ==
              (wish == Control::stop ? OptimiseStatus::stopped : OptimiseStatus::aborted));
        CHECK(result.iterations == 0);
        CHECK(result.usable() == (wish == Control::stop));
    }
}

TEST_CASE_TEMPLATE("composites: same seed, same bits, on any number of threads", O, Starts, Both,
                   Blocks) {
    const Box<double> box({-2, -2, -2}, {2, 2, 2});
    Trial<double> trial(box, {0.3, -1, 0.7});
    const O method = few<O>(4);
    const auto once = minimise(trial, box, method, 5);
    const auto again = minimise(trial, box, method, 5);
    CHECK(once.x == again.x);
    CHECK(once.evaluations == again.evaluations);
    struct Plain {
        double operator()(std::span<const double> x) const {
            double sum = 0;
            for (const double v : x) {
                sum += (v - 0.3) * (v - 0.3);
            }
            return sum;
        }
        double normal_equations(std::span<const double> x, std::span<double> gram,
                                std::span<double> gradient) const {
            std::ranges::fill(gram, 0.0);
            for (std::size_t k = 0; k < x.size(); ++k) {
                gram[k * (x.size() + 1)] = 1;
                gradient[k] = x[k] - 0.3;
            }
            return (*this)(x);
        }
    };
    const auto alone = minimise(Plain{}, box, method, 5);
    for (const std::size_t threads : {1U, 2U, 4U}) {
        const auto shared = minimise(Parallel(Plain{}, threads), box, method, 5);
        CHECK(shared.x == alone.x);
        CHECK(shared.value == alone.value);
        CHECK(shared.evaluations == alone.evaluations);
    }
}
