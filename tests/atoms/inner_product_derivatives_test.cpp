#include "echosieve/atoms/inner_product.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "support/check.hpp"

using namespace echosieve;
using echosieve::test::epsilon;

namespace {

using Chirp = ChirpedGabor<double>;
using Complex = std::complex<double>;
using LongComplex = std::complex<long double>;

// g(t) u^m in long double, units of microseconds and megahertz.
LongComplex long_value(const Chirp& atom, long double t, int power) {
    const long double pi = std::numbers::pi_v<long double>;
    const long double shape = pi * pi / (1.2L * std::numbers::ln10_v<long double>);
    const long double b = atom.bandwidth;
    const long double u = t - static_cast<long double>(atom.arrival);
    const long double turns = (static_cast<long double>(atom.centre_frequency) +
                               static_cast<long double>(atom.chirp_rate) * u / 2) *
                              u;
    return std::pow(u, power) * std::exp(-shape * b * b * u * u) *
           std::polar(1.0L, 2 * pi * (turns - std::round(turns)));
}

// The definition as an even sum over the whole line: for functions that die as a Gaussian it is as
// good as its step is fine (Trefethen and Weideman 2014, SIAM Review 56:385), here to rounding.
LongComplex slow_moment(const Chirp& g1, const Chirp& g2, int m, int n) {
    const double shape = decay_from_bandwidth(1.0);
    const double reach = 10 / std::sqrt(shape) / std::min(g1.bandwidth, g2.bandwidth);
    const double from = std::min(g1.arrival, g2.arrival) - reach;
    const double to = std::max(g1.arrival, g2.arrival) + reach;
    const double fastest = std::abs(g1.centre_frequency - g2.centre_frequency) +
                           (std::abs(g1.chirp_rate) + std::abs(g2.chirp_rate)) * (to - from) +
                           8 * g1.bandwidth + 8 * g2.bandwidth;
    const long double step = 0.5L / static_cast<long double>(fastest);
    LongComplex sum = 0;
    for (long double t = from; t <= static_cast<long double>(to); t += step) {
        sum += long_value(g1, t, m) * std::conj(long_value(g2, t, n));
    }
    return sum * step;
}

Chirp random_atom(RandomStream& stream) {
    return {stream.uniform(-0.4, 0.4), stream.uniform(3.0, 5.0), stream.uniform(0.6, 2.0),
            stream.uniform(-1.0, 1.0)};
}

double turns_between(const Chirp& g1, const Chirp& g2) {
    return std::max(
        1.0, std::abs((g2.arrival - g1.arrival) * (g1.centre_frequency + g2.centre_frequency) / 2));
}

// Every parameter of an echo moved by `by`.
Echo<Chirp> moved(Echo<Chirp> echo, std::size_t parameter, double by) {
    if (parameter < 4) {
        atom_parameter(echo.atom, static_cast<Eigen::Index>(parameter)) += by;
    } else if (parameter == 4) {
        echo.amplitude += by;
    } else {
        echo.amplitude += Complex{0, by};
    }
    return echo;
}

std::vector<Echo<Chirp>> random_echoes(RandomStream& stream, std::size_t count) {
    std::vector<Echo<Chirp>> out;
    for (std::size_t k = 0; k < count; ++k) {
        const Chirp atom = random_atom(stream);
        out.push_back({atom, {stream.uniform(-1.0, 1.0), stream.uniform(-1.0, 1.0)}});
    }
    return out;
}

InnerProductDerivatives derivatives(const std::vector<Echo<Chirp>>& x1,
                                    const std::vector<Echo<Chirp>>& x2) {
    return inner_product_derivatives(std::span<const Echo<Chirp>>(x1),
                                     std::span<const Echo<Chirp>>(x2));
}

}  // namespace

TEST_CASE("overlap moments keep their error bound against a long sum") {
    RandomStream stream(3);
    double worst = 0;
    for (int trial = 0; trial < 40; ++trial) {
        const Chirp g1 = random_atom(stream);
        const Chirp g2 = random_atom(stream);
        const auto moments = overlap_moments<4, 4>(g1, g2);
        for (int m = 0; m <= 4; ++m) {
            for (int n = 0; n <= 4; ++n) {
                const LongComplex computed =
                    moments[static_cast<std::size_t>(m)][static_cast<std::size_t>(n)];
                const auto error =
                    static_cast<double>(std::abs(computed - slow_moment(g1, g2, m, n)));
                const double bound = overlap_moment_error_epsilons * epsilon<double> *
                                     turns_between(g1, g2) * moment_norm(g1, m) *
                                     moment_norm(g2, n);
                worst = std::max(worst, error / bound);
            }
        }
    }
    CAPTURE(worst);
    CHECK(worst <= 1);
    CHECK(worst > 0.02);  // a bound fifty times too wide says nothing
}

