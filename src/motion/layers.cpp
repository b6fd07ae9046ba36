#include "echosieve/motion/layers.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/gate_spectrum.hpp"

namespace echosieve {

Eigen::ArrayXd delayed(const Eigen::ArrayXd& x, double frames) {
    Eigen::ArrayXd out(x.size());
    const auto last = static_cast<double>(x.size() - 1);
    for (Eigen::Index i = 0; i < x.size(); ++i) {
        const double place = std::clamp(static_cast<double>(i) - frames, 0.0, last);
        const auto k = std::min(static_cast<Eigen::Index>(place), x.size() - 2);
        const double t = place - static_cast<double>(k);
        out[i] = (1 - t) * x[k] + t * x[k + 1];
    }
    return out;
}

LayerTimes LayerTimes::late() const {
    LayerTimes out = *this;
    if (lag != 0) {
        out.pulse = delayed(pulse, lag);
    }
    return out;
}

Eigen::ArrayXXcd layer_phasors(const GateSpectrum& gate, const LayerTimes& times,
                               const LayerShare& share) {
    const double scale = -2 * std::numbers::pi * 2 / times.sound_speed;
    const Eigen::ArrayXd path = scale * (share.pulse * times.pulse + share.bulk * times.bulk);
    Eigen::ArrayXXcd phasors(path.size(), gate.bins());
    // The bins are evenly spaced: each phasor is its neighbour's, turned by one step.
    const double first = gate.frequencies[0];
    const double step = gate.bins() > 1 ? gate.frequencies[1] - first : 0;
    Eigen::ArrayXcd turn(path.size());
    for (Eigen::Index i = 0; i < path.size(); ++i) {
        phasors(i, 0) = {std::cos(first * path[i]), std::sin(first * path[i])};
        turn[i] = {std::cos(step * path[i]), std::sin(step * path[i])};
    }
    for (Eigen::Index j = 1; j < gate.bins(); ++j) {
        phasors.col(j) = phasors.col(j - 1) * turn;
    }
    return phasors;
}

namespace {

struct LayerEvaluation {
    std::vector<Eigen::ArrayXXcd> phasors;  // E_k
    std::vector<Eigen::MatrixXcd> gram;     // per bin, ridge included
    Eigen::ArrayXXcd spectra;               // S
    Eigen::ArrayXXcd residual;              // Y - sum S E
    double cost = 0;
    double squared_residual = 0;
};

LayerEvaluation evaluate_layers(const GateSpectrum& gate, const LayerTimes& times,
                                const std::vector<LayerShare>& shares, double ridge) {
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
void layer_normal_equations(const GateSpectrum& gate, const LayerTimes& times,
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

}  // namespace

LayerFit fit_layers(const GateSpectrum& gate, const LayerTimes& times,
                    std::vector<LayerShare> shares, const LayerFitOptions& options) {
    require(!shares.empty(), "number of layers", shares.size(), "must be at least 1");
    require(times.weight.sum() > 0, "number of usable frames", times.weight.sum(),
            "must be at least 1");
    LayerEvaluation at = evaluate_layers(gate, times, shares, options.ridge);
    double damping = 1e-3;
    Eigen::MatrixXd hessian;
    Eigen::VectorXd gradient;
    LayerFit fit;
    for (bool done = false; !done && fit.iterations < options.iterations; ++fit.iterations) {
        layer_normal_equations(gate, times, at, hessian, gradient);
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
            LayerEvaluation next = evaluate_layers(gate, times, trial, options.ridge);
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
    fit.rest = std::move(at.residual);
    fit.cost = at.cost;
    fit.noise = at.squared_residual / values;
    fit.power = (gate.values.abs2().colwise() * times.weight).sum() / values;
    return fit;
}

void put_fastest_first(LayerFit& fit, const GateSpectrum& gate, const LayerTimes& times,
                       double direction) {
    const auto fastest = std::max_element(fit.shares.begin(), fit.shares.end(),
                                          [&](const LayerShare& x, const LayerShare& y) {
                                              return direction * x.pulse < direction * y.pulse;
                                          });
    if (fastest != fit.shares.begin()) {
        std::iter_swap(fit.shares.begin(), fastest);
        fit = fit_layers(gate, times, fit.shares, {.iterations = 0});
    }
}

Eigen::ArrayXXcd isolated_layer(const GateSpectrum& gate, const LayerTimes& times,
                                const LayerFit& fit, std::size_t kept) {
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
