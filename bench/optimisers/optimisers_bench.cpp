// What a method costs beside the objective: every method on a sphere, whose value takes next to no
// time. And what an evaluation of an echo fit costs: alone, as one of many, with derivatives.
#include <benchmark/benchmark.h>

#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <string>
#include <vector>

#include "echo_fit.hpp"
#include "echosieve/core/random.hpp"
#include "method.hpp"

namespace {

using namespace bench;

constexpr std::size_t budget = 5000;

// Its target is out of reach: all evaluations are used.
Problem sphere(std::size_t dimension) {
    return {.name = "sphere",
            .box = echosieve::Box<double>(std::vector<double>(dimension, -3),
                                          std::vector<double>(dimension, 5)),
            .target = -std::numeric_limits<double>::infinity(),
            .value =
                [](std::span<const double> x) {
                    double sum = 0;
                    for (const double v : x) {
                        sum += v * v;
                    }
                    return sum;
                },
            .fit = {},
            .constrain = {}};
}

void overhead(benchmark::State& state, const Method& method, std::size_t dimension) {
    const Problem problem = sphere(dimension);
    std::uint64_t seed = 0;
    double evaluations = 0;
    for (auto _ : state) {
        Run run(problem, budget, 1);
        method.run(run, ++seed);
        evaluations += static_cast<double>(run.record().evaluations);
    }
    state.counters["s/evaluation"] =
        benchmark::Counter(evaluations, benchmark::Counter::kIsRate | benchmark::Counter::kInvert);
}

// A fit of so many echoes 1 us apart, and points of it.
struct Fit {
    explicit Fit(std::size_t echoes)
        : fit({.echoes = echoes}), points(batch * fit.dimension()), values(batch) {
        echosieve::RandomStream stream(1);
        for (double& coordinate : points) {
            coordinate = stream.uniform();
        }
    }
    static constexpr std::size_t batch = 64;

    EchoFit fit;
    std::vector<double> points;
    std::vector<double> values;
};

void fit_value(benchmark::State& state) {
    Fit f(static_cast<std::size_t>(state.range(0)));
    const std::span<const double> x = std::span(f.points).first(f.fit.dimension());
    for (auto _ : state) {
        benchmark::DoNotOptimize(f.fit(x));
    }
}
void fit_batch(benchmark::State& state) {
    Fit f(static_cast<std::size_t>(state.range(0)));
    const echosieve::Points<double> points(f.points.data(), Fit::batch, f.fit.dimension(),
                                           Fit::batch);
    for (auto _ : state) {
        f.fit.evaluate(points, f.values);
        benchmark::DoNotOptimize(f.values.data());
    }
    state.counters["s/point"] =
        benchmark::Counter(static_cast<double>(state.iterations()) * double{Fit::batch},
                           benchmark::Counter::kIsRate | benchmark::Counter::kInvert);
}
void fit_gradient(benchmark::State& state) {
    Fit f(static_cast<std::size_t>(state.range(0)));
    const std::size_t n = f.fit.dimension();
    std::vector<double> gradient(n);
    for (auto _ : state) {
        benchmark::DoNotOptimize(f.fit.value_and_gradient(std::span(f.points).first(n), gradient));
    }
}
void fit_normal_equations(benchmark::State& state) {
    Fit f(static_cast<std::size_t>(state.range(0)));
    const std::size_t n = f.fit.dimension();
    std::vector<double> gradient(n);
    std::vector<double> gram(n * n);
    for (auto _ : state) {
        benchmark::DoNotOptimize(
            f.fit.normal_equations(std::span(f.points).first(n), gram, gradient));
    }
}
void fit_residuals(benchmark::State& state) {
    Fit f(static_cast<std::size_t>(state.range(0)));
    const std::size_t n = f.fit.dimension();
    std::vector<double> r(f.fit.rows());
    std::vector<double> jacobian(f.fit.rows() * n);
    for (auto _ : state) {
        f.fit.residuals(std::span(f.points).first(n), r, jacobian);
        benchmark::DoNotOptimize(jacobian.data());
    }
}
BENCHMARK(fit_value)->DenseRange(1, 6);
BENCHMARK(fit_batch)->DenseRange(1, 6);
BENCHMARK(fit_gradient)->DenseRange(1, 6);
BENCHMARK(fit_normal_equations)->DenseRange(1, 6);
BENCHMARK(fit_residuals)->DenseRange(1, 6);

const bool registered = [] {
    for (const auto list : {echosieve_methods, nlopt_methods, pagmo_methods, gsl_methods}) {
        for (const Method& method : list()) {
            for (const std::size_t dimension : {std::size_t{3}, std::size_t{12}}) {
                if (method.takes(sphere(dimension))) {
                    benchmark::RegisterBenchmark(("overhead/" + method.library + "/" + method.name +
                                                  "/" + std::to_string(dimension))
                                                     .c_str(),
                                                 [method, dimension](benchmark::State& state) {
                                                     overhead(state, method, dimension);
                                                 });
                }
            }
        }
    }
    return true;
}();

}  // namespace
