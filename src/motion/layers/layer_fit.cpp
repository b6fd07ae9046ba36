#include "motion/layers/layer_fit.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <complex>
#include <cstddef>
#include <numbers>
#include <utility>
#include <vector>

#include "echosieve/core/error.hpp"
#include "motion/layers/layer_sums.hpp"
#include "motion/layers/moved_layers.hpp"

namespace echosieve {

namespace {

using Complex = std::complex<double>;
// Damping of the normal equations, as a part of their diagonal (Levenberg 1944).
constexpr double first_damping = 1e-3;
constexpr double damping_lowered = 0.2;  // after a step that lowers the cost
constexpr double damping_raised = 10;    // after one that does not
constexpr int most_attempts = 5;         // at a step
constexpr double least_diagonal =
    1e-12;  // over the trace: layers that explain nothing have no slope
using Square = Eigen::Matrix<Complex, Eigen::Dynamic, Eigen::Dynamic, 0, most_layers, most_layers>;
using Column = Eigen::Matrix<Complex, Eigen::Dynamic, 1, 0, most_layers, 1>;
using Slopes =
    Eigen::Matrix<Complex, Eigen::Dynamic, Eigen::Dynamic, 0, most_layers, 2 * most_layers>;
using Hessian =
    Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, 2 * most_layers, 2 * most_layers>;
using Gradient = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, 2 * most_layers, 1>;

// Where the layers' shares are, and all that the sums over frames say of the cost there.
struct LayerEvaluation {
    LayerSums sums;
    Eigen::ArrayXXcd spectra;  // S
    double cost = 0;
    double squared_residual = 0;
};

class LayerProblem {
public:
    LayerProblem(const GateSpectrum& gate, const LayerTimes& times, Eigen::Index layers,
                 double ridge)
        : gate_(gate),
          summer_(gate, times, layers),
          total_(times.weight.sum()),
          ridge_(ridge * total_),
          energy_((gate.values.abs2().colwise() * times.weight).sum()),
          slope_(-2 * std::numbers::pi * 2 / times.sound_speed) {}

    [[nodiscard]] double energy() const { return energy_; }

    void evaluate(const std::vector<LayerShare>& shares, LayerEvaluation& out) {
        summer_.sum(shares, out.sums);
        const auto layers = static_cast<Eigen::Index>(shares.size());
        out.spectra.resize(layers, gate_.bins());
        double explained = 0;
        double size = 0;
        for (Eigen::Index j = 0; j < gate_.bins(); ++j) {
            Square gram = out.sums.pairs(j, 0);
            gram.diagonal().array() += ridge_;
            const Column right = out.sums.projections(j, 0);
            const Column s = gram.ldlt().solve(right);
            out.spectra.col(j) = s.array();
            explained += s.dot(right).real();
            size += s.squaredNorm();
        }
        // (G + r) S = h
        out.cost = energy_ - explained;
        out.squared_residual = std::max(energy_ - explained - ridge_ * size, 0.0);
    }

