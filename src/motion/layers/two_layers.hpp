// What two overlapping layers allow to be known of the first, for some thousand frames in
// milliseconds.
#pragma once

#include <Eigen/Core>

#include "motion/layers/layer_information.hpp"

namespace echosieve {

// Symbols (the rest as in layer_information.hpp)
//   T_k      own information of frame k, 2 x 2;  B = spent;  q = sqrt(w / sum w)
//   d        x_1 - x_2, its weighted mean taken off;  e = d^2 less its parts along 1 and d
//
// J = T - B^T B is inverted in the few rows of B (Woodbury): with N = I - B T^-1 B^T,
//   V = T^-1 + T^-1 B^T N^- B T^-1,  then centred.
// N has the null vectors B q of both layers' origins, added to it before it is inverted.
//
// Small angles. To first order in kappa d the spectra's changes span 1 and d, so that x_1 = alpha d
// shows to the second alone: the frames' change is (beta S_2 - alpha S_1) kappa^2 e / 2 where
// x_2 = beta d, and what both layers do along e, -i kappa (S_1 e_1 + S_2 e_2) e, hides part of it.
// The 4 x 4 Gram matrix of (-kappa^2 S_1 / 2, kappa^2 S_2 / 2, -i kappa S_1, -i kappa S_2) in
// (2 / v) sum_f Re conj(.)(.) has the inverse's first entry g; then
//   var(alpha) = g / sum w e^2,
// which goes as 1 / angle^4: alpha as 1 / angle^2, the displacement's error alpha d as 1 / angle.

/// Of the first of two layers.
struct TwoLayerLimit {
    double angle = 0;         ///< phi, by the power-weighted mean frequency of both layers [rad]
    double gain_std = 0;      ///< see LayerLimit
    double borrowed_std = 0;  ///< see LayerLimit
    double rms = 0;           ///< [m]
    double known_rms = 0;     ///< [m]

    [[nodiscard]] double ratio() const noexcept { return rms / known_rms; }
};

/// Separability angle of two of the layers.
[[nodiscard]] double separability_angle(const LayeredBins& bins, Eigen::Index first,
                                        Eigen::Index second);

/// Whether two layers move alike: only the sum of their spectra can then be told, and nothing of
/// either.
[[nodiscard]] bool layers_coincide(const LayeredBins& bins);

/// Standard deviation over the frames of a layer alone whose waveform is known [m].
[[nodiscard]] double known_deviation(const LayeredBins& bins, Eigen::Index layer);

/// The bound, spectra and courses free: 3 ms for 1000 frames and 10 bins. Deviations are infinite
/// where the layers can't be told apart.
[[nodiscard]] TwoLayerLimit two_layer_limit(const LayeredBins& bins);

/// Its leading terms at small angles, from sums over frames alone.
[[nodiscard]] TwoLayerLimit small_angle_limit(const LayeredBins& bins);

/// Standard deviation of the first layer's share in a given course (per frame) [displacement /
/// course], the second layer's share in it and both spectra unknown; infinite where it can't be
/// told.
[[nodiscard]] double share_deviation(const LayeredBins& bins, const Eigen::ArrayXd& course);

}  // namespace echosieve
