// A gate's echoes taken apart into layers that move differently: each a free spectrum with a known
// time course.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/line.hpp"

namespace echosieve {

// Symbols
//   Y(f, i)   spectrum of the windowed gate in frame i, at absolute frequency f [Hz]
//   S_k(f)    spectrum of layer k at rest;  p, q time courses, a_k [m], b_k its shares in them
//   tau_k(i) = (2 / c) (a_k p_i + b_k q_i)  [s];   E_k = exp(-i 2 pi f tau_k)
//
//   Y(f, i) = sum_k S_k(f) E_k(f, i) + noise
//
// For given shares the best S is a linear least-squares solution per frequency (with a small ridge,
// since layers that move alike can't be told apart); the shares follow by Gauss-Newton on what is
// left (variable projection, Golub and Pereyra 1973, with the simplified Jacobian of Kaufman 1975).

/// The spectra of one gate over all frames.
struct GateSpectrum {
    Eigen::ArrayXXcd values;     ///< [frames x bins]
    Eigen::ArrayXd frequencies;  ///< absolute, per bin [Hz]
    SamplingGrid grid;           ///< of the gate's baseband samples
    double depth = 0;            ///< of the gate's centre [m]

    [[nodiscard]] Eigen::Index bins() const noexcept { return frequencies.size(); }
};

/// Weights of a window over `count` samples whose tapered part is `taper` of its length (0 none, 1
/// Hann).
[[nodiscard]] inline Eigen::ArrayXd tapered_window(Eigen::Index count, double taper) {
    Eigen::ArrayXd window(count);
    for (Eigen::Index k = 0; k < count; ++k) {
        const double x = (static_cast<double>(k) + 0.5) / static_cast<double>(count);
        const double edge = std::min(x, 1 - x) / (taper / 2);
        window[k] = edge < 1 ? 0.5 * (1 - std::cos(std::numbers::pi * edge)) : 1;
    }
    return window;
}

/// Windowed discrete Fourier transform, unitary, of the gate depth +- half_gate [m]; only the bins
/// within `band` times the sensor's bandwidth of its centre are kept. Throws InvalidInput if fewer
/// than four samples of the gate lie inside the line.
[[nodiscard]] inline GateSpectrum gate_spectrum(const LineHistory& line, double depth,
                                                double half_gate, double taper = 0.6,
                                                double band = 1.0) {
    const auto first =
        static_cast<Eigen::Index>(std::max(0.0, std::round(line.index(depth - half_gate))));
    const Eigen::Index last =
        std::min<Eigen::Index>(line.samples.cols(), std::lround(line.index(depth + half_gate)));
    const Eigen::Index count = last - first;
    require(count >= 4, "gate length", count,
            "must be at least 4 baseband samples inside the line");
    const double rate = line.grid.sampling_rate;
    std::vector<double> offsets;
    for (Eigen::Index k = -(count / 2); k < count - count / 2; ++k) {
        const double offset = static_cast<double>(k) * rate / static_cast<double>(count);
        if (std::abs(offset) < band * line.settings.sensor.bandwidth) {
            offsets.push_back(offset);
        }
    }
    const Eigen::ArrayXd window =
        tapered_window(count, taper) / std::sqrt(static_cast<double>(count));
    const auto bins = static_cast<Eigen::Index>(offsets.size());
    Eigen::MatrixXcd transform(count, bins);
    GateSpectrum gate;
    gate.frequencies.resize(bins);
    for (Eigen::Index j = 0; j < bins; ++j) {
        const double offset = offsets[static_cast<std::size_t>(j)];
        gate.frequencies[j] = line.grid.mixing_frequency + offset;
        for (Eigen::Index k = 0; k < count; ++k) {
            transform(k, j) = window[k] * std::polar(1.0, -2 * std::numbers::pi * offset *
                                                              static_cast<double>(k) / rate);
        }
    }
    gate.values = (line.samples.middleCols(first, count).matrix() * transform).array();
    gate.grid = line.grid.part(static_cast<std::size_t>(first), static_cast<std::size_t>(count));
    gate.depth = depth;
    return gate;
}

/// The baseband samples of spectra in the gate's bins: rows of `spectra` [rows x bins] -> [rows x
/// samples].
[[nodiscard]] inline Eigen::ArrayXXcd gate_samples(const GateSpectrum& gate,
                                                   const Eigen::ArrayXXcd& spectra) {
    const auto count = static_cast<Eigen::Index>(gate.grid.count);
    Eigen::MatrixXcd transform(gate.bins(), count);
    for (Eigen::Index j = 0; j < gate.bins(); ++j) {
        const double offset = gate.frequencies[j] - gate.grid.mixing_frequency;
        for (Eigen::Index k = 0; k < count; ++k) {
            transform(j, k) = std::polar(
                1 / std::sqrt(static_cast<double>(count)),
                2 * std::numbers::pi * offset * static_cast<double>(k) * gate.grid.step());
        }
    }
    return (spectra.matrix() * transform).array();
}

struct LayerShare {
    double pulse = 0;  ///< a [m]
    double bulk = 1;   ///< b
};

struct LayerFit {
    std::vector<LayerShare> shares;  ///< per layer
    Eigen::ArrayXXcd spectra;        ///< S, [layers x bins]
    double cost = 0;                 ///< squared residual over usable frames, ridge included
    double noise = 0;                ///< mean squared residual per frame and bin
    double power = 0;                ///< mean squared value per frame and bin
    int iterations = 0;

