#include "motion/layers/moved_layers.hpp"

#include <Eigen/Core>
#include <cstddef>

#include "echosieve/core/instruction_set.hpp"
#include "echosieve/kernels/detail/phasors.hpp"
#include "motion/kernels/moved_layers_kernel.hpp"

namespace echosieve {

kernels::WalkedLayers walked_layers(const Eigen::ArrayXXd& delays, const GateSpectrum& gate,
                                    Eigen::ArrayXd& work) {
    constexpr Eigen::Index walked_registers = 4;  // of a layer: phasor and turn
    work.resize(walked_registers * kernels::widest_register * delays.cols());
    const FrequencyRow row = gate.angular();
    kernels::WalkedLayers out{};
    out.delays = delays.data();
    out.frames = static_cast<std::size_t>(delays.rows());
    out.layers = static_cast<std::size_t>(delays.cols());
    out.first = row.first;
    out.step = row.step;
    out.bins = row.bins;
    out.work = work.data();
    return out;
}

void add_moved_layers(Eigen::ArrayXXcd& to, const GateSpectrum& gate, const LayerTimes& times,
                      const MovedLayers& moved) {
    const auto layers = static_cast<Eigen::Index>(moved.shares.size());
    eigen_assert(moved.spectra.rows() == layers && moved.spectra.cols() == gate.bins());
    Eigen::ArrayXXd delays(times.pulse.size(), layers);
    for (Eigen::Index k = 0; k < layers; ++k) {
        delays.col(k) = layer_delays(times, moved.shares[static_cast<std::size_t>(k)]);
    }
    Eigen::ArrayXd work;
    kernels::MovedLayersTask task{};
    task.moved = walked_layers(delays, gate, work);
    task.spectra = reinterpret_cast<const double*>(moved.spectra.data());
    if (moved.own.size() > 0) {
        task.moved.own = reinterpret_cast<const double*>(moved.own.data());
        task.moved.own_layers = moved.own_layers;
    }
    task.out = reinterpret_cast<double*>(to.data());
    kernels::add_moved_layers_of(default_instruction_set())(task);
}

}  // namespace echosieve
