// Checks the fits that optimisers are compared on: value, batch, gradient, normal equations and
// residuals against ProjectedEchoes of the library, against each other and against differences.
// Ends with status 1 if any is off.
//
//   check_echo_fit
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <span>
#include <string>
#include <vector>

#include "echo_fit.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/pursuit/projected_echoes.hpp"

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

// Relative to E unless said otherwise. At 40 dB E is 1e-4 of |y|^2, from which it is what is left:
// roundings of 1e-16 |y|^2 and the ridge's 1e-14 |a|^2 are as much larger.
struct Checks {
    Check batch{"batch and value", 1e-11};
    Check gradient_value{"value beside the gradient", 1e-11};
    Check normal_value{"value beside the normal equations", 1e-11};
    Check library{"value and ProjectedEchoes", 1e-9};
    // Of the largest entry that Cauchy and Schwarz allow, |D| |r|, or of |gram|.
    Check gradient{"gradient and differences", 1e-6};  // of fourth order, steps of 1e-4 of the box
    Check half{"J' r and half the gradient", 1e-12};
    Check library_gradient{"J' r and ProjectedEchoes", 1e-9};
    // Where echoes nearly coincide both ways lose digits.
    Check gram{"J' J and ProjectedEchoes", 1e-8};
    Check residuals{"|r|^2 and value", 1e-9};  // the ridge's part
    Check jacobian{"J and J' J", 1e-8};
    Check jacobian_gradient{"J, r and J' r", 1e-9};
    Check equal_echoes{"equal echoes and one fewer", 1e-9};

    [[nodiscard]] std::vector<Check*> all() {
        return {&batch,     &gradient_value, &normal_value,      &library,
                &gradient,  &half,           &library_gradient,  &gram,
                &residuals, &jacobian,       &jacobian_gradient, &equal_echoes};
    }
};

Eigen::Map<const Eigen::MatrixXd> as_matrix(const std::vector<double>& x, std::size_t rows) {
    return {x.data(), static_cast<Eigen::Index>(rows), static_cast<Eigen::Index>(x.size() / rows)};
}

// J' r of the library is of the residual's fall: the signs differ.
void check_point(const EchoFit& fit, const std::vector<double>& x, const Eigen::VectorXd& y,
                 Checks& checks) {
    const std::size_t n = fit.dimension();
    std::vector<double> gradient(n), half(n), gram(n * n), r(fit.rows()), jacobian(fit.rows() * n);
    const double value = fit(x);
    double batch = 0;
    fit.evaluate(Points<double>(x), {&batch, 1});
    checks.batch.take(std::abs(batch - value) / value);
    checks.gradient_value.take(std::abs(fit.value_and_gradient(x, gradient) - value) / value);
    checks.normal_value.take(std::abs(fit.normal_equations(x, gram, half) - value) / value);
    fit.residuals(x, r, jacobian);

    std::vector<Gabor<double>> atoms;
    Eigen::VectorXd units(n);
    for (std::size_t k = 0; k < fit.echoes(); ++k) {
        const auto i = static_cast<Eigen::Index>(3 * k);
        atoms.push_back(fit.atom(x, k));
        units[i] = fit.ranges().arrival.length();
        units[i + 1] = fit.ranges().centre_frequency.width();
        units[i + 2] = fit.ranges().bandwidth.width();
    }
    ProjectedEchoes<Gabor<double>> slow(fit.grid(), true, units);
    slow.project(atoms, y);
    checks.library.take(std::abs(slow.energy() - value) / value);

    const auto g = as_matrix(gram, n);
    const double gram_size = slow.gram().norm();
    checks.gram.take((g - slow.gram()).norm() / gram_size);
    const double size = std::sqrt(slow.gram().trace() * value);
    checks.library_gradient.take((as_matrix(half, n) + slow.gradient()).norm() / size);
    checks.half.take((as_matrix(gradient, n) - 2 * as_matrix(half, n)).norm() / size);

    const auto residual = as_matrix(r, fit.rows());
    const Eigen::MatrixXd rows = as_matrix(jacobian, n).transpose();
    checks.residuals.take(std::abs(residual.squaredNorm() - value) / value);
    checks.jacobian.take((rows.transpose() * rows - g).norm() / gram_size);
    checks.jacobian_gradient.take((rows.transpose() * residual - as_matrix(half, n)).norm() / size);

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
    Eigen::VectorXd y(static_cast<Eigen::Index>(fit.rows()));
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
        Eigen::VectorXd y(static_cast<Eigen::Index>(fit.rows()));
        write_real_rows(fit.frame(), y);
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
            check_point(fit, x, y, checks);
        }
        check_equal_echoes(fit, checks);
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
