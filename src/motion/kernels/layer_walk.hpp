// Phasors of layers that move, walked from one frequency to the next.
#pragma once

#include "kernels/complex_lanes.hpp"
#include "kernels/sine_cosine.hpp"

namespace echosieve::kernels {
namespace {  // NOLINT: on purpose, see vectors.hpp

/// Phasors of a layer and what turns them to the next bin, in memory: 4 registers.
inline constexpr std::size_t walk_registers = 4;

/// exp(-i first delay) of `count` frames of every layer, its delays `stride` apart, and the turn.
ECHOSIEVE_INLINE void start_walk(const double* delays, std::size_t stride, std::size_t layers,
                                 std::size_t count, double first, double step, double* work) {
    constexpr std::size_t lanes = Doubles::size;
    for (std::size_t k = 0; k < layers; ++k, work += walk_registers * lanes) {
        const Doubles delay = load_first(delays + k * stride, count);
        const auto at = sine_cosine(first * delay);
        const auto turn = sine_cosine(step * delay);
        store(at.cosine, work);
        store(-at.sine, work + lanes);
        store(turn.cosine, work + 2 * lanes);
        store(-turn.sine, work + 3 * lanes);
    }
}

/// A layer's phasors at this bin; the work goes on to the next one.
ECHOSIEVE_INLINE Complex walk_on(double* work) {
    constexpr std::size_t lanes = Doubles::size;
    const Complex e{load(work), load(work + lanes)};
    const Complex turn{load(work + 2 * lanes), load(work + 3 * lanes)};
    const Complex next = product(e, turn);
    store(next.real, work);
    store(next.imag, work + lanes);
    return e;
}

}  // namespace
}  // namespace echosieve::kernels
