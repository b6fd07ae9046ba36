#include "echosieve/condition/detail/fir.hpp"

#include <complex>
#include <numbers>

#include "condition/reference/scipy_filters.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

// Sines and the sum of 501 taps, each rounded; taps are of order 0.02 to 1.
constexpr double tap_tolerance = 1e-15;

// Gain at `frequency`, by the sum.
double gain(const Eigen::ArrayXd& taps, double frequency, double rate) {
    std::complex<double> sum = 0;
    for (Eigen::Index k = 0; k < taps.size(); ++k) {
        // Taps are negative too, which std::polar does not take as a radius.
        const double angle = -2 * std::numbers::pi * frequency / rate * static_cast<double>(k);
        sum += taps[k] * std::polar(1.0, angle);
    }
    return std::abs(sum);
}

}  // namespace

TEST_CASE("low-pass taps are those of scipy's firwin") {
    for (const auto& row : test::taps) {
        const auto length = static_cast<Eigen::Index>(row.length);
        const Eigen::ArrayXd taps = low_pass_taps(length, row.cutoff, row.rate);
        REQUIRE(taps.size() == length);
        CHECK_WITHIN(taps[static_cast<Eigen::Index>(row.index)], row.tap, tap_tolerance);
    }
}

TEST_CASE("low-pass taps are symmetric and have gain 1 at 0 Hz") {
    const Eigen::ArrayXd taps = low_pass_taps(167, 3.3e6, 125e6);
    CHECK_WITHIN(taps.sum(), 1.0, 1e-14);
    // sin and cos of opposite arguments are exact opposites and equals.
    CHECK((taps - taps.reverse()).abs().maxCoeff() == 0);
}

// The bands that the documentation of baseband.hpp states, for the filter that
// they use: 4 rate / bandwidth taps, cutoff 1.1 bandwidths. Hamming's window: stop band 53 dB down
// (Oppenheim and Schafer, Discrete-Time Signal Processing, table of windows; from memory).
TEST_CASE("the low-pass keeps the stated pass band and stop band") {
    const double rate = 125e6;
    for (const double bandwidth : {1e6, 3e6, 4.5e6}) {
        CAPTURE(bandwidth);
        const Eigen::ArrayXd taps =
            low_pass_taps(filter_length(rate, bandwidth), 1.1 * bandwidth, rate);
        double ripple = 0;
        for (double f = 0; f <= 0.65 * bandwidth; f += bandwidth / 200) {
            ripple = std::max(ripple, std::abs(gain(taps, f, rate) - 1));
        }
        CHECK(ripple <= 0.004);
        double leak = 0;
        for (double f = 1.55 * bandwidth; f <= rate / 2; f += bandwidth / 200) {
            leak = std::max(leak, gain(taps, f, rate));
        }
        CHECK(20 * std::log10(leak) <= -53);
        // Half amplitude at the cut-off, to the ripple's size.
        CHECK_WITHIN(gain(taps, 1.1 * bandwidth, rate), 0.5, 0.003);
    }
}

TEST_CASE("filter lengths are odd and near 4 rate / bandwidth") {
    CHECK(filter_length(125e6, 1e6) == 501);
    CHECK(filter_length(125e6, 3e6) == 167);
    CHECK(filter_length(1, 100) == 1);
    for (const double bandwidth : {1e-300, 0.0, std::nan("")}) {
        CHECK_THROWS_AS(static_cast<void>(filter_length(125e6, bandwidth)), InvalidInput);
    }
    CHECK(low_pass_taps(1, 0.1, 1)[0] == 1);
}

TEST_CASE("decimation leaves the least rate, and is 1 at least") {
    CHECK(detail::decimation(125e6, 3.6e6) == 34);
    CHECK(detail::decimation(8, 4) == 2);
    CHECK(detail::decimation(3, 4) == 1);
    CHECK(detail::decimation(125e6, 1e-300) == 1'000'000'000'000'000);
}

TEST_CASE("low-pass taps refuse what they can't make") {
    CHECK_THROWS_WITH_AS(static_cast<void>(low_pass_taps(10, 1, 10)),
                         "filter length = 10: must be odd and positive", InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(low_pass_taps(-1, 1, 10)), InvalidInput);
    CHECK_THROWS_WITH_AS(static_cast<void>(low_pass_taps(11, 5, 10)),
                         "cutoff = 5: must lie between 0 and half the rate [Hz]", InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(low_pass_taps(11, 0, 10)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(low_pass_taps(11, std::nan(""), 10)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(low_pass_taps(11, 1, std::nan(""))), InvalidInput);
}
