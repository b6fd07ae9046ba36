#include "echosieve/atoms/gabor.hpp"

#include <cmath>
#include <limits>
#include <numbers>

#include "atoms/reference/scipy_pulses.hpp"
#include "support/check.hpp"

using namespace echosieve;
using echosieve::test::epsilon;

namespace {

// The header's promise: 4 ulp, an ulp being at most epsilon relative.
constexpr double conversion_ulp = 4;
// The table prints eleven figures.
constexpr double printed = 1e-10;

long double exact_decay(long double bandwidth) {
    const long double root = std::numbers::pi_v<long double> * bandwidth;
    return root * root / (1.2L * std::numbers::ln10_v<long double>);
}

}  // namespace

// alpha = (pi B)^2 / (1.2 ln 10), the convention of scipy.signal.gausspulse at bwr = -6; the
// figures are that formula in 30 digits.
TEST_CASE("decays of common pulses") {
    CHECK_WITHIN_RELATIVE(decay_from_bandwidth(1e6), 3.5719289416e12, printed);
    CHECK_WITHIN_RELATIVE(decay_from_bandwidth(2e6), 1.4287715767e13, printed);
    CHECK_WITHIN_RELATIVE(decay_from_bandwidth(3e6), 3.2147360475e13, printed);
    CHECK_WITHIN_RELATIVE(decay_from_bandwidth(4.5e6), 7.2331561068e13, printed);
    CHECK_WITHIN_RELATIVE(decay_from_bandwidth(6e6), 1.2858944190e14, printed);
}

TEST_CASE("-6 dB is the factor 10^-0.3 and not one half") {
    const double half_amplitude = 3.5597073312e12;  // (pi B)^2 / (4 ln 2) at 1 MHz
    CHECK(decay_from_bandwidth(1e6) > 1.003 * half_amplitude);
    // The spectrum exp(-(pi f)^2 / alpha) at f = B / 2.
    const double f = 0.5e6;
    const double level = std::exp(-std::pow(std::numbers::pi * f, 2) / decay_from_bandwidth(1e6));
    CHECK_WITHIN_RELATIVE(level, std::pow(10.0, -0.3), 8 * epsilon<double>);
}

TEST_CASE_TEMPLATE("conversions are exact to 4 ulp", R, float, double) {
    for (long double b : {1e-3L, 0.75L, 1e3L, 1e6L, 4.5e6L, 1.234567e7L}) {
        const R bandwidth = static_cast<R>(b);
        const long double expected = exact_decay(static_cast<long double>(bandwidth));
        CHECK_WITHIN_RELATIVE(static_cast<long double>(decay_from_bandwidth(bandwidth)), expected,
                              conversion_ulp * epsilon<R>);
        const R decay = static_cast<R>(expected);
        const long double back =
            std::sqrt(static_cast<long double>(decay) * 1.2L * std::numbers::ln10_v<long double>) /
            std::numbers::pi_v<long double>;
        CHECK_WITHIN_RELATIVE(static_cast<long double>(bandwidth_from_decay(decay)), back,
                              conversion_ulp * epsilon<R>);
    }
}

TEST_CASE_TEMPLATE("conversions at the ends of their domain", R, float, double) {
    CHECK(decay_from_bandwidth(R{0}) == 0);
    CHECK(bandwidth_from_decay(R{0}) == 0);
    CHECK(std::isnan(decay_from_bandwidth(std::numeric_limits<R>::quiet_NaN())));
    CHECK(std::isinf(decay_from_bandwidth(std::numeric_limits<R>::infinity())));
}

TEST_CASE_TEMPLATE("pulse lengths", R, float, double) {
    const R decay = decay_from_bandwidth(R{1e6});
    // The root halves the relative errors of decay and logarithm; float carries its own.
    const double tolerance = std::max(1e-6, 8 * epsilon<R>);
    CHECK_WITHIN_RELATIVE(pulse_length(decay), 0.879522718655e-6, tolerance);
    CHECK_WITHIN_RELATIVE(pulse_length(decay, R{20}), 1.605781e-6, tolerance);
    CHECK_WITHIN_RELATIVE(pulse_length(decay, R{40}), 2.270918e-6, tolerance);
}

// The product of -6 dB length and -6 dB bandwidth is 1.2 ln 10 / pi for every Gaussian pulse.
TEST_CASE("length times bandwidth is a constant of the shape") {
    for (double bandwidth : {1e-2, 1.0, 1e6, 6e6}) {
        CHECK_WITHIN_RELATIVE(pulse_length(decay_from_bandwidth(bandwidth)) * bandwidth,
                              1.2 * std::numbers::ln10 / std::numbers::pi, 8 * epsilon<double>);
    }
}

TEST_CASE("SciPy's cut-off time is half a pulse length") {
    for (const test::CutoffRow& row : test::cutoffs) {
        const double half = pulse_length(decay_from_bandwidth(row.bandwidth), row.level) / 2;
        // SciPy takes the level through 10^(level / 20) and back: a few roundings more than ours.
        CHECK_WITHIN_RELATIVE(1e6 * half, row.cutoff_microseconds, 16 * epsilon<double>);
    }
}
