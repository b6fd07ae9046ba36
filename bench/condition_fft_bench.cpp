// What conditioning a line costs another way: one transform by FFTW, the band times the filter's
// gain, and a short transform back at the lower rate.
#include <benchmark/benchmark.h>
#include <fftw3.h>

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <numbers>
#include <vector>

#include "echosieve/condition/detail/fir.hpp"
#include "lines.hpp"

namespace {

// 34 * 120: the line, half a filter on both sides, and every 34th sample kept.
constexpr int length = 4080;
constexpr int kept = 120;

struct Free {
    void operator()(void* memory) const { fftwf_free(memory); }
};
template <class T>
using Memory = std::unique_ptr<T[], Free>;

void condition_lines_by_fft(benchmark::State& state) {
    constexpr std::size_t frames = 16;
    const auto lines = bench::lines<std::int16_t>(frames);
    const Memory<float> in(fftwf_alloc_real(length));
    const Memory<fftwf_complex> spectrum(fftwf_alloc_complex(length / 2 + 1));
    const Memory<fftwf_complex> out(fftwf_alloc_complex(kept));
    const fftwf_plan forward =
        fftwf_plan_dft_r2c_1d(length, in.get(), spectrum.get(), FFTW_MEASURE);
    const fftwf_plan back =
        fftwf_plan_dft_1d(kept, out.get(), out.get(), FFTW_BACKWARD, FFTW_MEASURE);
    std::vector<float> gain(kept, 0);  // the low-pass's, bin by bin
    const Eigen::ArrayXd taps = echosieve::low_pass_taps(501, 1.1e6, 125e6);
    for (int k = 0; k < kept; ++k) {
        const double turns = static_cast<double>(k - kept / 2) / length;
        for (Eigen::Index n = 0; n < taps.size(); ++n) {
            gain[static_cast<std::size_t>(k)] += static_cast<float>(
                2 * taps[n] / length *
                std::cos(2 * std::numbers::pi * turns * static_cast<double>(n - 250)));
        }
    }
    const int centre = static_cast<int>(4e6 / 125e6 * length + 0.5);
    std::size_t next = 0;
    for (auto _ : state) {
        const auto line = lines[next++ % frames];
        for (std::size_t n = 0; n < line.size(); ++n) {
            in[n] = static_cast<float>(line[n]);
        }
        std::fill(in.get() + line.size(), in.get() + length, 0.0F);
        fftwf_execute(forward);
        for (int k = 0; k < kept; ++k) {
            const int bin = (k + kept / 2) % kept;
            const auto to = static_cast<std::size_t>(bin);
            const auto from = static_cast<std::size_t>(centre - kept / 2 + k);
            out[to][0] = gain[static_cast<std::size_t>(k)] * spectrum[from][0];
            out[to][1] = gain[static_cast<std::size_t>(k)] * spectrum[from][1];
        }
        fftwf_execute(back);
        benchmark::DoNotOptimize(out.get());
        benchmark::ClobberMemory();
    }
    state.counters["frames/s"] =
        benchmark::Counter(static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
    state.counters["bytes/s"] = benchmark::Counter(
        static_cast<double>(state.iterations()) * bench::line_samples * sizeof(std::int16_t),
        benchmark::Counter::kIsRate);
    fftwf_destroy_plan(forward);
    fftwf_destroy_plan(back);
}
BENCHMARK(condition_lines_by_fft);

}  // namespace
