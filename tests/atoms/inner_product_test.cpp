#include "echosieve/atoms/inner_product.hpp"

#include <boost/math/quadrature/gauss_kronrod.hpp>
#include <cmath>
#include <complex>
#include <numbers>

#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;
using echosieve::test::epsilon;

namespace {

using Chirp = ChirpedGabor<double>;
using Complex = std::complex<double>;

// Gauss-Kronrod with 61 points on pieces of a few cycles, halved twice where 1e-13 of the piece's
// L1 norm is not reached.
constexpr double quadrature_error = 1e-12;

template <class Function>
auto integrate(Function f, double from, double to) {
    using Rule = boost::math::quadrature::gauss_kronrod<double, 61>;
    return Rule::integrate(f, from, to, 2, 1e-13);
}

// The definition, by quadrature, of unit-free echoes (microseconds and megahertz).
template <Atom A>
Complex slow_inner_product(const Echo<A>& x1, const Echo<A>& x2) {
    const double wide = 6 / std::min(x1.atom.bandwidth, x2.atom.bandwidth);
    const double from = std::min(x1.atom.arrival, x2.atom.arrival) - wide;
    const double to = std::max(x1.atom.arrival, x2.atom.arrival) + wide;
    // In pieces of a pulse of the shorter atom, so that no pulse is stepped over.
    const double piece = 1 / std::max(x1.atom.bandwidth, x2.atom.bandwidth);
    const int pieces = static_cast<int>(std::ceil((to - from) / piece));
    Complex sum = 0;
    for (int k = 0; k < pieces; ++k) {
        sum += integrate([&](double t) { return value(x1, t) * std::conj(value(x2, t)); },
                         from + (to - from) * k / pieces, from + (to - from) * (k + 1) / pieces);
    }
    return sum;
}

Echo<Chirp> echo(double amplitude, double alpha, double chirp, double arrival, double frequency,
                 double phase) {
    return {{arrival, frequency, bandwidth_from_decay(alpha), chirp}, std::polar(amplitude, phase)};
}

struct Pair {
    Echo<Chirp> x1;
    Echo<Chirp> x2;
    Complex product;  // of the unit-energy atoms
    double modulus;
};

// Computed by quadrature in 30 digits with an arbitrary-precision package and printed to 14.
const Pair table[] = {
    {echo(1, 3.5, 0, 0, 4, 0),
     echo(1, 3.5, 0, .1, 4, 0),
     {-0.79498235821358, 0.57758849225616},
     0.98265223566507},
    {echo(1, 3.5, 0, 0, 4, .3),
     echo(1, 3.5, 0, .25, 3.8, -.4),
     {0.72540883933029, 0.43771626191958},
     0.84723875627085},
    {echo(1, 3.5, 0, 0, 4, 0),
     echo(1, 9, 0, .05, 4.2, 1),
     {0.87830745323506, 0.24708323635162},
     0.91240019075746},
    {echo(1, 3.5, .5, 0, 4, 0),
     echo(1, 4.5, -.7, .15, 4.1, .2),
     {-0.68264070271652, -0.58116027632432},
     0.89651859756653},
    {echo(1, 1.2, 2, -.3, 5, -1),
     echo(1, 2.5, 1, .4, 5.5, .5),
     {-0.27506219118814, -0.059436664085246},
     0.2814106004734},
};
constexpr double printed = 2e-14;  // half a unit of the fourteenth place, and our own rounding

Echo<Chirp> random_echo(RandomStream& stream) {
    return echo(stream.uniform(0.1, 2.0), stream.uniform(0.5, 20.0), stream.uniform(-3.0, 3.0),
                stream.uniform(-1.0, 1.0), stream.uniform(0.5, 8.0), stream.uniform(-3.0, 3.0));
}

struct LongComplex {
    long double re;
    long double im;
};
LongComplex times(LongComplex a, LongComplex b) {
    return {a.re * b.re - a.im * b.im, a.re * b.im + a.im * b.re};
}
LongComplex over(LongComplex a, LongComplex b) {
    const long double size = b.re * b.re + b.im * b.im;
    return {(a.re * b.re + a.im * b.im) / size, (a.im * b.re - a.re * b.im) / size};
}

// The closed form once more in long double: for its rounding; that it is right the quadrature says.
template <Atom A>
std::complex<long double> exact_inner_product(const A& g1, const A& g2) {
    const long double pi = std::numbers::pi_v<long double>;
    const long double shape = pi * pi / (1.2L * std::numbers::ln10_v<long double>);
    const long double b1 = g1.bandwidth;
    const long double b2 = g2.bandwidth;
    const LongComplex p{shape * b1 * b1, -pi * g1.chirp_rate};
    const LongComplex q{shape * b2 * b2, pi * g2.chirp_rate};
    const LongComplex sum{p.re + q.re, p.im + q.im};
    const long double d = static_cast<long double>(g2.arrival) - g1.arrival;
    const long double w1 = 2 * pi * g1.centre_frequency;
    const long double w2 = 2 * pi * g2.centre_frequency;
    const LongComplex spread = over(times(p, q), sum);
    const LongComplex beat = over({(w1 - w2) * (w1 - w2) / 4, 0}, sum);
    const LongComplex mean = over({q.re * w1 + p.re * w2, q.im * w1 + p.im * w2}, sum);
    const long double size = -spread.re * d * d - beat.re - d * mean.im;
    const long double angle = -spread.im * d * d - beat.im + d * mean.re;
    return std::sqrt(std::complex<long double>(over({pi, 0}, sum).re, over({pi, 0}, sum).im)) *
           std::polar(std::exp(size), angle);
}

// Largest error in units of the promised bound.
template <Real R>
double worst_error(double reach) {
    RandomStream stream(77);
    double worst = 0;
    for (int trial = 0; trial < 20000; ++trial) {
        // Much alike, or the product is small and with it all errors.
        const double frequency = stream.uniform(0.5e6, 9e6);
        const double bandwidth = stream.uniform(0.4e6, 6e6);
        const double chirp_rate = stream.uniform(-1e12, 1e12);
        const auto atom = [&](double arrival) {
            return ChirpedGabor<R>{static_cast<R>(arrival),
                                   static_cast<R>(frequency + stream.uniform(-0.2e6, 0.2e6)),
                                   static_cast<R>(bandwidth * stream.uniform(0.7, 1.4)),
                                   static_cast<R>(chirp_rate + stream.uniform(-2e11, 2e11))};
        };
        const ChirpedGabor<R> g1 = atom(20e-6);
        const ChirpedGabor<R> g2 = atom(20e-6 + stream.uniform(-reach, reach));
        const double turns =
            std::abs((double{g2.arrival} - double{g1.arrival}) *
                     (double{g1.centre_frequency} + double{g2.centre_frequency}) / 2);
        const std::complex<long double> computed = inner_product(g1, g2);
        const double error = static_cast<double>(std::abs(computed - exact_inner_product(g1, g2)));
        const double bound = inner_product_error_epsilons * epsilon<double> * std::max(1.0, turns) +
                             (sizeof(R) < sizeof(double) ? epsilon<R> / 2 : 0);
        worst =
            std::max(worst, error / (bound * std::sqrt(double{energy(g1)} * double{energy(g2)})));
    }
    return worst;
}

}  // namespace

