// What the kernel of layers' sums works on.
#pragma once

#include <cstddef>

#include "kernels/choose.hpp"

namespace echosieve::kernels {

/// Delays and weights as rows of `stride` numbers, whole registers of every set, 0 beyond the
/// frames. Six weights: w, w p, w q, w p p, w p q, w q q.
struct LayerSumTask {
    const double* values;   ///< [frames x bins] complex, column-major
    const double* delays;   ///< [layers x stride], of each layer
    const double* weights;  ///< [6 x stride]
    std::size_t frames;
    std::size_t stride;
    std::size_t layers;
    double first;  ///< angular frequencies
    double step;
    std::size_t bins;
    double* work;         ///< [4 x layers x stride]
    double* projections;  ///< [bins x layers x 3] complex
    double* pairs;        ///< [bins x layers (layers - 1) / 2 x 6] complex
};

ECHOSIEVE_DECLARE_KERNEL(sum_layers, LayerSumTask)

}  // namespace echosieve::kernels
