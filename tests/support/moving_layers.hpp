// Layers that move over each other, made deterministically, and what can be known of them in slow
// ways of its own: all unknowns in one information matrix.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/LU>
#include <Eigen/QR>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

#include "echosieve/motion/layer_limits.hpp"
#include "motion/layers/layer_information.hpp"
#include "motion/line/plain.hpp"

namespace echosieve::test {

using Complex = std::complex<double>;

/// In [-1, 1], irregular, the same everywhere.
inline double scatter(std::size_t n) {
    return std::sin(12.9898 * static_cast<double>(n) + 0.37 * static_cast<double>(n * n % 101));
}

inline double wave_number(const LayerSetting& setting, std::size_t bin) {
    return 4 * std::numbers::pi * setting.frequencies[bin] / setting.sound_speed;
}

/// Layers that move by some 30 um each by itself, spectra without order, 3.2 to 4.8 MHz.
inline LayerSetting scattered_layers(std::size_t layers, std::size_t frames, std::size_t bins,
                                     std::size_t seed = 0) {
    LayerSetting out;
    out.noise = 0.01;
    for (std::size_t f = 0; f < bins; ++f) {
        out.frequencies.push_back(3.2e6 +
                                  1.6e6 * static_cast<double>(f) / static_cast<double>(bins));
    }
    for (std::size_t l = 0; l < layers; ++l) {
        MovingLayer layer;
        for (std::size_t f = 0; f < bins; ++f) {
            const std::size_t n = 1000 * seed + 100 * l + 2 * f;
            layer.spectrum.emplace_back(scatter(n + 7), scatter(n + 8));
        }
        for (std::size_t k = 0; k < frames; ++k) {
            layer.displacement.push_back(45e-6 * scatter(500 + 31 * l + k));
        }
        out.layers.push_back(std::move(layer));
    }
    return out;
}

/// The others become multiples of the first.
inline void make_shared(LayerSetting& setting) {
    for (std::size_t l = 1; l < setting.layers.size(); ++l) {
        for (std::size_t f = 0; f < setting.frequencies.size(); ++f) {
            setting.layers[l].spectrum[f] =
                std::polar(0.8, 1.1 * static_cast<double>(l)) * setting.layers[0].spectrum[f];
        }
    }
}

/// A wall that moves by a pulse of 150 um and tissue of its strength that moves against it by a
/// sine, in a gate of 2 us about 4 MHz.
inline LayerSetting gate_of_two(std::size_t frames, double amplitude) {
    LayerSetting out;
    out.noise = 0.01;
    MovingLayer wall, tissue;
    for (std::size_t f = 0; f < 5; ++f) {
        out.frequencies.push_back(3e6 + 0.5e6 * static_cast<double>(f));
        const double u = (out.frequencies.back() - 4e6) / 1e6;
        const double gain = std::exp(-u * u * 4 * std::numbers::ln2);
        wall.spectrum.push_back(gain * std::polar(1.0, 1.9 * static_cast<double>(f * f)));
        tissue.spectrum.push_back(gain * std::polar(0.8 + 0.1 * static_cast<double>(f),
                                                    2.6 * static_cast<double>(f) + 1));
    }
    for (std::size_t k = 0; k < frames; ++k) {
        const double t = static_cast<double>(k) / static_cast<double>(frames);
        const double rise = (t - 0.3) / 0.12;
        wall.displacement.push_back(150e-6 * std::exp(-rise * rise));
        tissue.displacement.push_back(wall.displacement.back() +
                                      amplitude * std::sin(2 * std::numbers::pi * t + 0.7));
    }
    out.layers = {wall, tissue};
    return out;
}

inline LayeredBins layered_bins(const LayerSetting& setting) {
    const auto layers = static_cast<Eigen::Index>(setting.layers.size());
    LayeredBins out;
    out.wave_numbers = array_of(setting.frequencies) * (4 * std::numbers::pi / setting.sound_speed);
    out.noise = setting.noise;
    const auto frames = static_cast<Eigen::Index>(setting.layers[0].displacement.size());
    out.displacement.resize(frames, layers);
    out.spectra.resize(layers, out.bins());
    for (Eigen::Index l = 0; l < layers; ++l) {
        const MovingLayer& layer = setting.layers[static_cast<std::size_t>(l)];
        out.displacement.col(l) = array_of(layer.displacement);
        out.spectra.row(l) = Eigen::Map<const Eigen::ArrayXcd>(layer.spectrum.data(), out.bins());
    }
    out.weight = Eigen::ArrayXd::Ones(frames);
    if (!setting.weights.empty()) {
        out.weight = array_of(setting.weights);
    }
    return out;
}

/// What is unknown beside the displacements.
enum class Unknowns { displacements, spectra, waveform };

/// Of the displacements, all else eliminated by its Schur complement. Weights are not looked at.
inline Eigen::MatrixXd oracle_information(const LayerSetting& setting, Unknowns unknowns) {
    const std::size_t layers = setting.layers.size(), bins = setting.frequencies.size();
    const std::size_t frames = setting.layers[0].displacement.size(), moves = layers * frames;
    std::size_t all = moves;
    if (unknowns == Unknowns::spectra) {
        all += 2 * layers * bins;
    } else if (unknowns == Unknowns::waveform) {
        all += 2 * bins + 2 * (layers - 1);
    }
    const auto at = [](std::size_t n) { return static_cast<Eigen::Index>(n); };
    Eigen::MatrixXd information = Eigen::MatrixXd::Zero(at(all), at(all));
    const auto& first = setting.layers[0].spectrum;
    for (std::size_t f = 0; f < bins; ++f) {
        Eigen::MatrixXcd slope = Eigen::MatrixXcd::Zero(at(frames), at(all));
        for (std::size_t l = 0; l < layers; ++l) {
            const Complex s = setting.layers[l].spectrum[f];
            for (std::size_t k = 0; k < frames; ++k) {
                const double kappa = wave_number(setting, f);
                const Complex turn = std::polar(1.0, -kappa * setting.layers[l].displacement[k]);
                const auto add = [&](std::size_t column, Complex by) {
                    slope(at(k), at(column)) += by;
                    slope(at(k), at(column + 1)) += Complex(0, 1) * by;
                };
                slope(at(k), at(l * frames + k)) = Complex(0, -kappa) * s * turn;
                if (unknowns == Unknowns::spectra) {
                    add(moves + 2 * (f * layers + l), turn);
                } else if (unknowns == Unknowns::waveform) {
                    add(moves + 2 * f, s / first[f] * turn);
                    if (l > 0) {
                        add(moves + 2 * bins + 2 * (l - 1), first[f] * turn);
                    }
                }
            }
        }
        information += 2 / setting.noise * (slope.adjoint() * slope).real();
    }
    const Eigen::Index n = at(moves), rest = at(all - moves);
    if (rest == 0) {
        return information;
    }
    return information.topLeftCorner(n, n) -
           information.topRightCorner(n, rest) * information.bottomRightCorner(rest, rest)
                                                     .fullPivLu()
                                                     .solve(information.bottomLeftCorner(rest, n));
}

/// The mean over the frames of each layer taken off.
inline Eigen::MatrixXd centred(const Eigen::MatrixXd& covariance, Eigen::Index layers) {
    const Eigen::Index frames = covariance.rows() / layers;
    Eigen::MatrixXd off = Eigen::MatrixXd::Identity(covariance.rows(), covariance.rows());
    for (Eigen::Index l = 0; l < layers; ++l) {
        off.block(l * frames, l * frames, frames, frames).array() -=
            1 / static_cast<double>(frames);
    }
    return off * covariance * off;
}

inline Eigen::MatrixXd pseudo_inverse(const Eigen::MatrixXd& x) {
    Eigen::CompleteOrthogonalDecomposition<Eigen::MatrixXd> factor(x.rows(), x.cols());
    factor.setThreshold(1e-11);
    return factor.compute(x).pseudoInverse();
}

inline Eigen::MatrixXd oracle_covariance(const LayerSetting& setting, Unknowns unknowns) {
    return centred(pseudo_inverse(oracle_information(setting, unknowns)),
                   static_cast<Eigen::Index>(setting.layers.size()));
}

/// R of one bin of random layers at these displacements [frames x layers].
inline Eigen::MatrixXcd random_covariance(const LayerSetting& setting, std::size_t bin,
                                          const Eigen::MatrixXd& x) {
    Eigen::MatrixXcd out = Eigen::MatrixXcd::Identity(x.rows(), x.rows()) * Complex(setting.noise);
    for (Eigen::Index l = 0; l < x.cols(); ++l) {
        const MovingLayer& layer = setting.layers[static_cast<std::size_t>(l)];
        for (Eigen::Index k = 0; k < x.rows(); ++k) {
            for (Eigen::Index j = 0; j < x.rows(); ++j) {
                out(k, j) += std::norm(layer.spectrum[bin]) *
                             layer.correlation[static_cast<std::size_t>(k * x.rows() + j)] *
                             std::polar(1.0, -wave_number(setting, bin) * (x(k, l) - x(j, l)));
            }
        }
    }
    return out;
}

/// sum_f tr(R^-1 dR_i R^-1 dR_j), dR by central differences.
inline Eigen::MatrixXd oracle_random_information(const LayerSetting& setting) {
    const Eigen::ArrayXXd start = layered_bins(setting).displacement;
    const Eigen::Index size = start.size();
    constexpr double step = 1e-9;  // [m]: errors of (kappa step)^2, 1e-9, and 1e-16 / (kappa step)
    Eigen::MatrixXd out = Eigen::MatrixXd::Zero(size, size);
    for (std::size_t f = 0; f < setting.frequencies.size(); ++f) {
        const Eigen::MatrixXcd inverse = random_covariance(setting, f, start).inverse();
        std::vector<Eigen::MatrixXcd> slopes;
        for (Eigen::Index i = 0; i < size; ++i) {
            Eigen::MatrixXd up = start.matrix(), down = start.matrix();
            up.reshaped()[i] += step;
            down.reshaped()[i] -= step;
            slopes.push_back(
                inverse *
                (random_covariance(setting, f, up) - random_covariance(setting, f, down)) /
                (2 * step));
        }
        for (Eigen::Index i = 0; i < size; ++i) {
            for (Eigen::Index j = 0; j < size; ++j) {
                out(i, j) +=
                    (slopes[static_cast<std::size_t>(i)] * slopes[static_cast<std::size_t>(j)])
                        .trace()
                        .real();
            }
        }
    }
    return out;
}

}  // namespace echosieve::test
