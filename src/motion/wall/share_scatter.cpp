#include "motion/wall/share_scatter.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

#include "motion/layers/layer_information.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/numbers.hpp"

namespace echosieve {

namespace {

// How every layer but the wall's turns, [frames x bins] each: tissue and what stands still.
std::vector<Eigen::ArrayXXcd> other_layers(const SeparatedWall& wall, const LayerTimes& times) {
    std::vector<Eigen::ArrayXXcd> out;
    const std::vector<LayerShare>& shares = wall.layered.fit.shares;
    for (std::size_t k = wall.wall_layers; k < shares.size(); ++k) {
        out.push_back(layer_phasors(wall.layered.gate, times, shares[k]));
    }
    return out;
}

}  // namespace

double share_scatter(const SeparatedWall& wall, const LayerTimes& times) {
    const GateSpectrum& gate = wall.layered.gate;
    const Eigen::ArrayXXcd echoes = wall.echoes(times);
    const Eigen::ArrayXd root = times.weight.sqrt();
    const std::vector<Eigen::ArrayXXcd> layers = other_layers(wall, times);
    const auto last = static_cast<Eigen::Index>(layers.size());
    const double ridge = layer_ridge * times.weight.sum();
    double gradients = 0, curvature = 0;
    Eigen::MatrixXcd free(times.pulse.size(), last + 1);  // what the spectra can make up for
    for (Eigen::Index j = 0; j < gate.bins(); ++j) {
        for (Eigen::Index k = 0; k < last; ++k) {
            free.col(k) = layers[static_cast<std::size_t>(k)].col(j) * root;
        }
        const double level = std::sqrt(echoes.col(j).abs2().mean());
        free.col(last) = echoes.col(j) * root / std::max(level, least_divisor);
        const std::complex<double> turn{
            0, -2 * std::numbers::pi * gate.frequencies[j] * 2 / times.sound_speed};
        Eigen::VectorXcd slope = turn * wall.state.sense * times.pulse * echoes.col(j) * root;
        Eigen::MatrixXcd gram = free.adjoint() * free;
        gram.diagonal().array() += ridge;
        slope -= free * gram.llt().solve(free.adjoint() * slope);
        const Eigen::VectorXcd rest = wall.layered.fit.rest.col(j) * root;
        const double gradient = slope.dot(rest).real();
        gradients += gradient * gradient;
        curvature += slope.squaredNorm();
    }
    return std::sqrt(gradients) / std::max(curvature, least_divisor);
}

double separability(const SeparatedWall& wall, const LayerTimes& times,
                    const RecordingSettings& settings) {
    const LayerFit& fit = wall.layered.fit;
    double energy = 0, pulse = 0, bulk = 0;
    for (auto k = static_cast<Eigen::Index>(wall.wall_layers); k < fit.spectra.rows(); ++k) {
        const double part = fit.spectra.row(k).abs2().sum();
        const LayerShare& share = fit.shares[static_cast<std::size_t>(k)];
        energy += part;
        pulse += part * share.pulse;
        bulk += part * share.bulk;
    }
    energy = std::max(energy, least_divisor);
    const LayerShare own = wall.share();
    Eigen::ArrayXd apart =
        (own.pulse - pulse / energy) * times.pulse + (own.bulk - bulk / energy) * times.bulk;
    if (wall.state.own.size() > 0) {
        apart += wall.state.own;
    }
    if (!(times.weight.sum() > 0)) {
        return 0;
    }
    return 2 * std::numbers::pi * settings.sensor.centre_frequency * 2 / settings.sound_speed *
           deviation_over_frames(apart, times.weight);
}

}  // namespace echosieve