TEST_CASE("five inner products of the literature's form") {
    for (const Pair& pair : table) {
        const double unit = norm(pair.x1.atom) * norm(pair.x2.atom);
        CHECK_WITHIN(inner_product(pair.x1, pair.x2) / unit, pair.product, printed);
        CHECK_WITHIN(std::abs(inner_product(pair.x1, pair.x2)) / unit, pair.modulus, printed);
        CHECK_WITHIN(slow_inner_product(pair.x1, pair.x2) / unit, pair.product, quadrature_error);
    }
}

TEST_CASE("inner products against quadrature") {
    RandomStream stream(1);
    for (int trial = 0; trial < 60; ++trial) {
        const Echo<Chirp> x1 = random_echo(stream);
        const Echo<Chirp> x2 = random_echo(stream);
        const double scale = std::sqrt(energy(x1) * energy(x2));
        CHECK_WITHIN(inner_product(x1, x2), slow_inner_product(x1, x2), quadrature_error * scale);
    }
}

TEST_CASE("very long, very short and nearly equal atoms against quadrature") {
    const Echo<Gabor<double>> cases[] = {
        {{0, 4, 0.02}, {1, 0}},       {{0.3, 4.001, 0.02}, {0.5, 1}}, {{0.1, 5, 6}, {1, -1}},
        {{0.1, 5, 6.0001}, {2, 0.1}}, {{0.1 + 1e-9, 5, 6}, {1, 1}},   {{2.5, 5, 6}, {1, 1}},
    };
    for (const auto& x1 : cases) {
        for (const auto& x2 : cases) {
            const double scale = std::sqrt(energy(x1) * energy(x2));
            CHECK_WITHIN(inner_product(x1, x2), slow_inner_product(x1, x2),
                         quadrature_error * scale);
        }
    }
}