    /// Part of the gate's power that the layers leave unexplained, 0 to 1.
    [[nodiscard]] double residual() const noexcept { return power > 0 ? noise / power : 1; }
};

/// What the layers move by, and which frames count.
struct LayerTimes {
    Eigen::ArrayXd pulse;       ///< p, per frame
    Eigen::ArrayXd bulk;        ///< q, per frame [m]
    Eigen::ArrayXd weight;      ///< per frame, 0 or 1
    double sound_speed = 1540;  ///< [m/s]
};

struct LayerFitOptions {
    double ridge = 0.01;      ///< added to the Gram matrix, as a part of the frames' weight
    int iterations = 10;      ///< Gauss-Newton steps at most
    double tolerance = 1e-6;  ///< ends when a step lowers the cost by less than this part of it
};

/// E_k [frames x bins] of a layer.
[[nodiscard]] inline Eigen::ArrayXXcd layer_phasors(const GateSpectrum& gate,
                                                    const LayerTimes& times,
                                                    const LayerShare& share) {
    const double scale = -2 * std::numbers::pi * 2 / times.sound_speed;
    const Eigen::ArrayXd path = scale * (share.pulse * times.pulse + share.bulk * times.bulk);
    Eigen::ArrayXXcd phasors(path.size(), gate.bins());
    for (Eigen::Index j = 0; j < gate.bins(); ++j) {
        const double f = gate.frequencies[j];
        for (Eigen::Index i = 0; i < path.size(); ++i) {
            phasors(i, j) = {std::cos(f * path[i]), std::sin(f * path[i])};
        }
    }
    return phasors;
}

namespace detail {

struct LayerEvaluation {
    std::vector<Eigen::ArrayXXcd> phasors;  // E_k
    std::vector<Eigen::MatrixXcd> gram;     // per bin, ridge included
    Eigen::ArrayXXcd spectra;               // S
    Eigen::ArrayXXcd residual;              // Y - sum S E
    double cost = 0;
    double squared_residual = 0;
};

[[nodiscard]] inline LayerEvaluation evaluate_layers(const GateSpectrum& gate,
                                                     const LayerTimes& times,
                                                     const std::vector<LayerShare>& shares,
                                                     double ridge) {
    const auto layers = static_cast<Eigen::Index>(shares.size());
    LayerEvaluation out;
    for (const LayerShare& share : shares) {
        out.phasors.push_back(layer_phasors(gate, times, share));
    }
    out.spectra.resize(layers, gate.bins());
    out.residual = gate.values;
    const double total = times.weight.sum();
    const Eigen::ArrayXcd weight = times.weight.cast<std::complex<double>>();
    for (Eigen::Index j = 0; j < gate.bins(); ++j) {
        Eigen::MatrixXcd gram(layers, layers);
        Eigen::VectorXcd right(layers);
        for (Eigen::Index k = 0; k < layers; ++k) {
            const Eigen::ArrayXcd row =
                out.phasors[static_cast<std::size_t>(k)].col(j).conjugate() * weight;
            right[k] = (row * gate.values.col(j)).sum();
            for (Eigen::Index l = 0; l < layers; ++l) {
                gram(k, l) = (row * out.phasors[static_cast<std::size_t>(l)].col(j)).sum();
            }
        }
        gram.diagonal().array() += ridge * total;
        const Eigen::VectorXcd s = gram.ldlt().solve(right);
        out.spectra.col(j) = s.array();
        for (Eigen::Index k = 0; k < layers; ++k) {
            out.residual.col(j) -= s[k] * out.phasors[static_cast<std::size_t>(k)].col(j);
        }
        out.gram.push_back(std::move(gram));
    }
    out.squared_residual = (out.residual.abs2().colwise() * times.weight).sum();
    out.cost = out.squared_residual + ridge * total * out.spectra.abs2().sum();
    return out;
}

// Gauss-Newton normal equations in (a_1, b_1, a_2, b_2, ...).
inline void layer_normal_equations(const GateSpectrum& gate, const LayerTimes& times,
                                   const LayerEvaluation& at, Eigen::MatrixXd& hessian,
                                   Eigen::VectorXd& gradient) {
    const Eigen::Index layers = at.spectra.rows();
    const Eigen::Index frames = gate.values.rows();
    const Eigen::ArrayXd root = times.weight.sqrt();
    hessian.setZero(2 * layers, 2 * layers);
    gradient.setZero(2 * layers);
    Eigen::MatrixXcd basis(frames, layers);
    Eigen::MatrixXcd columns(frames, 2 * layers);
    for (Eigen::Index j = 0; j < gate.bins(); ++j) {
        const std::complex<double> scale{
            0, -2 * std::numbers::pi * gate.frequencies[j] * 2 / times.sound_speed};
        for (Eigen::Index k = 0; k < layers; ++k) {
            basis.col(k) = (root * at.phasors[static_cast<std::size_t>(k)].col(j)).matrix();
            columns.col(2 * k) =
                (scale * at.spectra(k, j) * basis.col(k).array() * times.pulse).matrix();
            columns.col(2 * k + 1) =
                (scale * at.spectra(k, j) * basis.col(k).array() * times.bulk).matrix();
        }
        const Eigen::MatrixXcd within =
            at.gram[static_cast<std::size_t>(j)].ldlt().solve(basis.adjoint() * columns);
        columns.noalias() -= basis * within;
        hessian.noalias() += (columns.adjoint() * columns).real();
        gradient.noalias() += (columns.adjoint() * (root * at.residual.col(j)).matrix()).real();
    }
}

}  // namespace detail

/// Fits the shares of shares.size() >= 1 layers, starting from the given ones. Steps that do not
/// lower the cost are damped (Levenberg 1944) and at last dropped, so the cost never rises above
/// that of the start.
[[nodiscard]] inline LayerFit fit_layers(const GateSpectrum& gate, const LayerTimes& times,
                                         std::vector<LayerShare> shares,
                                         const LayerFitOptions& options = {}) {
    require(!shares.empty(), "number of layers", shares.size(), "must be at least 1");
    require(times.weight.sum() > 0, "number of usable frames", times.weight.sum(),
            "must be at least 1");
    detail::LayerEvaluation at = detail::evaluate_layers(gate, times, shares, options.ridge);
    double damping = 1e-3;
    Eigen::MatrixXd hessian;
    Eigen::VectorXd gradient;
    LayerFit fit;
    for (bool done = false; !done && fit.iterations < options.iterations; ++fit.iterations) {
        detail::layer_normal_equations(gate, times, at, hessian, gradient);
        done = true;
        for (int attempt = 0; attempt < 5; ++attempt) {
            Eigen::MatrixXd damped = hessian;
            damped.diagonal() *= 1 + damping;
            damped.diagonal().array() += 1e-12 * hessian.trace();
            const Eigen::VectorXd step = damped.ldlt().solve(gradient);
            std::vector<LayerShare> trial = shares;
            for (std::size_t k = 0; k < trial.size(); ++k) {
                trial[k].pulse += step[static_cast<Eigen::Index>(2 * k)];
                trial[k].bulk += step[static_cast<Eigen::Index>(2 * k + 1)];
            }
            detail::LayerEvaluation next =
                detail::evaluate_layers(gate, times, trial, options.ridge);
            if (next.cost < at.cost) {
                done = at.cost - next.cost < options.tolerance * at.cost;
                shares = std::move(trial);
                at = std::move(next);
                damping *= 0.2;
                break;
            }
            damping = std::max(10 * damping, 1e-3);
        }
    }
    const double values = times.weight.sum() * static_cast<double>(gate.bins());
    fit.shares = std::move(shares);
    fit.spectra = std::move(at.spectra);
    fit.cost = at.cost;
    fit.noise = at.squared_residual / values;
    fit.power = (gate.values.abs2().colwise() * times.weight).sum() / values;
    return fit;
}

/// The gate's spectra with all layers but `kept` taken out: [frames x bins].
[[nodiscard]] inline Eigen::ArrayXXcd isolated_layer(const GateSpectrum& gate,
                                                     const LayerTimes& times, const LayerFit& fit,
                                                     std::size_t kept) {
    Eigen::ArrayXXcd rest = gate.values;
    for (std::size_t k = 0; k < fit.shares.size(); ++k) {
        if (k != kept) {
            const Eigen::ArrayXXcd phasors = layer_phasors(gate, times, fit.shares[k]);
            rest -= phasors.rowwise() * fit.spectra.row(static_cast<Eigen::Index>(k));
        }
    }
    return rest;
}

}  // namespace echosieve
