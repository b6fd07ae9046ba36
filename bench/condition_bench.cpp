// Conditioning: whole lines of int16 samples to complex baseband, and the frame check, beside a
// copy of the same bytes.
#include <benchmark/benchmark.h>

#include <complex>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "lines.hpp"

namespace {

using namespace echosieve;

// Per second: the frames, and the bytes of raw samples that they hold.
void count_lines(benchmark::State& state, std::size_t frames, std::size_t bytes) {
    const auto rounds = static_cast<double>(state.iterations());
    state.counters["frames/s"] =
        benchmark::Counter(rounds * static_cast<double>(frames), benchmark::Counter::kIsRate);
    state.counters["bytes/s"] =
        benchmark::Counter(rounds * static_cast<double>(bytes), benchmark::Counter::kIsRate);
}

void copy_lines(benchmark::State& state) {
    const auto lines = bench::lines<std::int16_t>(static_cast<std::size_t>(state.range(0)));
    std::vector<std::int16_t> out(lines.values().size());
    for (auto _ : state) {
        std::memcpy(out.data(), lines.values().data(), lines.values().size_bytes());
        benchmark::DoNotOptimize(out.data());
        benchmark::ClobberMemory();
    }
    count_lines(state, lines.frames(), lines.values().size_bytes());
}
BENCHMARK(copy_lines)->Arg(1)->Arg(10000);

// One frame again and again, then more frames than any cache holds.
template <class R, class T>
void condition_lines(benchmark::State& state) {
    const auto lines = bench::lines<T>(static_cast<std::size_t>(state.range(0)));
    const auto view = lines.view();
    Basebander<R> basebander(bench::line_settings, lines.samples());
    std::vector<std::complex<R>> out(basebander.grid().count * lines.frames());
    for (auto _ : state) {
        for (std::size_t i = 0; i < lines.frames(); ++i) {
            basebander.process(view[i], std::span(out).subspan(i * basebander.grid().count,
                                                               basebander.grid().count));
        }
        benchmark::DoNotOptimize(out.data());
        benchmark::ClobberMemory();
    }
    count_lines(state, lines.frames(), lines.values().size_bytes());
}
BENCHMARK(condition_lines<float, std::int16_t>)->Arg(1)->Arg(10000);
BENCHMARK(condition_lines<double, std::int16_t>)->Arg(1)->Arg(10000);
BENCHMARK(condition_lines<float, float>)->Arg(1);

template <class R>
void check_lines(benchmark::State& state) {
    const auto lines = bench::lines<std::int16_t>(static_cast<std::size_t>(state.range(0)));
    const auto baseband = to_baseband<R>(lines.view(), bench::line_settings);
    for (auto _ : state) {
        benchmark::DoNotOptimize(check_frames(lines.view(), baseband));
    }
    count_lines(state, lines.frames(), lines.values().size_bytes());
}
BENCHMARK(check_lines<float>)->Arg(4000)->Unit(benchmark::kMillisecond);
BENCHMARK(check_lines<double>)->Arg(4000)->Unit(benchmark::kMillisecond);

}  // namespace
