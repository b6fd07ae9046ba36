// Which layer of a wall is followed: where its echo peaks, outer or inner.
#pragma once

#include <Eigen/Core>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve {

// Symbols
//   E(z) = |s(z)|^2   energy of the wall's waveform at rest, s its spectrum's inverse transform
//
// An artery's wall answers from its outer layer (adventitia) and, about 0.5 to 1 mm towards the
// lumen, from its inner one (intima). They move by different amounts: a mistaken layer is an error
// of gain.

/// The energy of a spectrum's waveform over depth, finely interpolated.
struct EnergyProfile {
    Eigen::ArrayXd depths;  ///< [m]
    Eigen::ArrayXd energy;

    /// Depth of the largest energy [m].
    [[nodiscard]] double peak() const;
};

[[nodiscard]] EnergyProfile energy_profile(const GateSpectrum& gate,
                                           const Eigen::ArrayXcd& spectrum,
                                           const RecordingSettings& settings);

/// Depth of the layer meant. `outwards` is -1 for the near wall (its outer layer is shallower) and
/// +1 for the far one; `start` is a first estimate of the wall's depth [m].
/// Throws InvalidInput for options outside their domain.
[[nodiscard]] double reference_layer_depth(const EnergyProfile& profile, double outwards,
                                           double start, const RecordingSettings& settings,
                                           const ReferenceLayerOptions& options = {});

}  // namespace echosieve