TEST_CASE("moments of one atom are those of its squared envelope") {
    const Chirp atom{2.5, 4, 1, 0.7};
    const auto m = overlap_moments<4, 4>(atom, atom);
    for (int j = 0; j <= 4; ++j) {
        const auto at = static_cast<std::size_t>(j);
        const double norm = moment_norm(atom, j);
        CHECK_WITHIN_RELATIVE(m[at][at].real(), norm * norm, 20 * epsilon<double>);
        CHECK_WITHIN(m[at][at].imag(), 0.0, 20 * epsilon<double> * norm * norm);
    }
    CHECK_WITHIN(m[1][0], Complex(0, 0), epsilon<double> * moment_norm(atom, 1));
}

TEST_CASE("far apart, all moments vanish and none is a NaN") {
    const auto m = overlap_moments<2, 2>(Gabor<double>{0, 4e6, 1e6}, Gabor<double>{1, 4e6, 1e6});
    for (const auto& row : m) {
        for (const Complex& value : row) {
            CHECK(value == Complex{0, 0});
        }
    }
    const auto one = inner_product_derivatives(Echo<Gabor<double>>{{0, 4e6, 1e6}, {1, 0}},
                                               Echo<Gabor<double>>{{1e3, 9e9, 1e6}, {1, 0}});
    CHECK(one.gradient.isZero(0));
    CHECK(one.hessian.isZero(0));
}

// Checked against differences in 30 digits with an arbitrary-precision package, printed to ten.
TEST_CASE("a printed gradient of the logarithm of an inner product") {
    constexpr double printed = 1e-8;
    const Echo<Chirp> x1{{0, 4, bandwidth_from_decay(3.5), .5}, {1, 0}};
    const Echo<Chirp> x2{{.15, 4.1, bandwidth_from_decay(4.5), -.7}, std::polar(1.0, .2)};
    const auto d = inner_product_derivatives(x1, x2);
    const auto slope = [&](Eigen::Index k) { return d.gradient[k] / d.value; };
    const double to_decay1 = x1.atom.bandwidth / (2 * 3.5);
    const double to_decay2 = x2.atom.bandwidth / (2 * 4.5);
    // Of atoms of unit energy: 1 / (4 alpha) for the factor (2 alpha / pi)^(1/4).
    CHECK_WITHIN(1 / (4 * 3.5) + to_decay1 * slope(2), Complex(.01138002827, -.01742699941),
                 printed);
    CHECK_WITHIN(slope(3), Complex(-.05474853331, .1886480621), printed);
    CHECK_WITHIN(slope(0), Complex(.5958618866, -25.68054299), printed);
    CHECK_WITHIN(slope(1), Complex(.2094754648, .6288567475), printed);
    CHECK_WITHIN(slope(6), -Complex(.5958618866, -25.68054299), printed);
    CHECK_WITHIN(slope(7), Complex(-.2094754648, .3136210486), printed);
    CHECK_WITHIN(1 / (4 * 4.5) + to_decay2 * slope(8), Complex(.003032710353, -.02742871611),
                 printed);
    CHECK_WITHIN(slope(9), Complex(.08616985304, -.1650053846), printed);
}

