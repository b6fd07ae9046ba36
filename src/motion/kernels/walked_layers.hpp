// Layers that move, as kernels walk them from one frequency to the next.
#pragma once

#include <cstddef>

namespace echosieve::kernels {

/// Per frame i and bin f: E_k = exp(-i (first + f step) delays_k(i)).
struct WalkedLayers {
    const double* delays;  ///< [frames] of each layer, `frames` apart
    std::size_t frames;
    std::size_t layers;
    double first;  ///< angular frequencies
    double step;
    std::size_t bins;
    const double* own;  ///< turns the first `own_layers`, [frames x bins] complex; null: 1
    std::size_t own_layers;
    double* work;  ///< [4 x 8] of each layer
};

}  // namespace echosieve::kernels
