// One wall as a few echoes in every frame, associated over frames, and its displacement from their
// correlation.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <iterator>
#include <limits>
#include <numbers>
#include <optional>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/signal.hpp"
#include "echosieve/correlate/delay.hpp"
#include "echosieve/motion/layers.hpp"
#include "echosieve/motion/line.hpp"
#include "echosieve/motion/slow_time.hpp"
#include "echosieve/pursuit/echo_source.hpp"
#include "echosieve/pursuit/engine.hpp"
#include "echosieve/pursuit/refine.hpp"

namespace echosieve {

// Symbols
//   Y_w(f, i)  the gate's spectra with the tissue's layer taken out (layers.hpp);  S_w the wall's
//   layer at rest d_i        predicted delay of the wall, (2 / c) (a p_i + b q_i)
//
// The wall at rest, S_w, is taken apart into the reference echoes. Each frame's isolated wall is
// taken apart too; an echo of it belongs to the wall if it arrives where a reference echo is
// predicted, within the association distance. The displacement of the frame is the delay between
// the two sums of echoes, from their complex cross-correlation in closed form: the phase zero next
// to the prediction.

struct WallEchoOptions {
    std::size_t atoms = 4;  ///< echoes a wall and frame, at most
    double spread = 0.10;   ///< of centre frequency and bandwidth about the sensor's
    double association =
        0.5;  ///< largest distance from a predicted reference echo, in pulse lengths
    double lowest_correlation = 0.5;  ///< below it the frame's echoes are not the wall's
    double least_energy = 1e-3;       ///< pursuit ends at this part of a frame's energy in the gate
    double residual_smoothing =
        10e-3;  ///< slow-time Gaussian of the residual power behind the standard deviation [s]
};

inline void validate(const WallEchoOptions& options) {
    require(options.atoms >= 1, "atoms", options.atoms, "must be at least 1");
    require(options.spread >= 0 && options.spread < 1, "spread", options.spread,
            "must lie in [0, 1)");
    require(options.association > 0, "association", options.association,
            "must be positive [pulse lengths]");
    require(options.lowest_correlation >= 0 && options.lowest_correlation < 1, "lowest_correlation",
            options.lowest_correlation, "must lie in [0, 1)");
    require(options.least_energy >= 0 && options.least_energy < 1, "least_energy",
            options.least_energy, "must lie in [0, 1)");
    require(options.residual_smoothing >= 0, "residual_smoothing", options.residual_smoothing,
            "must be zero or more [s]");
}

struct WallEchoes {
    double depth = 0;  ///< of the strongest place of the wall at rest [m]
    Eigen::ArrayXd
        displacement;  ///< per frame, deeper positive; the prediction where not associated [m]
    Eigen::ArrayXd deviation;    ///< standard deviation of one frame's displacement [m]
    Eigen::ArrayXd correlation;  ///< with the reference, 0 where not associated
    std::vector<Echo<Gabor<double>>> reference;
    std::vector<std::vector<Echo<Gabor<double>>>> echoes;  ///< per frame, the associated ones
};

/// Follows the wall (layer 0 of the fit) through all frames. Frames that are not usable keep the
/// prediction, with correlation 0.
[[nodiscard]] WallEchoes follow_wall(const LineHistory& line, const GateSpectrum& gate,
                                     const LayerFit& fit, const LayerTimes& times,
                                     const WallEchoOptions& options = {});

}  // namespace echosieve
