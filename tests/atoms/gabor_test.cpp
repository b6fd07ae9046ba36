#include "echosieve/atoms/gabor.hpp"

#include <cmath>
#include <complex>
#include <limits>
#include <numbers>

#include "atoms/reference/scipy_pulses.hpp"
#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;
using echosieve::test::epsilon;

namespace {

constexpr double not_a_number = std::numeric_limits<double>::quiet_NaN();
constexpr double infinity = std::numeric_limits<double>::infinity();

// SciPy does not take whole turns off the phase: 2 pi * 6.3 turns * 2^-53 * a few operations.
constexpr double scipy_rounding = 2e-14;

// The definition in long double (64 bits of mantissa or more), the parameters taken as exact.
template <Atom A>
std::complex<long double> slow_value(const A& atom, double time) {
    const long double pi = std::numbers::pi_v<long double>;
    const long double u = static_cast<long double>(time) - atom.arrival;
    const long double root = pi * atom.bandwidth;
    const long double alpha = root * root / (1.2L * std::numbers::ln10_v<long double>);
    const long double turns = (atom.centre_frequency + atom.chirp_rate * u / 2) * u;
    const long double angle = 2 * pi * (turns - std::nearbyint(turns));
    const long double envelope = std::exp(-alpha * u * u);
    return {envelope * std::cos(angle), envelope * std::sin(angle)};
}

}  // namespace

TEST_CASE("Gabor atoms are SciPy's gausspulse, in phase, quadrature and envelope") {
    for (const test::PulseRow& row : test::pulses) {
        if (row.chirp_rate != 0) {
            continue;
        }
        const Gabor<double> atom{0, row.frequency, row.bandwidth};
        const std::complex<double> g = value(atom, row.time);
        CHECK_WITHIN(g, std::complex<double>(row.in_phase, row.quadrature), scipy_rounding);
        CHECK_WITHIN(std::abs(g), row.envelope, scipy_rounding);
    }
}

TEST_CASE("chirped atoms are SciPy's linear chirp under gausspulse's envelope") {
    int chirped = 0;
    for (const test::PulseRow& row : test::pulses) {
        const ChirpedGabor<double> atom{0, row.frequency, row.bandwidth, row.chirp_rate};
        CHECK_WITHIN(value(atom, row.time), std::complex<double>(row.in_phase, row.quadrature),
                     scipy_rounding);
        chirped += row.chirp_rate != 0 ? 1 : 0;
    }
    CHECK(chirped > 0);
}

// Bedrosian: an echo whose spectrum has died at 0 Hz is the analytic signal of its real part;
// at 4 MHz and 1 MHz what is left is exp(-(2 pi f)^2 / (4 alpha)) = 2e-20.
TEST_CASE("the analytic echo is the FFT Hilbert transform of the real one") {
    const Echo<Gabor<double>> echo{{4.0437e-6, 4e6, 1e6}, std::polar(1.0, 0.7)};
    for (const test::AnalyticRow& row : test::analytic_samples) {
        const double time = row.sample / 125e6;
        CHECK_WITHIN(value(echo, time), std::complex<double>(row.real, row.imaginary),
                     scipy_rounding);
        CHECK_WITHIN(real_value(echo, time), row.real, scipy_rounding);
    }
}

TEST_CASE_TEMPLATE("the value keeps its error bound", R, float, double) {
    RandomStream stream(20240501);
    double worst = 0;
    for (int trial = 0; trial < 20000; ++trial) {
        const ChirpedGabor<R> atom{static_cast<R>(stream.uniform(0.0, 40e-6)),
                                   static_cast<R>(stream.uniform(0.5e6, 12e6)),
                                   static_cast<R>(stream.uniform(0.3e6, 6e6)),
                                   static_cast<R>(stream.uniform(-2e12, 2e12))};
        const double reach = 3 / static_cast<double>(atom.bandwidth);
        const double u = stream.uniform(-reach, reach);
        const double time = static_cast<double>(atom.arrival) + u;
        const double turns = std::abs(static_cast<double>(atom.centre_frequency) * u) +
                             std::abs(static_cast<double>(atom.chirp_rate) * u * u / 2);
        const std::complex<long double> computed = value(atom, time);
        const double error = static_cast<double>(std::abs(computed - slow_value(atom, time)));
        const double bound = value_error_epsilons * epsilon<double> * (1 + turns) +
                             (sizeof(R) < sizeof(double) ? epsilon<R> : 0);
        worst = std::max(worst, error / bound);
    }
    CAPTURE(worst);

    CHECK(worst <= 1);
    CHECK(worst > 0.1);  // a bound ten times too wide says nothing
}

