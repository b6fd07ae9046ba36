// Grids, boxes and echoes from a fuzzer's bytes.
#pragma once

#include <complex>
#include <cstddef>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/pursuit/stop.hpp"
#include "input.hpp"
#include "refused.hpp"

namespace echosieve::fuzz {

/// Usually `usual` samples at the rate, from 20 us on. At the grid's rate 4 MHz is resolved where
/// the samples are real.
[[nodiscard]] inline SamplingGrid any_grid(FuzzInput& in, std::size_t most, double rate,
                                           double mixing) {
    SamplingGrid grid;
    grid.start_time = in.number(20e-6);
    grid.sampling_rate = in.number(rate);
    grid.count = in.count(0, most);
    grid.mixing_frequency = in.number(mixing);
    return grid;
}

[[nodiscard]] inline Interval any_interval(FuzzInput& in, double middle) {
    const double lower = in.number(0.9 * middle);
    const double upper = in.byte() < 16 ? lower : in.number(1.1 * middle);
    return {lower, upper};
}

template <FittedAtom A>
[[nodiscard]] AtomBox<A> any_box(FuzzInput& in, const SamplingGrid& grid) {
    AtomBox<A> box;
    box.arrival = {in.between(grid.start_time, grid.end_time()),
                   in.between(grid.end_time(), grid.start_time)};
    if (box.arrival.end < box.arrival.begin && in.byte() < 240) {
        std::swap(box.arrival.begin, box.arrival.end);
    }
    box.centre_frequency = any_interval(in, 4e6);
    box.bandwidth = any_interval(in, 1e6);
    if constexpr (std::same_as<A, ChirpedGabor<double>>) {
        box.chirp_rate = any_interval(in, 1e11);
    }
    return box;
}

template <FittedAtom A>
[[nodiscard]] A any_atom(FuzzInput& in, const SamplingGrid& grid) {
    A atom{in.between(grid.start_time, grid.end_time()), in.number(4e6), in.number(1e6)};
    if constexpr (std::same_as<A, ChirpedGabor<double>>) {
        atom.chirp_rate = in.number(1e11);
    }
    return atom;
}

template <FittedAtom A>
[[nodiscard]] Echo<A> any_echo(FuzzInput& in, const SamplingGrid& grid) {
    Echo<A> echo{any_atom<A>(in, grid), {}};
    const double re = in.number(1);
    echo.amplitude = {re, in.number(1)};
    return echo;
}

[[nodiscard]] inline Stop any_stop(FuzzInput& in) {
    Stop stop;
    stop.residual_fraction = in.flag() ? in.between(0, 1) : 0;
    if (in.flag()) {
        stop.false_alarm = FalseAlarm{in.number(0.01), in.between(0, 1)};
    }
    return stop;
}

/// A few echoes in noise, the whole spoilt at times.
template <Sample T>
[[nodiscard]] std::vector<T> any_signal(FuzzInput& in, const SamplingGrid& grid) {
    std::vector<T> out = any_samples<T>(in, grid.count);
    const std::size_t echoes = in.count(0, 3);
    for (std::size_t k = 0; k < echoes; ++k) {
        using R = RealOf<T>;
        const Gabor<double> atom = any_atom<Gabor<double>>(in, grid);
        const Gabor<R> narrow{static_cast<R>(atom.arrival),
                              static_cast<R>(std::clamp(atom.centre_frequency, -1e30, 1e30)),
                              static_cast<R>(std::clamp(atom.bandwidth, 1e-30, 1e30))};
        static_cast<void>(accepted([&] {
            validate(narrow);
            add(Echo<Gabor<R>>{narrow, std::complex<R>(10, 0)}, grid, std::span<T>(out));
        }));
    }
    return out;
}

}  // namespace echosieve::fuzz
