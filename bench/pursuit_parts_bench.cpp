// The fast path by its parts, how its cost grows, and Gram pursuit over a dictionary.
#include <benchmark/benchmark.h>

#include <Eigen/Core>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "count.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/condition/gate_baseband.hpp"
#include "echosieve/core/detail/lanes.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "echosieve/pursuit/fast_pursuit.hpp"
#include "echosieve/pursuit/gram_pursuit.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "frames.hpp"

namespace {

using namespace echosieve;
using bench::count;
using detail::LaneArray;
using detail::LanePoint;

// A conditioned frame of ten echoes in lanes, and what the fast path is made of for its grid.
template <class R>
struct Parts {
    Parts()
        : basebander(bench::gate, bench::sensor),
          grid(basebander.grid()),
          bounds(detail::grid_bounds(grid, bench::box())),
          lanes(detail::sample_factors<R>(grid, basebander.weights())),
          residual(lanes.stored()),
          atom(residual),
          trial(residual) {
        const auto samples = bench::conditioned(basebander, bench::crowded_frame(1));
        for (std::size_t n = 0; n < grid.count; ++n) {
            residual.real()[n] = lanes.factors()[n] * samples[n].real();
            residual.imag()[n] = lanes.factors()[n] * samples[n].imag();
        }
    }
    // One of 64 arrivals over the gate.
    [[nodiscard]] LanePoint point(std::size_t k) const {
        const double part = (static_cast<double>(k % 64) + 0.5) / 64;
        return {bounds.arrival.lower + part * bounds.arrival.width(), 0.01, bounds.decay.centre()};
    }