TEST_CASE("gradients and mixed second derivatives keep their error bound against long sums") {
    RandomStream stream(17);
    double worst = 0;
    for (int trial = 0; trial < 10; ++trial) {
        const Chirp g1 = random_atom(stream);
        const Chirp g2 = random_atom(stream);
        const Complex a1{stream.uniform(-1.0, 1.0), stream.uniform(-1.0, 1.0)};
        const Complex a2{stream.uniform(-1.0, 1.0), stream.uniform(-1.0, 1.0)};
        const auto d = inner_product_derivatives(Echo<Chirp>{g1, a1}, Echo<Chirp>{g2, a2});
        const auto l1 = first_derivatives(g1);
        const auto l2 = first_derivatives(g2);
        std::array<std::array<LongComplex, 3>, 3> m;
        for (std::size_t k = 0; k < 3; ++k) {
            for (std::size_t l = 0; l < 3; ++l) {
                m[k][l] = slow_moment(g1, g2, static_cast<int>(k), static_cast<int>(l));
            }
        }
        // <Q1 g1, Q2 g2> of two polynomials, and the scale of its bound.
        const auto check = [&](const AtomPolynomial& q1, const AtomPolynomial& q2,
                               Complex computed) {
            LongComplex exact = 0;
            double scale = 0;
            for (std::size_t k = 0; k < 3; ++k) {
                for (std::size_t l = 0; l < 3; ++l) {
                    const LongComplex c =
                        LongComplex(a1 * q1.c[k]) * std::conj(LongComplex(a2 * q2.c[l]));
                    exact += c * m[k][l];
                    scale += static_cast<double>(std::abs(c)) *
                             moment_norm(g1, static_cast<int>(k)) *
                             moment_norm(g2, static_cast<int>(l));
                }
            }
            const auto error = static_cast<double>(std::abs(LongComplex(computed) - exact));
            worst = std::max(worst, error / (derivative_error_epsilons * epsilon<double> *
                                             turns_between(g1, g2) * scale));
        };
        AtomPolynomial one;
        one.c[0] = 1;
        for (std::size_t j = 0; j < atom_parameter_count; ++j) {
            const auto row = static_cast<Eigen::Index>(j);
            check(l1[j], one, d.gradient[row]);
            check(one, l2[j], d.gradient[6 + row]);
            for (std::size_t k = 0; k < atom_parameter_count; ++k) {
                check(l1[j], l2[k], d.hessian(row, 6 + static_cast<Eigen::Index>(k)));
            }
        }
    }
    CAPTURE(worst);
    CHECK(worst <= 1);
    CHECK(worst > 0.005);  // a bound two hundred times too wide says nothing
}

TEST_CASE("gradients are difference quotients of the value, Hessians those of the gradient") {
    // Central differences with a step h of 1e-5: h^2 of a sixth of the third derivative, and
    // rounding over h.
    constexpr double h = 1e-5;
    constexpr double tolerance = 3e-6;  // of the largest entry
    RandomStream stream(9);
    for (int trial = 0; trial < 6; ++trial) {
        const auto x1 = random_echoes(stream, 2);
        const auto x2 = random_echoes(stream, 1);
        const auto at = derivatives(x1, x2);
        REQUIRE(at.gradient.size() == 18);
        const double largest = at.gradient.cwiseAbs().maxCoeff();
        const double steepest = at.hessian.cwiseAbs().maxCoeff();
        for (std::size_t k = 0; k < 18; ++k) {
            auto up1 = x1, down1 = x1, up2 = x2, down2 = x2;
            auto& up = k < 12 ? up1[k / 6] : up2[(k - 12) / 6];
            auto& down = k < 12 ? down1[k / 6] : down2[(k - 12) / 6];
            up = moved(up, k % 6, h);
            down = moved(down, k % 6, -h);
            const auto above = derivatives(up1, up2);
            const auto below = derivatives(down1, down2);
            const auto column = static_cast<Eigen::Index>(k);
            CHECK_WITHIN(at.gradient[column], (above.value - below.value) / (2 * h),
                         tolerance * largest);
            const Eigen::VectorXcd slope = (above.gradient - below.gradient) / (2 * h);
            CHECK((at.hessian.col(column) - slope).cwiseAbs().maxCoeff() <= tolerance * steepest);
        }
        CHECK((at.hessian - at.hessian.transpose()).cwiseAbs().maxCoeff() <=
              1e-12 * steepest);  // symmetric, not Hermitian: all parameters are real
    }
}

TEST_CASE("derivatives of a sum are sums of derivatives, and of nothing nothing") {
    RandomStream stream(4);
    const auto x = random_echoes(stream, 3);
    const auto whole = derivatives(x, x);
    Complex sum = 0;
    for (const auto& a : x) {
        for (const auto& b : x) {
            sum += inner_product_derivatives(a, b).value;
        }
    }
    CHECK_WITHIN_RELATIVE(whole.value, sum, 1e-13);
    CHECK_WITHIN(whole.value.imag(), 0.0, 1e-13 * std::abs(whole.value));
    CHECK(derivatives({}, {}).gradient.size() == 0);
    CHECK(derivatives({}, x).value == Complex{0, 0});
}
