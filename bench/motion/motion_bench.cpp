// Echoes and motion: delays in closed form, joint fits, layers, and a small recording followed.
#include <benchmark/benchmark.h>

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/correlate/delay.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "echosieve/pursuit/joint_fit.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "frames.hpp"
#include "motion/layers/layer_fit.hpp"
#include "motion/layers/layers.hpp"
#include "motion/layers/turned_sums.hpp"

namespace {

using namespace echosieve;
using Complex = std::complex<double>;

void count(benchmark::State& state, const char* what, double times) {
    state.counters[what] = benchmark::Counter(static_cast<double>(state.iterations()) * times,
                                              benchmark::Counter::kIsRate);
}

std::vector<Echo<Gabor<double>>> echoes(std::size_t number, double later) {
    RandomStream stream(5);
    std::vector<Echo<Gabor<double>>> out;
    for (std::size_t k = 0; k < number; ++k) {
        const double arrival = 21e-6 + 0.4e-6 * static_cast<double>(k) + later;
        out.push_back({{arrival, 4e6 * (0.95 + 0.1 * stream.uniform()), 1e6},
                       std::polar(1.0, 6.28 * stream.uniform())});
    }
    return out;
}

// Sums of range(0) echoes, 37 ns apart.
void delay_of_echoes(benchmark::State& state) {
    const auto first = echoes(static_cast<std::size_t>(state.range(0)), 0);
    const auto second = echoes(static_cast<std::size_t>(state.range(0)), 37e-9);
    const std::span<const Echo<Gabor<double>>> x(first);
    const std::span<const Echo<Gabor<double>>> y(second);
    for (auto _ : state) {
        benchmark::DoNotOptimize(delay_between(x, y));
    }
    count(state, "delays/s", 1);
}
BENCHMARK(delay_of_echoes)->Arg(1)->Arg(3)->Arg(10);

void cross_correlation_of_echoes(benchmark::State& state) {
    const auto first = echoes(static_cast<std::size_t>(state.range(0)), 0);
    const std::span<const Echo<Gabor<double>>> x(first);
    double lag = 0;
    for (auto _ : state) {
        lag = lag > 1e-7 ? 0 : lag + 1e-9;
        benchmark::DoNotOptimize(cross_correlation(x, x, lag));
    }
    count(state, "products/s", static_cast<double>(state.range(0) * state.range(0)));
}
BENCHMARK(cross_correlation_of_echoes)->Arg(1)->Arg(10);

// All echoes of a gate of 44 complex samples at once, from some way off.
void joint_fit_of_echoes(benchmark::State& state) {
    const SamplingGrid grid{20e-6, 125e6 / 15, 44, 4e6};
    const auto number = static_cast<std::size_t>(state.range(0));
    const auto truth = echoes(number, 0);
    std::vector<Complex> samples(grid.count);
    RandomStream stream(6);
    for (const auto& echo : truth) {
        add(echo, grid, std::span<Complex>(samples));
    }
    for (Complex& x : samples) {
        x += 0.03 * Complex(stream.normal(), stream.normal());
    }
    std::vector<Gabor<double>> start;
    for (const auto& echo : truth) {
        start.push_back({echo.atom.arrival + 20e-9, 4e6, 1e6});
    }
    const std::vector<AtomBox<Gabor<double>>> boxes(number, bench::box());
    for (auto _ : state) {
        benchmark::DoNotOptimize(fit_echoes(samples, grid, start, boxes));
    }
    count(state, "fits/s", 1);
}
BENCHMARK(joint_fit_of_echoes)->Arg(1)->Arg(3)->Arg(6)->Unit(benchmark::kMicrosecond);

// Two layers over range(0) frames, seven frequencies.
struct Layers {
    explicit Layers(Eigen::Index frames)
        : times{Eigen::ArrayXd(frames), Eigen::ArrayXd(frames), Eigen::ArrayXd::Ones(frames)} {
        for (Eigen::Index i = 0; i < frames; ++i) {
            const double t = static_cast<double>(i) / 1000;
            times.pulse[i] = 0.5 * std::sin(2 * std::numbers::pi * 1.3 * t);
            times.bulk[i] = 150e-6 * std::sin(2 * std::numbers::pi * 0.3 * t);
        }
        gate.grid = {15e-6, 3.6e6, 14, 4e6};
        gate.frequencies = Eigen::ArrayXd::LinSpaced(7, 3.2e6, 4.8e6);
        gate.values.setZero(frames, gate.bins());
        for (const LayerShare& share : {LayerShare{-180e-6, 1.0}, LayerShare{-20e-6, 1.0}}) {
            gate.values += layer_phasors(gate, times, share);
        }
        RandomStream stream(2);
        for (Complex& y : gate.values.reshaped()) {
            y += 0.1 * Complex(stream.normal(), stream.normal());
        }
    }
    GateSpectrum gate;
    LayerTimes times;
};

void layers_fit(benchmark::State& state) {
    const Layers made(state.range(0));
    for (auto _ : state) {
        benchmark::DoNotOptimize(fit_layers(made.gate, made.times, {{-150e-6, 1.0}, {0, 1.0}}));
    }
    count(state, "frames/s", static_cast<double>(state.range(0)));
}
BENCHMARK(layers_fit)->Arg(500)->Arg(1000)->Arg(2000)->Arg(4000)->Unit(benchmark::kMillisecond);

// Each of 200 shares is one complex product and one sum a frame and frequency: 8 operations.
void sums_turned(benchmark::State& state) {
    const Layers made(state.range(0));
    const Eigen::ArrayXXcd turn = layer_phasors(made.gate, made.times, {5e-6, 0});
    constexpr Eigen::Index shares = 200;
    for (auto _ : state) {
        benchmark::DoNotOptimize(TurnedSums(made.gate.values, turn, shares));
    }
    const auto terms = static_cast<double>(made.gate.values.size() * shares);
    count(state, "terms/s", terms);
    count(state, "flop/s", 8 * terms);
}
BENCHMARK(sums_turned)->Arg(4000)->Unit(benchmark::kMillisecond);

// 2 s at 40 MHz and 500 frames a second: range(0) of them on range(1) threads.
void follow_recordings(benchmark::State& state) {
    Scene::Options options;
    options.duration = 2;
    options.settings.sampling_rate = 40e6;
    options.settings.frame_rate = 500;
    std::vector<Recording> recordings;
    for (std::int64_t k = 0; k < state.range(0); ++k) {
        const auto seed = static_cast<std::uint64_t>(k + 1);
        recordings.push_back(render<std::int16_t>(Scene(options, seed), seed).recording);
    }
    bool followed = true;
    for (auto _ : state) {
        const std::vector<ArteryMotion> motions =
            track_arteries(recordings, {}, static_cast<std::size_t>(state.range(1)));
        followed = std::ranges::all_of(motions, &ArteryMotion::usable);
    }
    if (!followed) {  // giving up takes less time
        state.SkipWithError("no artery was followed");
    }
    count(state, "recording s/s", 2.0 * static_cast<double>(state.range(0)));
}
BENCHMARK(follow_recordings)
    ->Args({1, 1})
    ->Args({2, 1})
    ->Args({2, 2})
    ->MeasureProcessCPUTime()
    ->UseRealTime()
    ->Iterations(1)
    ->Unit(benchmark::kMillisecond);

}  // namespace
