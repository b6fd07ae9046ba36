#include "echosieve/motion/free_motion.hpp"

#include <cmath>
#include <complex>
#include <numbers>

#include "echosieve/motion/layers.hpp"
#include "echosieve/motion/smooth_step.hpp"

namespace echosieve {

FreeMotion free_motion(const SeparatedWall& wall, const LayerTimes& times, double frame_rate,
                       double cutoff, double spread) {
    const LayerFit& fit = wall.layered.fit;
    const Eigen::ArrayXXcd phasors = layer_phasors(wall.layered.gate, times, fit.shares[0]);
    const Eigen::Index frames = times.pulse.size();
    Eigen::ArrayXXd curvature = Eigen::ArrayXXd::Zero(frames, 1);
    Eigen::ArrayXXd gradient = Eigen::ArrayXXd::Zero(frames, 1);
    for (Eigen::Index j = 0; j < wall.layered.gate.bins(); ++j) {
        const std::complex<double> s =
            std::complex<double>(0, -2 * std::numbers::pi * wall.layered.gate.frequencies[j] * 2 /
                                        times.sound_speed) *
            fit.spectra(0, j);
        curvature.col(0) += std::norm(s) * times.weight / fit.noise;
        gradient.col(0) +=
            ((s * phasors.col(j)).conjugate() * fit.rest.col(j)).real() * times.weight / fit.noise;
    }
    const double mean = curvature.mean();
    Eigen::ArrayXd penalty(1);
    penalty << roughness_penalty(mean, cutoff, frame_rate);
    FreeMotion out;
    out.deviation = (2 * cutoff / frame_rate / (2 * curvature.col(0).max(1e-300))).sqrt();
    curvature += 1 / (spread * spread) / (frame_rate / (2 * cutoff));
    out.displacement = smooth_steps(curvature, gradient, penalty).col(0);
    return out;
}

}  // namespace echosieve
