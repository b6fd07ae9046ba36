// Atoms: samples written a second, and the price of a closed-form inner product.
#include <benchmark/benchmark.h>

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/inner_product.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/grid.hpp"

namespace {

using echosieve::Gabor;

// The arrival varies from call to call, so that nothing is computed ahead of the loop.
constexpr std::size_t arrivals = 64;

template <class R>
std::vector<Gabor<R>> atoms_in(const echosieve::SamplingGrid& grid) {
    std::vector<Gabor<R>> atoms(arrivals);
    for (std::size_t i = 0; i < arrivals; ++i) {
        const double part = (static_cast<double>(i) + 0.5) / static_cast<double>(arrivals);
        atoms[i] = {static_cast<R>(grid.time(part * static_cast<double>(grid.count))), R{4e6},
                    R{1e6}};
    }
    return atoms;
}

// One atom onto a gate of range(0) samples at 8 MHz, in baseband.
template <class R>
void sample_atom(benchmark::State& state) {
    const echosieve::SamplingGrid grid{.start_time = 20e-6,
                                       .sampling_rate = 8e6,
                                       .count = static_cast<std::size_t>(state.range(0)),
                                       .mixing_frequency = 4e6};
    const std::vector<Gabor<R>> atoms = atoms_in<R>(grid);
    std::vector<std::complex<R>> out(grid.count);
    std::size_t next = 0;
    for (auto _ : state) {
        echosieve::sample(atoms[next], grid, std::span<std::complex<R>>(out));
        benchmark::DoNotOptimize(out.data());
        benchmark::ClobberMemory();
        next = (next + 1) % arrivals;
    }
    state.counters["samples/s"] = benchmark::Counter(
        static_cast<double>(state.iterations()) * static_cast<double>(grid.count),
        benchmark::Counter::kIsRate);
}
BENCHMARK(sample_atom<float>)->Arg(40)->Arg(160);
BENCHMARK(sample_atom<double>)->Arg(40)->Arg(160);

template <class R>
void inner_product_of_atoms(benchmark::State& state) {
    const echosieve::SamplingGrid grid{.start_time = 20e-6, .sampling_rate = 8e6, .count = 40};
    const std::vector<Gabor<R>> atoms = atoms_in<R>(grid);
    std::size_t next = 0;
    for (auto _ : state) {
        const std::size_t other = (next + 7) % arrivals;
        benchmark::DoNotOptimize(echosieve::inner_product(atoms[next], atoms[other]));
        next = (next + 1) % arrivals;
    }
    state.counters["products/s"] =
        benchmark::Counter(static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
}
BENCHMARK(inner_product_of_atoms<float>);
BENCHMARK(inner_product_of_atoms<double>);

}  // namespace
