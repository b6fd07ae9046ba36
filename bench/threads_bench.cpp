// Many frames on range(0) threads: by the clock on the wall, whatever else the machine does.
#include <benchmark/benchmark.h>

#include <complex>
#include <cstddef>
#include <cstdint>
#include <utility>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/gate_baseband.hpp"
#include "echosieve/pursuit/fast_pursuit.hpp"
#include "frames.hpp"
#include "lines.hpp"

namespace {

using namespace echosieve;

void count_frames(benchmark::State& state, std::size_t frames) {
    state.counters["frames/s"] =
        benchmark::Counter(static_cast<double>(state.iterations()) * static_cast<double>(frames),
                           benchmark::Counter::kIsRate);
}

void lines_on_threads(benchmark::State& state) {
    const auto lines = bench::lines<std::int16_t>(4000);
    for (auto _ : state) {
        benchmark::DoNotOptimize(to_baseband<float>(lines.view(), bench::line_settings, {},
                                                    static_cast<std::size_t>(state.range(0))));
    }
    count_frames(state, lines.frames());
}

// Gates conditioned and taken apart into ten echoes each.
void gates_on_threads(benchmark::State& state) {
    constexpr std::size_t frames = 4000;
    constexpr std::size_t different = 100;
    std::vector<float> raw;
    for (std::size_t i = 0; i < frames; ++i) {
        if (i < different) {
            const std::vector<double> frame = bench::crowded_frame(i + 1);
            raw.insert(raw.end(), frame.begin(), frame.end());
        } else {
            const std::size_t first = (i % different) * bench::gate.count;
            for (std::size_t n = 0; n < bench::gate.count; ++n) {
                raw.push_back(raw[first + n]);
            }
        }
    }
    const FrameMatrix<float> gates(std::move(raw), frames, bench::gate.count);
    const GateBasebander<float> basebander(bench::gate, bench::sensor);
    const FastPursuit<float> pursuit(basebander.grid(), bench::box(), {}, basebander.weights());
    const auto threads = static_cast<std::size_t>(state.range(0));
    for (auto _ : state) {
        const auto samples = gates_to_baseband(gates.view(), basebander, threads);
        benchmark::DoNotOptimize(pursue_frames(samples.view(), pursuit, threads));
    }
    count_frames(state, frames);
}
BENCHMARK(lines_on_threads)->Arg(1)->Arg(2)->UseRealTime()->Unit(benchmark::kMillisecond);
BENCHMARK(gates_on_threads)->Arg(1)->Arg(2)->UseRealTime()->Unit(benchmark::kMillisecond);

}  // namespace
