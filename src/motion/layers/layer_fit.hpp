// The shares of a gate's layers fitted, and its layers taken out one by one.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <vector>

#include "motion/layers/layers.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve {

struct LayerFitOptions {
    double ridge = layer_ridge;
    int iterations = 10;      ///< Gauss-Newton steps at most
    double tolerance = 1e-6;  ///< ends when a step lowers the cost by less than this part of it
    bool rest = true;         ///< work out what the layers leave of each frame
};

/// Fits the shares of 1 to most_layers layers, starting from the given ones. Steps that do not
/// lower the cost are damped (Levenberg 1944) and at last dropped, so the cost never rises above
/// that of the start.
[[nodiscard]] LayerFit fit_layers(const GateSpectrum& gate, const LayerTimes& times,
                                  std::vector<LayerShare> shares,
                                  const LayerFitOptions& options = {});

/// Makes the layer that follows the pulse fastest in `direction` (-1 up, +1 down) layer 0: the fit
/// may have exchanged wall and tissue.
void put_fastest_first(LayerFit& fit, const GateSpectrum& gate, const LayerTimes& times,
                       double direction);

/// The gate's spectra with all layers but `kept` taken out: [frames x bins].
[[nodiscard]] Eigen::ArrayXXcd isolated_layer(const GateSpectrum& gate, const LayerTimes& times,
                                              const LayerFit& fit, std::size_t kept);

}  // namespace echosieve
