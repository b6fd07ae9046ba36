#include "echosieve/atoms/inner_product.hpp"
#include "echosieve/correlate/delay.hpp"

#include <boost/math/quadrature/gauss_kronrod.hpp>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;
using echosieve::test::epsilon;

namespace {

using Complex = std::complex<double>;
using Chirped = Echo<ChirpedGabor<double>>;

// In microseconds and megahertz. All lags below are under a pulse: some ten turns of phase.
constexpr double closed_form_error = 20 * inner_product_error_epsilons * epsilon<double>;
constexpr double quadrature_error = 1e-12;

Chirped echo(double amplitude, double alpha, double arrival, double frequency, double phase,
             double chirp = 0) {
    return {{arrival, frequency, bandwidth_from_decay(alpha), chirp}, std::polar(amplitude, phase)};
}

const std::vector<Chirped> first{echo(1, 3.5719, 1, 4, .2), echo(.6, 3, 2.1, 3.9, -1)};
const std::vector<Chirped> second{echo(.95, 3.5719, 1.03, 4, .2),
                                  echo(.63, 3.1, 2.118, 3.88, -1.1)};

std::span<const Chirped> all(const std::vector<Chirped>& echoes) {
    return echoes;
}

Complex sum_at(const std::vector<Chirped>& echoes, double time) {
    Complex sum = 0;
    for (const Chirped& x : echoes) {
        sum += value(x, time);
    }
    return sum;
}

// The definition by quadrature, in pieces of a quarter of a microsecond.
Complex slow_correlation(const std::vector<Chirped>& x1, const std::vector<Chirped>& x2,
                         double lag) {
    Complex sum = 0;
    for (int k = -40; k < 60; ++k) {
        sum += boost::math::quadrature::gauss_kronrod<double, 61>::integrate(
            [&](double t) { return sum_at(x1, t + lag) * std::conj(sum_at(x2, t)); }, k * 0.25,
            (k + 1) * 0.25, 2, 1e-13);
    }
    return sum;
}

// The definition by a sum of samples at 125 MHz.
Complex sampled_correlation(const std::vector<Chirped>& x1, const std::vector<Chirped>& x2,
                            double lag) {
    Complex sum = 0;
    for (int n = -1000; n < 2000; ++n) {
        const double time = n / 125.0;
        sum += sum_at(x1, time + lag) * std::conj(sum_at(x2, time)) / 125.0;
    }
    return sum;
}

std::vector<Chirped> random_echoes(RandomStream& stream, int count) {
    std::vector<Chirped> echoes;
    for (int k = 0; k < count; ++k) {
        echoes.push_back(echo(stream.uniform(.2, 1.0), stream.uniform(1.0, 9.0),
                              stream.uniform(0.0, 3.0), stream.uniform(2.0, 6.0),
                              stream.uniform(-3.0, 3.0), stream.uniform(-1.0, 1.0)));
    }
    return echoes;
}

}  // namespace

// Worked example, computed by quadrature in 30 digits and printed to twelve.
TEST_CASE("two sums of two echoes") {
    constexpr double printed = 1e-12;
    CHECK_WITHIN(cross_correlation(all(first), all(second), 0).value,
                 Complex(0.598089033330, 0.505479781966), printed);
    CHECK_WITHIN(cross_correlation(all(first), all(second), .024).value,
                 Complex(0.207416798328, 0.750922005865), printed);
    CHECK_WITHIN(cross_correlation(all(first), all(second), -.032).value,
                 Complex(0.780958791592, -0.076551398398), printed);
    CHECK_WITHIN(std::arg(cross_correlation(all(first), all(second), 0).value), 0.7016763580,
                 1e-10);
}

TEST_CASE("the closed form is the integral, and the sum of samples at 125 MHz") {
    RandomStream stream(11);
    for (int trial = 0; trial < 20; ++trial) {
        const std::vector<Chirped> x1 = random_echoes(stream, 1 + trial % 3);
        const std::vector<Chirped> x2 = random_echoes(stream, 1 + trial % 2);
        for (double lag : {0.0, 0.013, -0.4, 1.7}) {
            const Complex closed = cross_correlation(all(x1), all(x2), lag).value;
            CHECK_WITHIN(closed, slow_correlation(x1, x2, lag), quadrature_error);
            CHECK_WITHIN(closed, sampled_correlation(x1, x2, lag), quadrature_error);
        }
    }
}

