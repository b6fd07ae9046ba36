// What the phasor kernel works on.
#pragma once

#include <cstddef>

#include "choose.hpp"

namespace echosieve::kernels {

/// out[2 (i + frames j)], and the number after it: real and imaginary part of
/// exp(-i (first + j step) delays[i]).
struct PhasorTask {
    const double* delays;
    std::size_t frames;
    double first;
    double step;
    std::size_t bins;
    double* out;
};

/// Bins from one sine and cosine to the next.
inline constexpr std::size_t bins_between_restarts = 64;

ECHOSIEVE_DECLARE_KERNEL(write_phasors, PhasorTask)

}  // namespace echosieve::kernels
