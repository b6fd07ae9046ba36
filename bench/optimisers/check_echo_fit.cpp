// Checks the fits that optimisers are compared on: value, batch, gradient, normal equations and
// residuals against dense algebra, against ProjectedEchoes of the library, against each other and
// against differences. Ends with status 1 if any is off.
//
//   check_echo_fit
#include <Eigen/Core>
#include <Eigen/QR>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdio>
#include <limits>
#include <span>
#include <vector>

#include "echo_fit.hpp"
#include "echosieve/atoms/detail/atom_derivatives.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/pursuit/detail/projected_echoes.hpp"

namespace {

using namespace echosieve;
using namespace bench;

// One figure's largest error over all points and problems.
struct Check {
    const char* name;
    double tolerance;
    double worst = 0;

    void take(double error) {
        // A NaN stays.
        worst = error <= worst ? worst : error;
    }
};

// Relative to E unless said otherwise. At 40 dB E is 1e-4 of |y|^2, from which it is what is left,
// so that roundings of 1e-16 |y|^2 are as much larger.
struct Checks {
    Check batch{"batch and value", 1e-11};
    Check gradient_value{"value beside the gradient", 1e-11};
    Check normal_value{"value beside the normal equations", 1e-11};
    Check dense{"value and dense algebra", 1e-11};
    // Of the largest entry that Cauchy and Schwarz allow, |P D| |r|, or of |J' J|.
    Check gradient{"gradient and differences", 1e-6};  // of fourth order, steps of 1e-4 of the box
    Check half{"J' r and half the gradient", 1e-12};
    Check dense_half{"J' r and dense algebra", 1e-11};
    Check gram{"J' J and dense algebra", 1e-10};
    Check residuals{"|r|^2 and value", 1e-11};
    Check jacobian{"J and J' J", 1e-10};
    Check jacobian_half{"J, r and J' r", 1e-11};
    // Without the amplitudes' deviation; what there is of rho makes 1e-14 |a|^2.
    Check library{"value and ProjectedEchoes", 1e-9};
    Check library_half{"J' r and ProjectedEchoes", 1e-9};
    // Echoes that nearly coincide lose digits, both ways.
    Check library_gram{"J' J and ProjectedEchoes", 1e-8};
    Check equal_echoes{"equal echoes and one fewer", 1e-9};

    [[nodiscard]] std::vector<Check*> all() {
        return {&batch,         &gradient_value, &normal_value, &dense,        &gradient,
                &half,          &dense_half,     &gram,         &residuals,    &jacobian,
                &jacobian_half, &library,        &library_half, &library_gram, &equal_echoes};
    }
};

Eigen::Map<const Eigen::MatrixXd> as_matrix(const std::vector<double>& x, std::size_t rows) {
    return {x.data(), static_cast<Eigen::Index>(rows), static_cast<Eigen::Index>(x.size() / rows)};
}

// The numbers of a fit by a complex QR of the sampled echoes and, below them, sqrt(rho).
struct Dense {
    double value;
    Eigen::MatrixXd gram;
    Eigen::VectorXd half;

