// Phasors of layers that move, walked from one frequency to the next.
#pragma once

#include "kernels/complex_lanes.hpp"
#include "kernels/sine_cosine.hpp"
#include "walked_layers.hpp"

namespace echosieve::kernels {
namespace {  // NOLINT: on purpose, see vectors.hpp

/// Phasors of a layer and what turns them to the next bin, in memory: 4 registers.
inline constexpr std::size_t walk_registers = 4;

/// The phasors of `count` frames from frame i on at the first bin, of every layer, and the turn.
ECHOSIEVE_INLINE void start_walk(const WalkedLayers& moved, std::size_t i, std::size_t count) {
    double* work = moved.work;
    for (std::size_t k = 0; k < moved.layers; ++k, work += walk_registers * lanes) {
        const Doubles delay = load_first(moved.delays + k * moved.frames + i, count);
        const auto at = sine_cosine(moved.first * delay);
        const auto turn = sine_cosine(moved.step * delay);
        store(at.cosine, work);
        store(-at.sine, work + lanes);
        store(turn.cosine, work + 2 * lanes);
        store(-turn.sine, work + 3 * lanes);
    }
}

/// A layer's phasors at this bin; the work goes on to the next one.
ECHOSIEVE_INLINE Complex walk_on(double* work) {
    const Complex e{load(work), load(work + lanes)};
    const Complex turn{load(work + 2 * lanes), load(work + 3 * lanes)};
    const Complex next = product(e, turn);
    store(next.real, work);
    store(next.imag, work + lanes);
    return e;
}

}  // namespace
}  // namespace echosieve::kernels
