// Phasors of many delays at evenly spaced frequencies.
#pragma once

#include <complex>
#include <cstddef>
#include <span>

#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/instruction_set.hpp"

// Compiled: link echosieve::kernels.

namespace echosieve {

// Symbols
//   tau_i delay [s];   w_j = w_0 + j dw angular frequency of bin j [rad/s];   eps = 2^-52
//   p_ij = exp(-i w_j tau_i)
//
// One sine and cosine of w_0 tau_i and of dw tau_i, then p_i,j+1 = p_ij exp(-i dw tau_i), with a
// sine and cosine again every 64 bins. Each product adds sqrt(5) / 2 eps at most (Brent, Percival
// and Zimmermann 2007), and the turn itself is off by eps and by what rounds dw tau_i:
//   |error| <= eps (2 + 2.2 (j mod 64) + (|w_0| + 3 j |dw|) |tau_i|)
// which is below 1e-12 while the angles stay below 1000 rad.

/// Even row of angular frequencies [rad/s].
struct FrequencyRow {
    double first = 0;
    double step = 0;
    std::size_t bins = 0;
};

/// Largest |w tau| [rad], for w the first frequency, the step, and the last frequency.
inline constexpr double largest_phasor_angle = 1e6;

/// Writes exp(-i w_j tau_i) to out[i + n j], n the number of delays [s]: column-major, a column a
/// bin. The same bits with every instruction set. Throws InvalidInput unless `out` has n times
/// `bins` numbers, all numbers are finite, the angles within `largest_phasor_angle`, and the set is
/// available. Allocates nothing.
ECHOSIEVE_API void write_phasors(std::span<const double> delays, const FrequencyRow& frequencies,
                                 std::span<std::complex<double>> out,
                                 InstructionSet set = default_instruction_set());

}  // namespace echosieve