TEST_CASE_TEMPLATE("the closed form keeps its error bound", R, float, double) {
    const double near = worst_error<R>(0.1e-6);
    const double far = worst_error<R>(3e-6);
    CAPTURE(near);
    CAPTURE(far);

    CHECK(near <= 1);
    CHECK(far <= 1);
    CHECK(std::max(near, far) > 0.1);  // a bound ten times too wide says nothing
}

TEST_CASE("conjugate symmetry, Cauchy-Schwarz, energy") {
    RandomStream stream(2);
    for (int trial = 0; trial < 1000; ++trial) {
        const Echo<Chirp> x1 = random_echo(stream);
        const Echo<Chirp> x2 = random_echo(stream);
        const double scale = std::sqrt(energy(x1) * energy(x2));
        const double phase = 1 + std::abs(x2.atom.arrival - x1.atom.arrival) * 8;
        const double tolerance = inner_product_error_epsilons * epsilon<double> * phase * scale;
        CHECK_WITHIN(inner_product(x1, x2), std::conj(inner_product(x2, x1)), 2 * tolerance);
        CHECK(std::abs(inner_product(x1, x2)) <= scale + tolerance);
        CHECK_WITHIN(inner_product(x1, x1), Complex(energy(x1), 0), tolerance * energy(x1) / scale);
        CHECK_WITHIN_RELATIVE(norm(x1.atom) * norm(x1.atom), energy(x1.atom), 4 * epsilon<double>);
    }
}

TEST_CASE("shifts, scales, modulation and conjugation carry over") {
    RandomStream stream(3);
    for (int trial = 0; trial < 200; ++trial) {
        const Echo<Chirp> x1 = random_echo(stream);
        const Echo<Chirp> x2 = random_echo(stream);
        const Complex product = inner_product(x1, x2);
        const double turns = 1 + 2 * 9;  // |d| <= 2, f <= 8 plus the modulation
        const double tolerance = 2 * inner_product_error_epsilons * epsilon<double> * turns *
                                 std::sqrt(energy(x1) * energy(x2));
        const auto changed = [](Echo<Chirp> x, double shift, double scale, double modulation) {
            // A modulation exp(i 2 pi m t) also turns the phase at the arrival.
            x.amplitude *= unit_phasor(modulation * x.atom.arrival);
            x.atom.arrival = x.atom.arrival * scale + shift;
            x.atom.centre_frequency = (x.atom.centre_frequency + modulation) / scale;
            x.atom.bandwidth /= scale;
            x.atom.chirp_rate /= scale * scale;
            return x;
        };
        // 0.25 + x rounds the arrivals: 2^-53 * 2 pi * 8 turns more.
        CHECK_WITHIN(inner_product(changed(x1, .25, 1, 0), changed(x2, .25, 1, 0)), product,
                     tolerance);
        CHECK_WITHIN(inner_product(changed(x1, 0, 1, 1), changed(x2, 0, 1, 1)), product, tolerance);
        CHECK_WITHIN(inner_product(changed(x1, 0, 1e-6, 0), changed(x2, 0, 1e-6, 0)) / 1e-6,
                     product, tolerance);
        const auto conjugate = [](Echo<Chirp> x) {
            x.amplitude = std::conj(x.amplitude);
            x.atom.centre_frequency = -x.atom.centre_frequency;
            x.atom.chirp_rate = -x.atom.chirp_rate;
            return x;
        };
        CHECK_WITHIN(inner_product(conjugate(x1), conjugate(x2)), std::conj(product), tolerance);
    }
}