    Dense(const EchoFit& fit, const std::vector<double>& x) {
        const SamplingGrid& grid = fit.grid();
        const auto samples = static_cast<Eigen::Index>(grid.count);
        const auto echoes = static_cast<Eigen::Index>(fit.echoes());
        Eigen::MatrixXcd phi = Eigen::MatrixXcd::Zero(samples + echoes, echoes);
        Eigen::MatrixXcd slopes = Eigen::MatrixXcd::Zero(samples + echoes, 3 * echoes);
        Eigen::VectorXcd y = Eigen::VectorXcd::Zero(samples + echoes);
        std::ranges::copy(fit.frame(), y.begin());
        for (Eigen::Index k = 0; k < echoes; ++k) {
            const auto atom = fit.atom(x, static_cast<std::size_t>(k));
            sample(atom, grid, {phi.col(k).data(), grid.count});
            phi(samples + k, k) = std::sqrt(fit.ridge());
            auto slope = first_derivatives(atom);
            slope[0].c[0] = 0;  // along the atom
            const double widths[] = {fit.ranges().arrival.length(),
                                     fit.ranges().centre_frequency.width(),
                                     fit.ranges().bandwidth.width()};
            for (Eigen::Index j = 0; j < 3; ++j) {
                for (Eigen::Index n = 0; n < samples; ++n) {
                    const double u = grid.time(static_cast<double>(n)) - atom.arrival;
                    slopes(n, 3 * k + j) =
                        widths[j] * slope[static_cast<std::size_t>(j)](u) * phi(n, k);
                }
            }
        }
        const Eigen::ColPivHouseholderQR<Eigen::MatrixXcd> qr(phi);
        const Eigen::VectorXcd a = qr.solve(y);
        for (Eigen::Index i = 0; i < slopes.cols(); ++i) {
            slopes.col(i) *= a[i / 3];
        }
        const Eigen::MatrixXcd jacobian = phi * qr.solve(slopes) - slopes;
        const Eigen::VectorXcd r = y - phi * a;
        value = r.squaredNorm();
        gram = (jacobian.adjoint() * jacobian).real();
        half = (jacobian.adjoint() * r).real();
    }
};

void check_point(const EchoFit& fit, const std::vector<double>& x, Checks& checks) {
    const std::size_t n = fit.dimension();
    std::vector<double> gradient(n), half(n), gram(n * n), r(fit.rows()), jacobian(fit.rows() * n);
    const double value = fit(x);
    double batch = 0;
    fit.evaluate(Points<double>(x), {&batch, 1});
    checks.batch.take(std::abs(batch - value) / value);
    checks.gradient_value.take(std::abs(fit.value_and_gradient(x, gradient) - value) / value);
    checks.normal_value.take(std::abs(fit.normal_equations(x, gram, half) - value) / value);
    fit.residuals(x, r, jacobian);

    const Dense dense(fit, x);
    const double gram_size = dense.gram.norm();
    const double size = std::sqrt(dense.gram.trace() * value);
    const Eigen::MatrixXd g = as_matrix(gram, n);
    const Eigen::VectorXd h = as_matrix(half, n);
    checks.dense.take(std::abs(dense.value - value) / value);
    checks.gram.take((g - dense.gram).norm() / gram_size);
    checks.dense_half.take((h - dense.half).norm() / size);
    checks.half.take((as_matrix(gradient, n) - 2 * h).norm() / size);

    const Eigen::VectorXd residual = as_matrix(r, fit.rows());
    const Eigen::MatrixXd rows = as_matrix(jacobian, n).transpose();
    checks.residuals.take(std::abs(residual.squaredNorm() - value) / value);
    checks.jacobian.take((rows.transpose() * rows - g).norm() / gram_size);
    checks.jacobian_half.take((rows.transpose() * residual - h).norm() / size);

    for (std::size_t i = 0; i < n; ++i) {
        const double step = 1e-4;
        const auto at = [&](double by) {
            std::vector<double> there = x;
            there[i] += by * step;
            return fit(there);
        };
        const double slope = (8 * (at(1) - at(-1)) - (at(2) - at(-2))) / (12 * step);
        checks.gradient.take(std::abs(slope - gradient[i]) / size);
    }
}

// J' r of the library is of the residual's fall: the signs differ.
void check_library(const EchoFit& fit, const std::vector<double>& x, Checks& checks) {
    const std::size_t n = fit.dimension();
    std::vector<Gabor<double>> atoms;
    Eigen::VectorXd units(static_cast<Eigen::Index>(n));
    for (std::size_t k = 0; k < fit.echoes(); ++k) {
        const auto i = static_cast<Eigen::Index>(EchoFit::block * k);
        atoms.push_back(fit.atom(x, k));
        units[i] = fit.ranges().arrival.length();
        units[i + 1] = fit.ranges().centre_frequency.width();
        units[i + 2] = fit.ranges().bandwidth.width();
    }
    Eigen::VectorXd y(real_rows<std::complex<double>>(fit.grid().count));
    write_real_rows(fit.frame(), y);
    ProjectedEchoes<Gabor<double>> slow(fit.grid(), true, units);
    slow.project(atoms, y);
    std::vector<double> half(n), gram(n * n);
    const double value = fit.normal_equations(x, gram, half);
    const double size = std::sqrt(slow.gram().trace() * value);
    checks.library.take(std::abs(slow.energy() - value) / value);
    checks.library_half.take((as_matrix(half, n) + slow.gradient()).norm() / size);
    checks.library_gram.take((as_matrix(gram, n) - slow.gram()).norm() / slow.gram().norm());
}

// Two echoes on one place explain what one there does, and the numbers stay finite.
void check_equal_echoes(const EchoFit& fit, Checks& checks) {
    if (fit.echoes() < 2) {
        return;
    }
    const std::size_t n = fit.dimension();
    std::vector<double> x = fit.truth();
    for (std::size_t k = 0; k < EchoFit::block; ++k) {
        x[EchoFit::block + k] = x[k];
    }
    const double value = fit(x);
    double batch = 0;
    fit.evaluate(Points<double>(x), {&batch, 1});
    checks.equal_echoes.take(std::abs(batch - value) / value);
    // The energy that the one leaves, from the library.
    Eigen::VectorXd y(real_rows<std::complex<double>>(fit.grid().count));
    write_real_rows(fit.frame(), y);
    std::vector<Gabor<double>> atoms;
    for (std::size_t k = 1; k < fit.echoes(); ++k) {
        atoms.push_back(fit.atom(x, k));
    }
    ProjectedEchoes<Gabor<double>> slow(fit.grid(), true, parameter_units(atoms));
    slow.project(atoms, y);
    checks.equal_echoes.take(std::abs(slow.energy() - value) / value);
    std::vector<double> gram(n * n), half(n);
    fit.normal_equations(x, gram, half);
    for (const double entry : gram) {
        checks.equal_echoes.take(std::isfinite(entry) ? 0.0 : entry - entry);
    }
}

}  // namespace

int main() {
    Checks checks;
    constexpr int points = 30;
    std::size_t problems = 0;
    for (const EchoFitSettings& settings : echo_fit_series()) {
        const EchoFit fit(settings);
        EchoFitSettings unbounded = settings;
        unbounded.amplitude_deviation = std::numeric_limits<double>::infinity();
        const EchoFit bare(unbounded);
        RandomStream stream(settings.seed, 1);
        for (int point = 0; point < points; ++point) {
            // The truth, points near it, and points anywhere.
            std::vector<double> x = fit.truth();
            for (double& coordinate : x) {
                const double near = coordinate + 0.03 * (stream.uniform() - 0.5);
                const double far = stream.uniform();
                coordinate = point == 0 ? coordinate : point < points / 3 ? near : far;
                coordinate = std::clamp(coordinate, 0.0, 1.0);
            }
            check_point(fit, x, checks);
            check_library(bare, x, checks);
        }
        check_equal_echoes(bare, checks);
        ++problems;
    }
    int wrong = 0;
    std::printf("%zu fits, %d points each\n%-36s %9s %9s\n", problems, points, "", "error",
                "allowed");
    for (const Check* check : checks.all()) {
        const bool good = check->worst <= check->tolerance;
        wrong += good ? 0 : 1;
        std::printf("%-36s %9.1e %9.1e%s\n", check->name, check->worst, check->tolerance,
                    good ? "" : "  WRONG");
    }
    return wrong > 0 ? 1 : 0;
}