    GateBasebander<R> basebander;
    SamplingGrid grid;
    detail::GridBounds bounds;
    detail::LaneGrid<R> lanes;
    LaneArray<R> residual;
    LaneArray<R> atom;
    LaneArray<R> trial;
};

// All arrivals of the grid dictionary against what is left. A tap is 4 multiply-adds for two atoms.
template <class R>
void lane_scan(benchmark::State& state) {
    Parts<R> parts;
    detail::LaneScan<R> scan(parts.lanes, parts.bounds);
    for (auto _ : state) {
        benchmark::DoNotOptimize(scan.best(parts.lanes, parts.residual));
    }
    count(state, "atoms/s", static_cast<double>(scan.atoms()));
    count(state, "flop/s", 4.0 * static_cast<double>(scan.atoms() * scan.taps()));
}
BENCHMARK(lane_scan<float>);
BENCHMARK(lane_scan<double>);

// One evaluation: the atom's samples and the eleven sums of a Newton step. 38 operations a sample
// (phase 6, envelope 4 and an exponential counted as 10, sums 18) over all that are stored.
template <class R>
void lane_moments(benchmark::State& state) {
    Parts<R> parts;
    std::size_t next = 0;
    for (auto _ : state) {
        benchmark::DoNotOptimize(
            parts.lanes.moments(parts.point(next++), parts.residual, parts.atom));
    }
    count(state, "evaluations/s", 1);
    count(state, "flop/s", 38.0 * static_cast<double>(parts.grid.count));
}
BENCHMARK(lane_moments<float>);
BENCHMARK(lane_moments<double>);

template <class R>
void lane_polish(benchmark::State& state) {
    Parts<R> parts;
    std::size_t next = 0;
    for (auto _ : state) {
        benchmark::DoNotOptimize(detail::polish<R>(parts.point(next++), parts.lanes,
                                                   {parts.bounds, PolishOptions{}.evaluations - 1},
                                                   {parts.residual, parts.atom, parts.trial}));
    }
    count(state, "atoms/s", 1);
}
BENCHMARK(lane_polish<float>);
BENCHMARK(lane_polish<double>);

// Ten atoms made orthonormal and taken out. Products of n complex numbers cost 8 n operations: each
// atom two by each before it, three more of its own, and two energies of 4 n.
template <class R>
void lane_basis(benchmark::State& state) {
    constexpr std::size_t atoms = 10;
    Parts<R> parts;
    std::vector<LaneArray<R>> all(atoms, parts.atom);
    for (std::size_t k = 0; k < atoms; ++k) {
        static_cast<void>(parts.lanes.moments(parts.point(6 * k + 3), parts.residual, all[k]));
    }
    detail::LaneBasis<R> basis(parts.lanes.stored(), atoms);
    for (auto _ : state) {
        basis.start(parts.residual);
        for (const LaneArray<R>& atom : all) {
            if (basis.admit(atom)) {
                benchmark::DoNotOptimize(basis.take());
            }
        }
    }
    const auto n = static_cast<double>(parts.grid.count);
    count(state, "atoms/s", atoms);
    count(state, "flop/s", n * (16.0 * atoms * (atoms - 1) / 2 + (24.0 + 8) * atoms));
}
BENCHMARK(lane_basis<float>);
BENCHMARK(lane_basis<double>);

// The whole pursuit over gates of range(0) raw samples with range(1) echoes asked for.
void fast_pursuit_of_size(benchmark::State& state) {
    constexpr std::size_t frames = 32;
    SamplingGrid gate = bench::gate;
    gate.count = static_cast<std::size_t>(state.range(0));
    const auto atoms = static_cast<std::size_t>(state.range(1));
    const GaborBox box = GaborBox::around(bench::sensor, 0.10, {gate.start_time, gate.end_time()});
    GateBasebander<float> basebander(gate, bench::sensor);
    std::vector<std::vector<std::complex<float>>> all;
    for (std::size_t k = 0; k < frames; ++k) {
        RandomStream stream(k, 5);
        std::vector<double> raw(gate.count);
        for (double& x : raw) {
            x = bench::noise * stream.normal();
        }
        for (std::size_t i = 0; i < atoms; ++i) {
            const double arrival = gate.time(stream.uniform() * static_cast<double>(gate.count));
            const double frequency = 4e6 * (0.9 + 0.2 * stream.uniform());
            add(Echo<Gabor<double>>{{arrival, frequency, 1e6}, 0.2 + 0.8 * stream.uniform()}, gate,
                std::span<double>(raw));
        }
        all.push_back(bench::conditioned(basebander, raw));
    }
    FastPursuit<float> pursuit(basebander.grid(), box, {.atoms = atoms, .polish = {}, .stop = {}},
                               basebander.weights());
    std::size_t next = 0;
    for (auto _ : state) {
        benchmark::DoNotOptimize(&pursuit.run(all[next++ % frames]));
        benchmark::ClobberMemory();
    }
    count(state, "frames/s", 1);
}
BENCHMARK(fast_pursuit_of_size)
    ->Args({160, 10})
    ->Args({325, 10})
    ->Args({650, 10})
    ->Args({1300, 10})
    ->Args({2600, 10})
    ->Args({650, 1})
    ->Args({650, 2})
    ->Args({650, 5})
    ->Args({650, 20})
    ->Args({650, 40});

// One echo by a swarm of range(0) particles, 100 iterations, on the conditioned gate.
void swarm_of_size(benchmark::State& state) {
    GateBasebander<double> basebander(bench::gate, bench::sensor);
    const auto samples = bench::conditioned(basebander, bench::crowded_frame(1));
    const Signal<std::complex<double>> signal{samples, basebander.grid()};
    const GaborBox box = bench::box();
    Swarm swarm;
    swarm.particles = static_cast<std::size_t>(state.range(0));
    swarm.iterations = 100;
    std::size_t seed = 0;
    for (auto _ : state) {
        benchmark::DoNotOptimize(pursue(signal, box, Orthogonal{1}, swarm, seed++));
    }
    count(state, "evaluations/s", 100.0 * static_cast<double>(state.range(0)));
}
BENCHMARK(swarm_of_size)
    ->Arg(10)
    ->Arg(20)
    ->Arg(50)
    ->Arg(100)
    ->Arg(200)
    ->Unit(benchmark::kMicrosecond);

// range(0) samples, range(1) columns, ten atoms a signal.
template <class R>
void gram_pursuit(benchmark::State& state) {
    constexpr Eigen::Index signals = 64;
    using Matrix = Eigen::Matrix<R, Eigen::Dynamic, Eigen::Dynamic>;
    RandomStream stream(3);
    const auto normal = [&] { return static_cast<R>(stream.normal()); };
    Matrix columns = Matrix::NullaryExpr(state.range(0), state.range(1), normal);
    columns.colwise().normalize();
    const Matrix all = Matrix::NullaryExpr(state.range(0), signals, normal);
    GramPursuit<R> pursuit(columns, 10);
    GramPursuitResult<R> result;
    for (auto _ : state) {
        pursuit.run(all, {}, result);
        benchmark::DoNotOptimize(result.coefficients.data());
    }
    count(state, "signals/s", static_cast<double>(signals));
}
BENCHMARK(gram_pursuit<float>)->Args({42, 1050})->Unit(benchmark::kMicrosecond);
BENCHMARK(gram_pursuit<double>)
    ->Args({42, 262})
    ->Args({42, 525})
    ->Args({42, 1050})
    ->Args({42, 2100})
    ->Args({42, 4200})
    ->Unit(benchmark::kMicrosecond);

}  // namespace