// The two worked energies: sqrt(pi / 2 alpha) / 2 A^2 (1 + cos(2 phi) exp(-2 pi^2 f^2 / alpha)).
TEST_CASE("energies of real echoes") {
    constexpr double thirteen_figures = 1e-12;
    const Echo<Gabor<double>> strong{{7e-6, 4e6, 1e6}, std::polar(2.0, 0.4)};
    CHECK_WITHIN_RELATIVE(real_energy(strong), 1.326290102998e-6, thirteen_figures);
    const Echo<Gabor<double>> low{{0, .4, bandwidth_from_decay(3.0)}, std::polar(1.0, 0.7)};
    CHECK_WITHIN_RELATIVE(real_energy(low), 0.383260512019452, thirteen_figures);
}

TEST_CASE("inner products of real echoes against quadrature, down to low frequencies") {
    // A worked pair in which the conjugate term matters, printed to 14 figures.
    CHECK_WITHIN(real_inner_product(echo(1, 1.1, .2, 0, .6, .3), echo(1, .9, -.1, .4, .5, -.2)),
                 -0.26351227099645, printed);
    RandomStream stream(4);
    for (int trial = 0; trial < 40; ++trial) {
        Echo<Chirp> x1 = random_echo(stream);
        Echo<Chirp> x2 = random_echo(stream);
        x1.atom.centre_frequency *= 0.2;
        x2.atom.centre_frequency *= 0.2;
        const double slow = [&] {
            double sum = 0;
            for (int k = -80; k < 80; ++k) {
                sum += integrate([&](double t) { return real_value(x1, t) * real_value(x2, t); },
                                 k * 0.125, (k + 1) * 0.125);
            }
            return sum;
        }();
        CHECK_WITHIN(real_inner_product(x1, x2), slow,
                     quadrature_error * std::sqrt(energy(x1) * energy(x2)));
    }
}

TEST_CASE("at high frequencies the real product is half of the analytic one's real part") {
    const Echo<Chirp> x1 = echo(1, 3.5, .5, 0, 4, 0);
    const Echo<Chirp> x2 = echo(.7, 4.5, -.7, .15, 4.1, .2);
    CHECK_WITHIN(real_inner_product(x1, x2), inner_product(x1, x2).real() / 2, epsilon<double>);
}

TEST_CASE_TEMPLATE("energy is exact to 8 ulp", R, float, double) {
    for (long double b : {1e-3L, 1.0L, 1e6L, 4.4e6L}) {
        const Gabor<R> atom{R{0}, R{1}, static_cast<R>(b)};
        const long double alpha = std::pow(std::numbers::pi_v<long double> * atom.bandwidth, 2) /
                                  (1.2L * std::numbers::ln10_v<long double>);
        const long double expected = std::sqrt(std::numbers::pi_v<long double> / (2 * alpha));
        CHECK_WITHIN_RELATIVE(static_cast<long double>(energy(atom)), expected, 8 * epsilon<R>);
    }
}

TEST_CASE_TEMPLATE("atoms far apart have product zero, never a NaN", R, float, double) {
    const Gabor<R> atom{R{0}, R{4e6}, R{1e6}};
    for (R distance : {R(1e-3), R(1), R(1e30), R(-1e30)}) {
        const Gabor<R> far{distance, R{4e6}, R{1e6}};
        CHECK(inner_product(atom, far) == std::complex<R>(0, 0));
    }
    for (R frequency : {R(1e9), R(-1e9), R(1e30)}) {
        CHECK(inner_product(atom, Gabor<R>{R{0}, frequency, R{1e6}}) == std::complex<R>(0, 0));
    }
    const ChirpedGabor<double> chirped{1e160, 4e6, 1e6, 1e12};
    CHECK(inner_product(chirped, Gabor<double>{0, 4e6, 1e6}) == Complex(0, 0));
}

TEST_CASE("a chirped atom without chirp is the plain atom") {
    const Gabor<double> plain{1e-6, 4e6, 1e6};
    const ChirpedGabor<double> chirped{1e-6, 4e6, 1e6, 0};
    const ChirpedGabor<double> other{1.1e-6, 4.1e6, 1.2e6, 1e12};
    CHECK_WITHIN_RELATIVE(inner_product(plain, other), inner_product(chirped, other),
                          2 * inner_product_error_epsilons * epsilon<double>);
    CHECK_WITHIN_RELATIVE(energy(plain), energy(chirped), 8 * epsilon<double>);
}
