// What the kernel of the joint motion's sums works on.
#pragma once

#include "kernels/choose.hpp"
#include "walked_layers.hpp"

namespace echosieve::kernels {

/// Per frame and over all bins f:
///   P = sum_k pulse_k(f) E_k, Q = sum_k bulk_k(f) E_k, the first `own_layers` of E_k times own
///   out += w (|P|^2, Re conj(P) Q, |Q|^2, Re conj(P) R, Re conj(Q) R)
struct MotionSumTask {
    WalkedLayers moved;
    const double* pulse;  ///< [layers] complex of each bin
    const double* bulk;   ///< the same
    const double* rest;   ///< R, [frames x bins] complex, column-major
    double weight;
    double* out;  ///< [frames] of each sum, `frames` apart
};

ECHOSIEVE_DECLARE_KERNEL(sum_motion, MotionSumTask)

}  // namespace echosieve::kernels
