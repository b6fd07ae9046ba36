// A gate averaged over blocks of frames, its bulk motion turned back: what is left moves little
// within one.
#pragma once

#include <Eigen/Core>

#include "echosieve/motion/gate_spectrum.hpp"
#include "echosieve/motion/layers.hpp"

namespace echosieve {

/// Weighted means of `x` over blocks of `length` >= 1 entries; of all of a block's entries alike
/// where their weights are 0.
[[nodiscard]] Eigen::ArrayXd block_means(const Eigen::ArrayXd& x, const Eigen::ArrayXd& weight,
                                         Eigen::Index length);

/// The time courses' means over blocks; a block's weight is the mean of its frames'.
[[nodiscard]] LayerTimes block_means(const LayerTimes& times, Eigen::Index length);

/// The gate's values, turned back by `bulk` times the bulk motion, averaged over blocks: [blocks x
/// bins]; 0 in blocks without a usable frame.
[[nodiscard]] Eigen::ArrayXXcd block_means(const GateSpectrum& gate, const LayerTimes& times,
                                           double bulk, Eigen::Index length);

}  // namespace echosieve
