#include "motion/wall/own_motion.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "motion/layers/layers.hpp"
#include "motion/layers/smooth_step.hpp"
#include "motion/line/numbers.hpp"

namespace echosieve {

Eigen::ArrayXcd echo_products(const SeparatedWall& wall, const LayerTimes& times) {
    const Eigen::ArrayXXcd echoes = wall.echoes(times);
    return (echoes.conjugate() * (wall.layered.fit.rest + echoes)).rowwise().sum();
}

WallMotion wall_motion(const SeparatedWall& wall, const LayerTimes& times, double frame_rate,
                       const WallMotionOptions& options) {
    validate(options);
    const LayerFit& fit = wall.layered.fit;
    const GateSpectrum& gate = wall.layered.gate;
    const LayerShare share = wall.share();
    const Eigen::ArrayXXcd echoes = wall.echoes(times);
    const Eigen::Index frames = times.pulse.size();
    const double noise = std::max(fit.noise, least_divisor);
    Eigen::ArrayXXd curvature = Eigen::ArrayXXd::Zero(frames, 1);
    Eigen::ArrayXXd gradient = Eigen::ArrayXXd::Zero(frames, 1);
    Eigen::ArrayXcd product = Eigen::ArrayXcd::Zero(frames);
    Eigen::ArrayXd energy = Eigen::ArrayXd::Zero(frames);
    Eigen::ArrayXd echo_energy = Eigen::ArrayXd::Zero(frames);
    for (Eigen::Index j = 0; j < gate.bins(); ++j) {
        const std::complex<double> turn{
            0, -2 * std::numbers::pi * gate.frequencies[j] * 2 / times.sound_speed};
        const Eigen::ArrayXcd echo = echoes.col(j);
        const Eigen::ArrayXcd slope = turn * echo;
        curvature.col(0) += slope.abs2() / noise * times.weight;
        gradient.col(0) += (slope.conjugate() * fit.rest.col(j)).real() / noise * times.weight;
        const Eigen::ArrayXcd isolated = fit.rest.col(j) + echo;
        product += echo.conjugate() * isolated;
        energy += isolated.abs2();
        echo_energy += echo.abs2();
    }
    WallMotion out;
    out.deviation =
        (2 * options.cutoff / frame_rate / (2 * curvature.col(0).max(least_divisor))).sqrt();
    out.correlation =
        times.weight * (product.abs() / (echo_energy * energy).max(least_divisor).sqrt()).min(1.0);
    out.strength = product / echo_energy.max(least_divisor).cast<std::complex<double>>();
    Eigen::ArrayXd penalty(1);
    penalty << roughness_penalty(curvature.mean(), options.cutoff, frame_rate);
    curvature += 2 * options.cutoff / frame_rate / (options.spread * options.spread);
    out.own = smooth_steps(curvature, gradient, penalty).col(0);
    if (wall.state.own.size() > 0) {
        out.own += wall.state.own;
    }
    out.displacement = share.pulse * times.pulse + share.bulk * times.bulk + out.own;
    return out;
}

}  // namespace echosieve
