// Frames in which the sensor had no contact: too short a time for block_contact.hpp to see, too
// weak an echo to be worth following.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/line.hpp"
#include "echosieve/motion/slow_time.hpp"

namespace echosieve {

// Symbols
//   C_i = smooth(sum_z conj(y_i) y_{i+1}),  E_i = smooth(sum_z (|y_i|^2 + |y_{i+1}|^2) / 2),
//         over depths below the dead zone
//   g_i = |C_i| / E_i  coherence of successive frames: echoes keep it near 1 whatever moves, noise
//         has none, and ring-down lies in the dead zone
//
// check_frames compares energies; where the noise is not far below the echoes, a frame without
// contact has nearly the energy of any other. Its coherence is gone all the same.

struct ContactOptions {
    double smoothing = 8e-3;       ///< Gaussian in slow time [s]
    double least_coherence = 0.2;  ///< of the median g: below it contact is lost
    double surroundings =
        16e-3;  ///< Gaussian: a frame with a quarter of lost ones around it is lost too [s]
};

inline void validate(const ContactOptions& options) {
    require(options.smoothing >= 0, "smoothing", options.smoothing, "must be zero or more [s]");
    require(options.surroundings >= 0, "surroundings", options.surroundings,
            "must be zero or more [s]");
    require(options.least_coherence >= 0 && options.least_coherence < 1, "least_coherence",
            options.least_coherence, "must lie in [0, 1)");
}

/// Marks the frames without contact as not usable and bridges them; says how many they are.
/// `dead_zone` [m] from the first sample. Throws InvalidInput for options outside their domain.
inline std::size_t leave_out_lost_contact(LineHistory& line, double dead_zone,
                                          const ContactOptions& options = {}) {
    validate(options);
    const Eigen::Index frames = line.frames();
    const Eigen::Index samples = line.samples.cols();
    const auto first = static_cast<Eigen::Index>(
        std::max(0.0, std::ceil(line.index(line.first_depth() + dead_zone))));
    if (frames < 3 || first >= samples) {
        return 0;
    }
    const auto below = line.samples.rightCols(samples - first);
    const Eigen::ArrayXcd product =
        (below.topRows(frames - 1).conjugate() * below.bottomRows(frames - 1)).rowwise().sum();
    const Eigen::ArrayXd energy = below.abs2().rowwise().sum();
    const double sigma = options.smoothing * line.settings.frame_rate;
    const Eigen::ArrayXd common = gaussian_smooth<std::complex<double>>(product, sigma).abs();
    const Eigen::ArrayXd whole =
        gaussian_smooth<double>((energy.head(frames - 1) + energy.tail(frames - 1)) / 2, sigma);
    const Eigen::ArrayXd coherence = common / whole.max(1e-300);
    const double least = options.least_coherence * median(coherence);
    Eigen::ArrayXd without(frames);
    for (Eigen::Index i = 0; i < frames; ++i) {
        const double mine = std::max(coherence[std::min(i, frames - 2)],
                                     coherence[std::max<Eigen::Index>(i - 1, 0)]);
        without[i] = mine < least || !line.usable[static_cast<std::size_t>(i)] ? 1 : 0;
    }
    // Noise is coherent by chance: a frame among those without contact has none either.
    const Eigen::ArrayXd around =
        gaussian_smooth<double>(without, options.surroundings * line.settings.frame_rate);
    std::size_t lost = 0;
    for (Eigen::Index i = 0; i < frames; ++i) {
        if (line.usable[static_cast<std::size_t>(i)] && (without[i] > 0 || around[i] > 0.25)) {
            line.usable[static_cast<std::size_t>(i)] = false;
            ++lost;
        }
    }
    if (lost > 0) {
        bridge(line.samples, line.usable);
    }
    return lost;
}

}  // namespace echosieve
