// The echoes of layers that move, as the frames of a gate show them.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <cstddef>
#include <span>

#include "motion/layers/layers.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve {

/// to += sum_k spectra_k E_k for the layers' shares, [frames x bins], `spectra` [layers x bins].
/// The first `own_layers` are turned by `own` as well, [frames x bins]; nothing if it is empty.
void add_moved_layers(Eigen::ArrayXXcd& to, const GateSpectrum& gate, const LayerTimes& times,
                      std::span<const LayerShare> shares, const Eigen::ArrayXXcd& spectra,
                      const Eigen::ArrayXXcd& own = {}, std::size_t own_layers = 0);

}  // namespace echosieve
