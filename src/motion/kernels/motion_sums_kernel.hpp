// What the kernel of the joint motion's sums works on.
#pragma once

#include <cstddef>

#include "kernels/choose.hpp"

namespace echosieve::kernels {

/// Per frame and over all bins f, E_k = exp(-i (first + f step) delays_k):
///   P = sum_k pulse_k(f) E_k, Q = sum_k bulk_k(f) E_k, the first `own_layers` of E_k times own
///   out += w (|P|^2, Re conj(P) Q, |Q|^2, Re conj(P) R, Re conj(Q) R)
struct MotionSumTask {
    const double* delays;  ///< [frames] of each layer, `frames` apart
    std::size_t frames;
    std::size_t layers;
    double first;  ///< angular frequencies
    double step;
    std::size_t bins;
    const double* pulse;  ///< [layers] complex of each bin
    const double* bulk;   ///< the same
    const double* own;    ///< [frames x bins] complex, column-major; null: 1
    std::size_t own_layers;
    const double* rest;  ///< R, [frames x bins] complex, column-major
    double weight;
    double* work;  ///< [4 x 8] of each layer
    double* out;   ///< [frames] of each sum, `frames` apart
};

ECHOSIEVE_DECLARE_KERNEL(sum_motion, MotionSumTask)

}  // namespace echosieve::kernels
