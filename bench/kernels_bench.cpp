// The compiled kernels, with each instruction set that the processor has.
#include <benchmark/benchmark.h>

#include <complex>
#include <cstddef>
#include <numbers>
#include <string>
#include <vector>

#include "count.hpp"
#include "echosieve/core/instruction_set.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/kernels/detail/echo_swarm.hpp"
#include "echosieve/kernels/detail/phasors.hpp"
#include "frames.hpp"
#include "single_echo_gate.hpp"

namespace {

// 1000 frames, 40 frequencies: a gate's phasors of a second.
constexpr std::size_t frames = 1000;
constexpr echosieve::FrequencyRow row{2 * std::numbers::pi * 3e6, 2 * std::numbers::pi * 50e3, 40};

std::vector<double> delays() {
    echosieve::RandomStream stream(1);
    std::vector<double> out(frames);
    for (double& x : out) {
        x = 1e-6 * (2 * stream.uniform() - 1);
    }
    return out;
}

void count_phasors(benchmark::State& state) {
    bench::count(state, "phasors/s", static_cast<double>(frames * row.bins));
}

void phasors(benchmark::State& state, echosieve::InstructionSet set) {
    const std::vector<double> taus = delays();
    std::vector<std::complex<double>> out(frames * row.bins);
    for (auto _ : state) {
        echosieve::write_phasors(taus, row, out, set);
        benchmark::DoNotOptimize(out.data());
        benchmark::ClobberMemory();
    }
    count_phasors(state);
}

// The same numbers by the standard library, a sine and a cosine each.
void phasors_of_the_library(benchmark::State& state) {
    const std::vector<double> taus = delays();
    std::vector<std::complex<double>> out(frames * row.bins);
    for (auto _ : state) {
        for (std::size_t j = 0; j < row.bins; ++j) {
            const double w = row.first + static_cast<double>(j) * row.step;
            for (std::size_t i = 0; i < frames; ++i) {
                out[i + frames * j] = std::polar(1.0, -w * taus[i]);
            }
        }
        benchmark::DoNotOptimize(out.data());
        benchmark::ClobberMemory();
    }
    count_phasors(state);
}
BENCHMARK(phasors_of_the_library)->Unit(benchmark::kMicrosecond);

// One swarm a turn, on the gates of 64 frames.
void echo_swarm(benchmark::State& state, echosieve::InstructionSet set) {
    constexpr std::size_t gates = 64;
    bench::SingleEchoGate problem;
    std::vector<std::vector<double>> real, imag;
    for (std::size_t k = 0; k < gates; ++k) {
        problem.condition(bench::crowded_frame(k + 1));
        real.emplace_back(problem.real().begin(), problem.real().end());
        imag.emplace_back(problem.imag().begin(), problem.imag().end());
    }
    echosieve::EchoSwarm swarm(problem.weights(), problem.swarm_bounds(), {}, set);
    std::size_t next = 0;
    for (auto _ : state) {
        benchmark::DoNotOptimize(swarm.search(real[next], imag[next]));
        next = (next + 1) % gates;
    }
    const double evaluations = static_cast<double>(swarm.options().particles) *
                               static_cast<double>(swarm.options().iterations);
    bench::count(state, "evaluations/s", evaluations);
    // 16 products and 16 sums for two samples; some 22 samples an evaluation at least, since an
    // atom reaches 2 sqrt(8 / decay) = 25 to 30 of them where the gate's ends don't cut it.
    bench::count(state, "flop/s, at least", evaluations * 22 * 16);
}

void register_for(echosieve::InstructionSet set, const char* what,
                  void (*bench)(benchmark::State&, echosieve::InstructionSet)) {
    std::string name(what);
    name.append("<").append(echosieve::describe(set)).append(">");
    benchmark::RegisterBenchmark(name.c_str(), bench, set)->Unit(benchmark::kMicrosecond);
}

[[maybe_unused]] const bool registered = [] {
    for (const echosieve::InstructionSet set : echosieve::all_instruction_sets) {
        if (echosieve::available(set)) {
            register_for(set, "phasors", phasors);
            register_for(set, "echo_swarm", echo_swarm);
        }
    }
    return true;
}();

}  // namespace
