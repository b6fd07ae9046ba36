// What the kernel of moving layers' echoes works on.
#pragma once

#include "kernels/choose.hpp"
#include "walked_layers.hpp"

namespace echosieve::kernels {

/// out(i, f) += sum_k spectra_k(f) E_k, the first `own_layers` terms times own(i, f).
struct MovedLayersTask {
    WalkedLayers moved;
    const double* spectra;  ///< [layers] complex of each bin
    double* out;            ///< [frames x bins] complex, column-major
};

ECHOSIEVE_DECLARE_KERNEL(add_moved_layers, MovedLayersTask)

}  // namespace echosieve::kernels
