// The echoes of layers that move, added up.
#include "moved_layers_kernel.hpp"

#include "layer_walk.hpp"

namespace echosieve::kernels {
namespace ECHOSIEVE_KERNEL_SET {

void add_moved_layers(const MovedLayersTask& task) noexcept {
    constexpr std::size_t lanes = Doubles::size;
    const bool by_itself = task.own != nullptr && task.own_layers > 0;
    for (std::size_t i = 0; i < task.frames; i += lanes) {
        const std::size_t left = task.frames - i;
        const std::size_t count = left < lanes ? left : lanes;
        start_walk(task.delays + i, task.frames, task.layers, count, task.first, task.step,
                   task.work);
        for (std::size_t j = 0; j < task.bins; ++j) {
            const std::size_t column = 2 * (j * task.frames + i);
            const double* const spectra = task.spectra + 2 * j * task.layers;
            Complex sum;
            for (std::size_t k = 0; k < task.layers; ++k) {
                add_scaled(sum, spectra + 2 * k, walk_on(task.work + k * walk_registers * lanes));
                if (by_itself && k + 1 == task.own_layers) {
                    sum = product(sum, gather(task.own + column, count));
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