TEST_CASE("the derivatives in the lag are the difference quotients") {
    RandomStream stream(12);
    // Five points a step h apart: h^4 omega^5 / 30 = 3e-9 of truncation, rounding of 1e-15 / h.
    constexpr double h = 2e-4;
    constexpr double tolerance = 1e-8;
    for (int trial = 0; trial < 200; ++trial) {
        const std::vector<Chirped> x1 = random_echoes(stream, 2);
        const std::vector<Chirped> x2 = random_echoes(stream, 2);
        const double lag = stream.uniform(-1.0, 1.0);
        const auto at = [&](double steps) {
            return cross_correlation(all(x1), all(x2), lag + steps * h).value;
        };
        const Complex quotient = (at(-2) - 8.0 * at(-1) + 8.0 * at(1) - at(2)) / (12 * h);
        CHECK_WITHIN(cross_correlation(all(x1), all(x2), lag).derivative, quotient,
                     tolerance * 2 * std::numbers::pi * 6);
        const auto slope = [&](double steps) {
            return cross_correlation(all(x1), all(x2), lag + steps * h).derivative;
        };
        const Complex bend = (slope(-2) - 8.0 * slope(-1) + 8.0 * slope(1) - slope(2)) / (12 * h);
        const double per_second = 2 * std::numbers::pi * 6;
        CHECK_WITHIN(cross_correlation(all(x1), all(x2), lag).second_derivative, bend,
                     tolerance * per_second * per_second);
    }
}

TEST_CASE("lag zero is the inner product and swapped echoes give the mirrored conjugate") {
    RandomStream stream(13);
    for (int trial = 0; trial < 200; ++trial) {
        const std::vector<Chirped> x1 = random_echoes(stream, 1);
        const std::vector<Chirped> x2 = random_echoes(stream, 1);
        CHECK_WITHIN(cross_correlation(x1[0], x2[0], 0).value, inner_product(x1[0], x2[0]),
                     closed_form_error);
        const double lag = stream.uniform(-1.0, 1.0);
        const CorrelationValue r12 = cross_correlation(x1[0], x2[0], lag);
        const CorrelationValue r21 = cross_correlation(x2[0], x1[0], -lag);
        CHECK_WITHIN(r12.value, std::conj(r21.value), closed_form_error);
        CHECK_WITHIN(r12.derivative, -std::conj(r21.derivative),
                     closed_form_error * 2 * std::numbers::pi * 10);
        // A lag is a shift of the first echo.
        Chirped shifted = x1[0];
        shifted.atom.arrival -= lag;
        CHECK_WITHIN(r12.value, inner_product(shifted, x2[0]), closed_form_error);
    }
}

TEST_CASE("energies of sums, and Cauchy-Schwarz at any lag") {
    RandomStream stream(14);
    for (int trial = 0; trial < 100; ++trial) {
        const std::vector<Chirped> x1 = random_echoes(stream, 3);
        const std::vector<Chirped> x2 = random_echoes(stream, 2);
        CHECK_WITHIN(cross_correlation(all(x1), all(x1), 0).value.imag(), 0.0, closed_form_error);
        CHECK_WITHIN(energy(all(x1)), slow_correlation(x1, x1, 0).real(), quadrature_error);
        const double bound = std::sqrt(energy(all(x1)) * energy(all(x2)));
        CHECK(std::abs(cross_correlation(all(x1), all(x2), stream.uniform(-2.0, 2.0)).value) <=
              bound + closed_form_error);
    }
    CHECK(energy(std::span<const Chirped>()) == 0);
    CHECK(cross_correlation(std::span<const Chirped>(), all(first), 0).value == Complex(0, 0));
}

TEST_CASE("float echoes are correlated in double, plain and chirped together") {
    const Echo<Gabor<float>> x1{{20e-6F, 4e6F, 1e6F}, {1, 0.5F}};
    const Echo<ChirpedGabor<double>> x2{{20.1e-6, 4.1e6, 1.2e6, 2e11}, {0.7, -1}};
    const Echo<Gabor<double>> wide{
        {double{x1.atom.arrival}, double{x1.atom.centre_frequency}, double{x1.atom.bandwidth}},
        {1, 0.5}};
    const Complex mixed = cross_correlation(x1, x2, 3e-8).value;
    CHECK_WITHIN_RELATIVE(mixed, cross_correlation(wide, x2, 3e-8).value, closed_form_error);
}

TEST_CASE("far apart the correlation underflows to zero, its derivative with it") {
    const CorrelationValue r = cross_correlation(first[0], first[0], 1e3);
    CHECK(r.value == Complex(0, 0));
    CHECK(r.derivative == Complex(0, 0));
    const CorrelationValue far = cross_correlation(first[0], first[0], -1e160);
    CHECK(far.value == Complex(0, 0));
}
