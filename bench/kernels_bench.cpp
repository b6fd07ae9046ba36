// The compiled kernels, with each instruction set that the processor has.
#include <benchmark/benchmark.h>

#include <complex>
#include <cstddef>
#include <numbers>
#include <string>
#include <vector>

#include "echosieve/core/instruction_set.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/kernels/phasors.hpp"

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
    state.counters["phasors/s"] = benchmark::Counter(
        static_cast<double>(state.iterations()) * static_cast<double>(frames * row.bins),
        benchmark::Counter::kIsRate);
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

[[maybe_unused]] const bool registered = [] {
    for (const echosieve::InstructionSet set : echosieve::all_instruction_sets) {
        if (echosieve::available(set)) {
            const std::string name = "phasors<" + std::string(echosieve::describe(set)) + ">";
            benchmark::RegisterBenchmark(name.c_str(), phasors, set)->Unit(benchmark::kMicrosecond);
        }
    }
    return true;
}();

}  // namespace
