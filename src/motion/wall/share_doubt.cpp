#include "motion/wall/share_doubt.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

#include "motion/line/numbers.hpp"
#include "motion/wall/model.hpp"

namespace echosieve {

namespace {

// Fitted to synthetic recordings whose wall errors are known, see docs/trust.md.
constexpr double values_alike = 400;  // T
// Tissue that hardly moves to tissue nearly as fast as the wall, weaker and stronger than usual.
constexpr std::array tissue_reaches = {0.2, 0.5, 0.8};
constexpr std::array tissue_powers = {0.01, 0.03, 0.1};
// The share is looked at in steps of this part of it, the evidence's parabola through three.
constexpr double share_step = 0.05;
constexpr int steps = 2;          // either way
constexpr double furthest = 1.5;  // from the likeliest step [steps]

struct Peak {
    double share = 0;     // over the wall's
    double evidence = 0;  // there
    double variance = 0;  // T / -L'', over the share's square
};

// The top of the evidence over the share, for one belief of the tissue.
Peak peak_of(WallModel& model, WallState trial, double share, double noise) {
    std::array<double, 2 * steps + 1> evidence{};
    for (int k = -steps; k <= steps; ++k) {
        trial.share = (1 + k * share_step) * share;
        evidence[static_cast<std::size_t>(k + steps)] = model.evidence(trial, noise);
    }
    const auto top = std::max_element(evidence.begin() + 1, evidence.end() - 1);
    const double slope = (top[1] - top[-1]) / 2;
    const double bend = top[1] - 2 * top[0] + top[-1];
    const double least_bend = values_alike / (furthest * furthest);
    const double at =
        bend < 0 ? std::clamp(-slope / bend, -furthest, furthest) : std::copysign(furthest, slope);
    const double place = static_cast<double>(top - evidence.begin()) - steps + at;
    return {1 + place * share_step, top[0] + at * slope + at * at * bend / 2,
            values_alike / std::max(-bend, least_bend) * share_step * share_step};
}

}  // namespace

double share_doubt(const SeparatedWall& wall, const LayerTimes& times,
                   const RecordingSettings& settings, const WallModelOptions& options) {
    const WallState& state = wall.state;
    WallModel model(wall.layered.gate, times, {state, largest_layer(state, 1 + steps * share_step)},
                    settings, options);
    const double noise = noise_of(model, wall.layered, options);
    std::vector<Peak> peaks;
    WallState trial = state;
    for (const double reach : tissue_reaches) {
        trial.prior.tissue_reach = reach;
        for (const double power : tissue_powers) {
            trial.prior.tissue_power = power;
            peaks.push_back(peak_of(model, trial, state.share, noise));
        }
    }
    const double most =
        std::max_element(peaks.begin(), peaks.end(), [](const Peak& x, const Peak& y) {
            return x.evidence < y.evidence;
        })->evidence;
    double sum = 0, mean = 0, square = 0;
    for (const Peak& peak : peaks) {
        const double weight = std::exp((peak.evidence - most) / values_alike);
        sum += weight;
        mean += weight * peak.share;
        square += weight * (peak.share * peak.share + peak.variance);
    }
    mean /= sum;
    return state.share * std::sqrt(std::max(square / sum - mean * mean, 0.0));
}

double share_scatter(const SeparatedWall& wall, const LayerTimes& times) {
    const LayeredGate& layered = wall.layered;
    const GateSpectrum& gate = layered.gate;
    const auto walls = static_cast<Eigen::Index>(wall.wall_layers);
    const Eigen::Index layers = layered.fit.spectra.rows();
    const Eigen::ArrayXXcd echoes = wall.echoes(times);
    const Eigen::ArrayXd root = times.weight.sqrt();
    std::vector<Eigen::ArrayXXcd> phasors;
    for (Eigen::Index k = walls; k < layers; ++k) {
        phasors.push_back(
            layer_phasors(gate, times, layered.fit.shares[static_cast<std::size_t>(k)]));
    }
    const double ridge = layer_ridge * times.weight.sum();
    double gradients = 0, curvature = 0;
    Eigen::MatrixXcd others(times.pulse.size(), layers - walls + 1);
    for (Eigen::Index j = 0; j < gate.bins(); ++j) {
        for (Eigen::Index k = 0; k < layers - walls; ++k) {
            others.col(k) = phasors[static_cast<std::size_t>(k)].col(j) * root;
        }
        const double level = std::sqrt(echoes.col(j).abs2().mean());
        others.col(layers - walls) = echoes.col(j) * root / std::max(level, least_divisor);
        const std::complex<double> turn{
            0, -2 * std::numbers::pi * gate.frequencies[j] * 2 / times.sound_speed};
        Eigen::VectorXcd slope = turn * wall.state.sense * times.pulse * echoes.col(j) * root;
        Eigen::MatrixXcd gram = others.adjoint() * others;
        gram.diagonal().array() += ridge;
        slope -= others * gram.llt().solve(others.adjoint() * slope);
        const Eigen::VectorXcd rest = layered.fit.rest.col(j) * root;
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
    const double weight = std::max(times.weight.sum(), least_divisor);
    apart -= (apart * times.weight).sum() / weight;
    const double deviation = std::sqrt((apart.square() * times.weight).sum() / weight);
    return 2 * std::numbers::pi * settings.sensor.centre_frequency * 2 / settings.sound_speed *
           deviation;
}

}  // namespace echosieve