TEST_CASE_TEMPLATE("values that need no tolerance", R, float, double) {
    const ChirpedGabor<R> atom{R{0.25}, R{8}, R{2}, R{3}};
    CHECK(value(atom, 0.25) == std::complex<R>(1, 0));
    const Echo<ChirpedGabor<R>> echo{atom, {R{0.5}, R{-2}}};
    CHECK(value(echo, 0.25) == echo.amplitude);
    CHECK(real_value(echo, 0.25) == R{0.5});
    // The envelope is even; without chirp the value's conjugate is its mirror image.
    const Gabor<R> plain{R{0.25}, R{8}, R{2}};
    for (double u : {0.03125, 0.125, 0.375}) {
        CHECK(value(plain, 0.25 - u) == std::conj(value(plain, 0.25 + u)));
    }
}

TEST_CASE("shifted and scaled atoms have shifted and scaled values") {
    const ChirpedGabor<double> atom{1, 4, 1, 0.5};
    const ChirpedGabor<double> later{1 + 0.5, 4, 1, 0.5};
    const ChirpedGabor<double> si{1e-6, 4e6, 1e6, 0.5e12};
    // The bound of value(), at up to 8 turns.
    const double tolerance = 2 * value_error_epsilons * epsilon<double> * 9;
    for (double time : {-0.25, 0.5, 1.0, 1.3125, 2.5}) {
        CHECK(value(later, time + 0.5) == value(atom, time));
        CHECK_WITHIN(value(si, time * 1e-6), value(atom, time), tolerance);
    }
}

TEST_CASE_TEMPLATE("far away an atom is zero, never a NaN", R, float, double) {
    const ChirpedGabor<R> atom{R(1e-5), R(4e6), R(1e6), R(1e12)};
    for (double time : {-1.0, 1.0, 1e30, -1e150, 1e200, 1e308, -1e308}) {
        CAPTURE(time);
        CHECK(value(atom, time) == std::complex<R>(0, 0));
    }
}

TEST_CASE("invalid atoms are refused by name") {
    const auto message = [](const ChirpedGabor<double>& atom) -> std::string {
        try {
            validate(atom);
        } catch (const InvalidInput& error) {
            return error.what();
        }
        return "";
    };
    const auto names = [&](const ChirpedGabor<double>& atom, const char* name) {
        return message(atom).find(name) != std::string::npos;
    };
    CHECK(message({0, 4e6, 1e6, 0}).empty());
    CHECK(message({-1, -4e6, 1e-3, -1}).empty());  // negative frequencies are legal: conjugates
    for (double bad : {not_a_number, infinity, -infinity}) {
        CHECK(names({bad, 4e6, 1e6, 0}, "arrival"));
        CHECK(names({0, bad, 1e6, 0}, "centre_frequency"));
        CHECK(names({0, 4e6, bad, 0}, "bandwidth"));
        CHECK(names({0, 4e6, 1e6, bad}, "chirp_rate"));
    }
    CHECK(names({0, 4e6, 0, 0}, "bandwidth"));
    CHECK(names({0, 4e6, -1, 0}, "bandwidth"));
}

TEST_CASE("unit phasors take whole turns off first") {
    CHECK(unit_phasor(0) == std::complex<double>(1, 0));
    CHECK(unit_phasor(0x1p40) == std::complex<double>(1, 0));
    CHECK(unit_phasor(0x1p40 + 0.125) == unit_phasor(0.125));
    CHECK_WITHIN(unit_phasor(-0.25), std::complex<double>(0, -1), epsilon<double>);
}
