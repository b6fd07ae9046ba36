// What the kernel of turned sums works on.
#pragma once

#include <cstddef>

#include "kernels/choose.hpp"

namespace echosieve::kernels {

/// table[2 stride k + j] and table[2 stride k + stride + j]: real and imaginary part of
/// sum_i values(i, j) turn(i, j)^k.
struct TurnedSumTask {
    const double* values;  ///< [frames x bins] complex, column-major
    const double* turn;    ///< [frames x bins] complex, column-major
    std::size_t frames;
    std::size_t bins;
    std::size_t count;   ///< of k
    std::size_t stride;  ///< >= bins
    double* table;
    double* work;  ///< [16 x count]
};

ECHOSIEVE_DECLARE_KERNEL(turn_sums, TurnedSumTask)

}  // namespace echosieve::kernels
