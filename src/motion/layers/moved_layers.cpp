#include "motion/layers/moved_layers.hpp"

#include <Eigen/Core>
#include <cstddef>

#include "echosieve/core/instruction_set.hpp"
#include "echosieve/kernels/detail/phasors.hpp"
#include "motion/kernels/moved_layers_kernel.hpp"

namespace echosieve {

void add_moved_layers(Eigen::ArrayXXcd& to, const GateSpectrum& gate, const LayerTimes& times,
                      const MovedLayers& moved) {
    const auto layers = static_cast<Eigen::Index>(moved.shares.size());
    eigen_assert(moved.spectra.rows() == layers && moved.spectra.cols() == gate.bins());
    Eigen::ArrayXXd delays(times.pulse.size(), layers);
    for (Eigen::Index k = 0; k < layers; ++k) {
        delays.col(k) = layer_delays(times, moved.shares[static_cast<std::size_t>(k)]);
    }
    Eigen::ArrayXd work(4 * kernels::widest_register * layers);
    const FrequencyRow row = gate.angular();
    kernels::MovedLayersTask task{};
    task.delays = delays.data();
    task.frames = static_cast<std::size_t>(delays.rows());
    task.layers = moved.shares.size();
    task.first = row.first;
    task.step = row.step;
    task.bins = row.bins;
    task.spectra = reinterpret_cast<const double*>(moved.spectra.data());
    task.own = moved.own.size() > 0 ? reinterpret_cast<const double*>(moved.own.data()) : nullptr;
    task.own_layers = moved.own_layers;
    task.work = work.data();
    task.out = reinterpret_cast<double*>(to.data());
    kernels::add_moved_layers_of(default_instruction_set())(task);
}

}  // namespace echosieve
