// The echoes of layers that move, as the frames of a gate show them.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <vector>

#include "motion/kernels/walked_layers.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve {

/// Layers with these delays [frames x layers] as kernels walk them; `work` is made to fit, and must
/// outlive them as the delays must.
[[nodiscard]] kernels::WalkedLayers walked_layers(const Eigen::ArrayXXd& delays,
                                                  const GateSpectrum& gate, Eigen::ArrayXd& work);

/// Layers as they move.
struct MovedLayers {
    std::vector<LayerShare> shares;
    Eigen::ArrayXXcd spectra;  ///< at rest, [layers x bins]
    Eigen::ArrayXXcd own{};    ///< turns the first `own_layers` as well, [frames x bins]; or empty
    std::size_t own_layers = 0;  ///< nothing if `own` is empty
};

/// to += sum_k S_k E_k, [frames x bins].
void add_moved_layers(Eigen::ArrayXXcd& to, const GateSpectrum& gate, const LayerTimes& times,
                      const MovedLayers& moved);

}  // namespace echosieve
