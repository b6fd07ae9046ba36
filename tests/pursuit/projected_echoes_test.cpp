// Amplitudes, residual, gradient and matrix of several echoes against dense algebra on columns made
// by differences.
#include "echosieve/pursuit/detail/projected_echoes.hpp"

#include <Eigen/Dense>
#include <cmath>
#include <complex>

#include "support/check.hpp"
#include "support/echoes.hpp"

using namespace echosieve;
using namespace echosieve::test;
using Complex = std::complex<double>;
using Plain = Gabor<double>;
using Chirped = ChirpedGabor<double>;

namespace {

template <FittedAtom A>
std::vector<Echo<A>> some_echoes() {
    std::vector<Echo<A>> out{{{}, {0.9, 0.3}}, {{}, {-0.4, 0.8}}, {{}, {0.1, -0.6}}};
    const double arrivals[] = {21.2e-6, 22.0e-6, 24.1e-6};
    for (std::size_t k = 0; k < 3; ++k) {
        out[k].atom.arrival = arrivals[k];
        out[k].atom.centre_frequency = 4e6 + 1e5 * static_cast<double>(k);
        out[k].atom.bandwidth = 1.2e6 - 1e5 * static_cast<double>(k);
        if constexpr (std::same_as<A, Chirped>) {
            out[k].atom.chirp_rate = 4e11 * (static_cast<double>(k) - 1.2);
        }
    }
    return out;
}

template <FittedAtom A>
std::vector<A> atoms_of(const std::vector<Echo<A>>& echoes) {
    std::vector<A> out;
    for (const Echo<A>& echo : echoes) {
        out.push_back(echo.atom);
    }
    return out;
}

template <FittedAtom A>
Eigen::VectorXd units_of(const std::vector<Echo<A>>& echoes) {
    constexpr Eigen::Index p = atom_parameters<A>;
    Eigen::VectorXd out(p * static_cast<Eigen::Index>(echoes.size()));
    for (Eigen::Index i = 0; i < out.size(); ++i) {
        out[i] = parameter_unit(echoes[static_cast<std::size_t>(i / p)].atom, i % p);
    }
    return out;
}

template <Sample T, FittedAtom A>
void compare_with_dense(const SamplingGrid& grid) {
    constexpr Eigen::Index p = atom_parameters<A>;
    auto echoes = some_echoes<A>();
    RandomStream stream(3);
    Eigen::VectorXd y = slow_rows<T>(echoes, grid);
    for (Eigen::Index i = 0; i < y.size(); ++i) {
        y[i] += 0.3 * stream.normal();
    }
    const Eigen::VectorXd units = units_of(echoes);
    ProjectedEchoes<A> projected(grid, is_complex<T>, units);
    projected.project(atoms_of(echoes), y);

    Eigen::MatrixXd phi(y.size(), 6);
    for (Eigen::Index k = 0; k < 3; ++k) {
        std::vector<Echo<A>> one{echoes[static_cast<std::size_t>(k)]};
        one[0].amplitude = 1;
        phi.col(2 * k) = slow_rows<T>(one, grid);
        one[0].amplitude = {0, 1};
        phi.col(2 * k + 1) = slow_rows<T>(one, grid);
    }
    const Eigen::VectorXd best = phi.colPivHouseholderQr().solve(y);
    const double tolerance = 1e-10;  // the recurrence over 200 samples, and sums of as many
    for (Eigen::Index k = 0; k < 3; ++k) {
        const Complex expected(best[2 * k], best[2 * k + 1]);
        CHECK_WITHIN(projected.amplitude(k), expected, tolerance);
        echoes[static_cast<std::size_t>(k)].amplitude = expected;
    }
    const Eigen::VectorXd residual = y - phi * best;
    CHECK_WITHIN_RELATIVE(projected.energy(), residual.squaredNorm(), tolerance);

    Eigen::MatrixXd derivatives(y.size(), 3 * p);
    for (Eigen::Index i = 0; i < 3 * p; ++i) {
        derivatives.col(i) =
            units[i] * slow_derivative<T>(echoes, grid, static_cast<std::size_t>(i / p), i % p);
    }
    const Eigen::MatrixXd rest = derivatives - phi * phi.colPivHouseholderQr().solve(derivatives);
    const double size = rest.norm();
    const double differences = 1e-8;  // of columns 13 times as long as what the projection leaves
    CHECK_WITHIN((projected.gram() - rest.transpose() * rest).norm(), 0.0,
                 differences * size * size);
    CHECK_WITHIN((projected.gradient() - rest.transpose() * y).norm(), 0.0,
                 differences * size * y.norm());
}

}  // namespace

TEST_CASE_TEMPLATE("the projection against dense algebra", A, Plain, Chirped) {
    compare_with_dense<double, A>({20e-6, 40e6, 220, 0});
    compare_with_dense<Complex, A>({20e-6, 40e6, 220, 0});    // analytic
    compare_with_dense<Complex, A>({20e-6, 8e6, 50, 3.9e6});  // baseband
}

// The gradient of the reduced cost is Kaufman's too: dE = -2 h.
TEST_CASE_TEMPLATE("the gradient against differences of the residual energy", T, double, Complex) {
    const SamplingGrid grid =
        is_complex<T> ? SamplingGrid{20e-6, 8e6, 50, 4e6} : SamplingGrid{20e-6, 40e6, 220, 0};
    const auto echoes = some_echoes<Chirped>();
    RandomStream stream(4);
    Eigen::VectorXd y = slow_rows<T>(echoes, grid);
    for (Eigen::Index i = 0; i < y.size(); ++i) {
        y[i] += 0.3 * stream.normal();
    }
    const Eigen::VectorXd units = units_of(echoes);
    ProjectedEchoes<Chirped> projected(grid, is_complex<T>, units);
    projected.project(atoms_of(echoes), y);
    const Eigen::VectorXd gradient = projected.gradient();
    const double step = 1e-4;  // in units: differences of fourth order, rounding 1e-12
    for (Eigen::Index i = 0; i < units.size(); ++i) {
        const auto energy = [&](double by) {
            projected.project(atoms_of(moved(echoes, static_cast<std::size_t>(i / 4), i % 4,
                                             by * step * units[i])),
                              y);
            return projected.energy();
        };
        const double slope =
            (8 * (energy(1) - energy(-1)) - (energy(2) - energy(-2))) / (12 * step);
        CHECK_WITHIN(slope, -2 * gradient[i], 1e-8 * y.squaredNorm());
    }
}

TEST_CASE("of equal atoms one takes the whole amplitude, and nothing blows up") {
    const SamplingGrid grid{20e-6, 40e6, 220, 0};
    const Plain atom{22e-6, 4e6, 1e6};
    const Plain elsewhere{70e-6, 4e6, 1e6};
    const std::vector<Echo<Plain>> one{{atom, {0.7, 0.2}}};
    const Eigen::VectorXd y = slow_rows<double>(one, grid);
    const std::vector<Echo<Plain>> three{{atom, 1}, {atom, 1}, {elsewhere, 1}};
    ProjectedEchoes<Plain> projected(grid, false, units_of(three));
    projected.project(atoms_of(three), y);
    CHECK_WITHIN(projected.amplitude(0) + projected.amplitude(1), Complex(0.7, 0.2), 1e-11);
    CHECK(std::abs(projected.amplitude(0)) <= 1);
    CHECK(std::abs(projected.amplitude(1)) <= 1);
    CHECK(projected.amplitude(2) == Complex{});
    CHECK(projected.gram().allFinite());
    CHECK_WITHIN(projected.energy(), 0.0, 1e-20);
}