    // Gauss-Newton normal equations in (a_1, b_1, a_2, b_2, ...): the columns' part that the
    // spectra can't follow.
    void normal_equations(const LayerEvaluation& at, Hessian& hessian, Gradient& gradient) const {
        const Eigen::Index layers = at.spectra.rows();
        hessian.setZero(2 * layers, 2 * layers);
        gradient.setZero(2 * layers);
        Slopes columns(layers, 2 * layers);  // B^H C
        Eigen::Matrix<Complex, Eigen::Dynamic, Eigen::Dynamic, 0, 2 * most_layers, 2 * most_layers>
            both(2 * layers, 2 * layers);  // C^H C
        Eigen::Matrix<Complex, Eigen::Dynamic, 1, 0, 2 * most_layers, 1> right(2 * layers);
        for (Eigen::Index j = 0; j < gate_.bins(); ++j) {
            const Column spectrum = at.spectra.col(j).matrix();
            const Column s = Complex(0, slope_ * gate_.frequencies[j]) * spectrum;
            const Square gram = at.sums.pairs(j, 0);
            for (int m = 0; m < 2; ++m) {
                const Square moved = at.sums.pairs(j, 1 + m);
                const Column rest = at.sums.projections(j, 1 + m) - moved * spectrum;
                for (Eigen::Index k = 0; k < layers; ++k) {
                    columns.col(2 * k + m) = moved.col(k) * s[k];
                    right[2 * k + m] = std::conj(s[k]) * rest[k];
                }
                for (int n = 0; n < 2; ++n) {
                    const Square twice = at.sums.pairs(j, 3 + m + n);
                    for (Eigen::Index k = 0; k < layers; ++k) {
                        for (Eigen::Index l = 0; l < layers; ++l) {
                            both(2 * k + m, 2 * l + n) = std::conj(s[k]) * s[l] * twice(k, l);
                        }
                    }
                }
            }
            Square ridged = gram;
            ridged.diagonal().array() += ridge_;
            const Slopes within = ridged.ldlt().solve(columns);
            const Column left = at.sums.projections(j, 0) - gram * spectrum;
            const Slopes half = 0.5 * (gram * within) - columns;
            both.noalias() += within.adjoint() * half + half.adjoint() * within;
            right.noalias() -= within.adjoint() * left;
            hessian += both.real();
            gradient += right.real();
        }
    }

private:
    const GateSpectrum& gate_;
    LayerSummer summer_;
    double total_ = 0;
    double ridge_ = 0;
    double energy_ = 0;
    double slope_ = 0;
};

// Moves the shares downhill; the number of steps.
int lower_cost(LayerProblem& problem, std::vector<LayerShare>& shares, LayerEvaluation& at,
               const LayerFitOptions& options) {
    LayerEvaluation next;
    double damping = first_damping;
    Hessian hessian;
    Gradient gradient;
    std::vector<LayerShare> trial = shares;
    int iterations = 0;
    for (bool done = false; !done && iterations < options.iterations; ++iterations) {
        problem.normal_equations(at, hessian, gradient);
        done = true;
        for (int attempt = 0; attempt < most_attempts; ++attempt) {
            Hessian damped = hessian;
            damped.diagonal() *= 1 + damping;
            damped.diagonal().array() += least_diagonal * hessian.trace();
            const Gradient step = damped.ldlt().solve(gradient);
            for (std::size_t k = 0; k < trial.size(); ++k) {
                trial[k].pulse = shares[k].pulse + step[static_cast<Eigen::Index>(2 * k)];
                trial[k].bulk = shares[k].bulk + step[static_cast<Eigen::Index>(2 * k + 1)];
            }
            problem.evaluate(trial, next);
            if (next.cost < at.cost) {
                done = at.cost - next.cost < options.tolerance * at.cost;
                std::swap(shares, trial);
                std::swap(at, next);
                damping *= damping_lowered;
                break;
            }
            damping = std::max(damping_raised * damping, first_damping);
        }
    }
    return iterations;
}

}  // namespace

LayerFit fit_layers(const GateSpectrum& gate, const LayerTimes& times,
                    std::vector<LayerShare> shares, const LayerFitOptions& options) {
    require(!shares.empty() && shares.size() <= most_layers, "number of layers", shares.size(),
            detail::concatenate("must be 1 to ", most_layers));
    require(times.weight.sum() > 0, "number of usable frames", times.weight.sum(),
            "must be at least 1");
    LayerProblem problem(gate, times, static_cast<Eigen::Index>(shares.size()), options.ridge);
    LayerFit fit;
    LayerEvaluation at;
    problem.evaluate(shares, at);
    fit.iterations = lower_cost(problem, shares, at, options);
    const double values = times.weight.sum() * static_cast<double>(gate.bins());
    fit.shares = std::move(shares);
    fit.spectra = std::move(at.spectra);
    fit.cost = at.cost;
    fit.noise = at.squared_residual / values;
    fit.power = problem.energy() / values;
    if (options.rest) {
        fit.rest = gate.values;
        add_moved_layers(fit.rest, gate, times, {fit.shares, -fit.spectra});
    }
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
        fit = fit_layers(gate, times, fit.shares, {.iterations = 0, .rest = fit.rest.size() > 0});
    }
}

Eigen::ArrayXXcd isolated_layer(const GateSpectrum& gate, const LayerTimes& times,
                                const LayerFit& fit, std::size_t kept) {
    Eigen::ArrayXXcd rest = gate.values;
    Eigen::ArrayXXcd others = -fit.spectra;
    others.row(static_cast<Eigen::Index>(kept)).setZero();
    add_moved_layers(rest, gate, times, {fit.shares, std::move(others)});
    return rest;
}

}  // namespace echosieve
