// What the kernel of moving layers' echoes works on.
#pragma once

#include <cstddef>

#include "kernels/choose.hpp"

namespace echosieve::kernels {

/// out(i, f) += sum_k spectra_k(f) exp(-i (first + f step) delays_k(i)), the first `own_layers`
/// terms times own(i, f).
struct MovedLayersTask {
    const double* delays;  ///< [frames] of each layer, `frames` apart
    std::size_t frames;
    std::size_t layers;
    double first;  ///< angular frequencies
    double step;
    std::size_t bins;
    const double* spectra;  ///< [layers] complex of each bin
    const double* own;      ///< [frames x bins] complex, column-major; null: 1
    std::size_t own_layers;
    double* work;  ///< [4 x 8] of each layer
    double* out;   ///< [frames x bins] complex, column-major
};

ECHOSIEVE_DECLARE_KERNEL(add_moved_layers, MovedLayersTask)

}  // namespace echosieve::kernels
