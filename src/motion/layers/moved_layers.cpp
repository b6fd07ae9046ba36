#include "motion/layers/moved_layers.hpp"

#include <Eigen/Core>
#include <cstddef>
#include <span>

#include "echosieve/core/instruction_set.hpp"
#include "echosieve/kernels/detail/phasors.hpp"
#include "motion/kernels/moved_layers_kernel.hpp"

namespace echosieve {

void add_moved_layers(Eigen::ArrayXXcd& to, const GateSpectrum& gate, const LayerTimes& times,
                      std::span<const LayerShare> shares, const Eigen::ArrayXXcd& spectra,
                      const Eigen::ArrayXXcd& own, std::size_t own_layers) {
    const auto layers = static_cast<Eigen::Index>(shares.size());
    eigen_assert(spectra.rows() == layers && spectra.cols() == gate.bins());
    Eigen::ArrayXXd delays(times.pulse.size(), layers);
    for (Eigen::Index k = 0; k < layers; ++k) {
        const LayerShare& share = shares[static_cast<std::size_t>(k)];
        delays.col(k) =
            2 / times.sound_speed * (share.pulse * times.pulse + share.bulk * times.bulk);
    }
    Eigen::ArrayXd work(4 * kernels::widest_register * layers);
    const FrequencyRow row = gate.angular();
    kernels::MovedLayersTask task{};
    task.delays = delays.data();
    task.frames = static_cast<std::size_t>(delays.rows());
    task.layers = shares.size();
    task.first = row.first;
    task.step = row.step;
    task.bins = row.bins;
    task.spectra = reinterpret_cast<const double*>(spectra.data());
    task.own = own.size() > 0 ? reinterpret_cast<const double*>(own.data()) : nullptr;
    task.own_layers = own_layers;
    task.work = work.data();
    task.out = reinterpret_cast<double*>(to.data());
    kernels::add_moved_layers_of(default_instruction_set())(task);
}

}  // namespace echosieve
