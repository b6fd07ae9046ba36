// Samples of decaying oscillations, by recurrence.
#pragma once

#include <complex>
#include <span>

#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/instruction_set.hpp"

// Compiled: link echosieve::kernels.

namespace echosieve {

// Symbols
//   g_n+1 = g_n w_n,  w_n+1 = w_n q:  a Gaussian times an oscillation on even samples, see
//   atoms/detail/recurrence.hpp
//
// L lanes go side by side, L samples at a step, so that over N samples a lane takes N / L steps:
// the error relative to the largest |g| is below (N / L + 2 L)^2 1e-16.

/// g_0, w_0 and q.
struct SampleRecurrence {
    std::complex<double> start;
    std::complex<double> ratio;
    double ratio_ratio = 1;
};

/// out[n] += Re g_n. Allocates nothing. Throws InvalidInput unless all numbers of the recurrence
/// are finite and the set is available.
ECHOSIEVE_API void add_recurrence(const SampleRecurrence& recurrence, std::span<float> out,
                                  InstructionSet set = default_instruction_set());

}  // namespace echosieve
