// A frame of ten echoes: the fast path with and without its conditioning, and the textbook's
// pursuit.
#include <benchmark/benchmark.h>

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "count.hpp"
#include "echosieve/condition/gate_baseband.hpp"
#include "echosieve/pursuit/fast_pursuit.hpp"
#include "frames.hpp"
#include "textbook_pursuit.hpp"

namespace {

using bench::gate;

constexpr std::size_t different_frames = 64;

template <class R>
std::vector<std::vector<R>> raw_frames() {
    std::vector<std::vector<R>> out;
    for (std::size_t k = 0; k < different_frames; ++k) {
        const std::vector<double> frame = bench::crowded_frame(k + 1);
        out.emplace_back(frame.begin(), frame.end());
    }
    return out;
}

template <class R>
void condition_gate(benchmark::State& state) {
    const auto frames = raw_frames<R>();
    echosieve::GateBasebander<R> basebander(gate, bench::sensor);
    std::vector<std::complex<R>> samples(basebander.grid().count);
    std::size_t next = 0;
    for (auto _ : state) {
        basebander.process(std::span<const R>(frames[next]), std::span<std::complex<R>>(samples));
        benchmark::DoNotOptimize(samples.data());
        benchmark::ClobberMemory();
        next = (next + 1) % different_frames;
    }
    bench::count(state, "frames/s", 1);
}
BENCHMARK(condition_gate<float>);
BENCHMARK(condition_gate<double>);

template <class R>
void fast_pursuit(benchmark::State& state) {
    echosieve::GateBasebander<R> basebander(gate, bench::sensor);
    std::vector<std::vector<std::complex<R>>> frames;
    for (const std::vector<R>& raw : raw_frames<R>()) {
        frames.emplace_back(basebander.grid().count);
        basebander.process(std::span<const R>(raw), std::span<std::complex<R>>(frames.back()));
    }
    echosieve::FastPursuit<R> pursuit(basebander.grid(), bench::box(), {}, basebander.weights());
    std::size_t next = 0;
    for (auto _ : state) {
        benchmark::DoNotOptimize(&pursuit.run(frames[next]));
        benchmark::ClobberMemory();
        next = (next + 1) % different_frames;
    }
    bench::count(state, "frames/s", 1);
}
BENCHMARK(fast_pursuit<float>);
BENCHMARK(fast_pursuit<double>);

template <class R>
void fast_pursuit_with_conditioning(benchmark::State& state) {
    const auto frames = raw_frames<R>();
    echosieve::GateBasebander<R> basebander(gate, bench::sensor);
    echosieve::FastPursuit<R> pursuit(basebander.grid(), bench::box(), {}, basebander.weights());
    std::vector<std::complex<R>> samples(basebander.grid().count);
    std::size_t next = 0;
    for (auto _ : state) {
        basebander.process(std::span<const R>(frames[next]), std::span<std::complex<R>>(samples));
        benchmark::DoNotOptimize(&pursuit.run(samples));
        benchmark::ClobberMemory();
        next = (next + 1) % different_frames;
    }
    bench::count(state, "frames/s", 1);
}
BENCHMARK(fast_pursuit_with_conditioning<float>);
BENCHMARK(fast_pursuit_with_conditioning<double>);

void textbook_pursuit(benchmark::State& state) {
    const auto frames = raw_frames<double>();
    std::size_t next = 0;
    for (auto _ : state) {
        const textbook::Samples samples{frames[next].data(), gate.count, gate.start_time,
                                        gate.sampling_rate};
        benchmark::DoNotOptimize(
            textbook::pursue(samples, bench::textbook_bounds(), bench::echoes_a_frame, {}, next));
        next = (next + 1) % different_frames;
    }
    bench::count(state, "frames/s", 1);
}
BENCHMARK(textbook_pursuit)->Unit(benchmark::kMillisecond);

}  // namespace
