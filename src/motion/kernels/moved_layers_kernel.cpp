// The echoes of layers that move, added up.
#include "moved_layers_kernel.hpp"

#include "layer_walk.hpp"

namespace echosieve::kernels {
namespace ECHOSIEVE_KERNEL_SET {

void add_moved_layers(const MovedLayersTask& task) noexcept {
    const WalkedLayers& moved = task.moved;
    const bool by_itself = moved.own != nullptr && moved.own_layers > 0;
    for (std::size_t i = 0; i < moved.frames; i += lanes) {
        const std::size_t left = moved.frames - i;
        const std::size_t count = left < lanes ? left : lanes;
        start_walk(moved, i, count);
        for (std::size_t j = 0; j < moved.bins; ++j) {
            const std::size_t column = 2 * (j * moved.frames + i);
            const double* const spectra = task.spectra + 2 * j * moved.layers;
            Complex sum;
            for (std::size_t k = 0; k < moved.layers; ++k) {
                add_scaled(sum, spectra + 2 * k, walk_on(moved.work + k * walk_registers * lanes));
                if (by_itself && k + 1 == moved.own_layers) {
                    sum = product(sum, gather(moved.own + column, count));
                }
            }
            double* const to = task.out + column;
            const Complex before = gather(to, count);
            scatter({before.real + sum.real, before.imag + sum.imag}, to, count);
        }
    }
}

}  // namespace ECHOSIEVE_KERNEL_SET
}  // namespace echosieve::kernels
