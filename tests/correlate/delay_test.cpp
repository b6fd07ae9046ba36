#include "echosieve/correlate/delay.hpp"

#include <boost/math/tools/toms748_solve.hpp>
#include <cmath>
#include <complex>
#include <cstdint>
#include <limits>
#include <numbers>
#include <optional>
#include <span>
#include <vector>

#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

using Plain = Echo<Gabor<double>>;
using Chirped = Echo<ChirpedGabor<double>>;

// phase_tolerance 1e-9 rad is 4e-17 s at 4 MHz; the rounding of arrivals near 20 us is 3e-21 s, and
// that of the phase 1e-16 rad times the turns between the echoes.
constexpr double exact = 1e-16;
// The envelope's peak is found by bisection down to 1e-16 s, but its slope is lost in rounding
// within sqrt(eps) of a pulse's curvature: eps / (alpha pulse).
constexpr double envelope_exact = 1e-15;

std::vector<Plain> moved(std::vector<Plain> echoes, double delay) {
    for (Plain& x : echoes) {
        x.atom.arrival += delay;
    }
    return echoes;
}

const Plain wall{{20e-6, 4e6, 1e6}, std::polar(0.8, 0.6)};
const std::vector<Plain> layers{{{20e-6, 4e6, 1e6}, std::polar(1.0, 0.2)},
                                {{20.7e-6, 3.9e6, 0.9e6}, std::polar(0.6, -1.0)},
                                {{22.1e-6, 4.1e6, 1.1e6}, std::polar(0.4, 2.0)}};

template <class A>
std::span<const Echo<A>> all(const std::vector<Echo<A>>& echoes) {
    return echoes;
}

}  // namespace

TEST_CASE("one echo against itself, delayed") {
    for (double delay : {0.0, 1e-13, -3e-12, 26e-9, -130e-9, 1e-6, -3e-6, 1e-3}) {
        CAPTURE(delay);
        Plain later = wall;
        later.atom.arrival += delay;
        const double truth = later.atom.arrival - wall.atom.arrival;  // as rounded
        const Delay found = delay_between(wall, later);
        REQUIRE(found.usable());
        CHECK_WITHIN(found.delay, truth, exact);
        CHECK_WITHIN(found.envelope_delay, truth, envelope_exact);
        CHECK_WITHIN(found.correlation, 1.0, 1e-12);
        CHECK_WITHIN_RELATIVE(found.frequency, 4e6, 1e-12);
    }
}

TEST_CASE("a sum of echoes against itself, delayed") {
    RandomStream stream(21);
    for (int trial = 0; trial < 100; ++trial) {
        const double delay = stream.uniform(-200e-9, 200e-9);
        const std::vector<Plain> later = moved(layers, delay);
        const Delay found = delay_between(all(layers), all(later));
        REQUIRE(found.usable());
        CHECK_WITHIN(found.delay, delay, exact);
        CHECK_WITHIN(found.envelope_delay, delay, envelope_exact);
        CHECK_WITHIN(found.correlation, 1.0, 1e-12);
        // The sign turns with the order.
        CHECK_WITHIN(delay_between(all(later), all(layers)).delay, -delay, exact);
    }
}

TEST_CASE("the first guess finds delays of many periods between sums") {
    for (double delay : {-5e-6, 2.34e-6, 40e-6}) {
        const std::vector<Plain> later = moved(layers, delay);
        const Delay found = delay_between(all(layers), all(later));
        REQUIRE(found.usable());
        CHECK_WITHIN(found.delay, delay, 2 * exact);
    }
}

TEST_CASE("the phase moves the delay by its share of a period, the envelope stays") {
    for (double phase : {-3.0, -1.0, 0.3, 3.0}) {
        Plain turned = wall;
        turned.amplitude *= std::polar(1.0, phase);
        const Delay found = delay_between(wall, turned);
        REQUIRE(found.usable());
        CHECK_WITHIN(found.delay, -phase / (2 * std::numbers::pi * 4e6), exact);
        CHECK_WITHIN(found.envelope_delay, 0.0, envelope_exact);
    }
}

TEST_CASE("near a prediction, the closest phase zero is taken") {
    const double period = 250e-9;
    const double delay = 30e-9;
    const std::vector<Plain> x1{wall};
    const std::vector<Plain> x2 = moved(x1, delay);
    for (double error : {-0.45, -0.2, 0.0, 0.1, 0.49}) {
        CAPTURE(error);
        const Delay found = delay_between(all(x1), all(x2), delay + error * period);
        REQUIRE(found.usable());
        CHECK_WITHIN(found.delay, delay, exact);
    }
    // Predicted more than half a period off, the answer is another cycle: the ambiguity.
    for (int cycle : {-2, -1, 1, 2}) {
        const Delay found = delay_between(all(x1), all(x2), delay + (cycle + 0.2) * period);
        REQUIRE(found.usable());
        CHECK_WITHIN(found.delay, delay + cycle * period, exact);
        CHECK_WITHIN_RELATIVE(1 / found.frequency, period, 1e-12);
        CHECK(found.correlation < 0.95);  // exp(-alpha period^2 / 2) = 0.89 a cycle off
    }
}

// Against the definition: the phase of a sum of samples at 125 MHz is zero at the delay, for echoes
// that are not copies of each other, and changes sign there.
TEST_CASE("the delay is the phase zero of the sampled correlation") {
    RandomStream stream(22);
    int used = 0;
    for (int trial = 0; trial < 30; ++trial) {
        std::vector<Chirped> x1;
        std::vector<Chirped> x2;
        for (int k = 0; k < 3; ++k) {
            const auto echo = [&](double f, double b) {
                return Chirped{{stream.uniform(4e-6, 5.5e-6), f, b, stream.uniform(-2e11, 2e11)},
                               std::polar(stream.uniform(0.2, 1.0), stream.uniform(-3.0, 3.0))};
            };
            x1.push_back(echo(stream.uniform(3.7e6, 4.3e6), stream.uniform(0.8e6, 1.3e6)));
            x2.push_back(x1.back());
            x2.back().atom.arrival += 40e-9 + stream.uniform(-10e-9, 10e-9);
            x2.back().atom.bandwidth *= stream.uniform(0.9, 1.1);
            x2.back().amplitude *= std::polar(1.0, stream.uniform(-0.2, 0.2));
        }
        const auto sampled = [&](double delay) {
            std::complex<double> sum = 0;
            for (int n = 0; n < 1250; ++n) {
                const double time = n / 125e6;
                std::complex<double> a = 0;
                std::complex<double> b = 0;
                for (int k = 0; k < 3; ++k) {
                    a += value(x1[static_cast<std::size_t>(k)], time - delay);
                    b += value(x2[static_cast<std::size_t>(k)], time);
                }
                sum += a * std::conj(b);
            }
            return sum;
        };
        const Delay found = delay_between(all(x1), all(x2), 40e-9);
        if (!found.usable()) {
            continue;
        }
        ++used;
        // 1e-9 rad asked for, and the samples' own rounding.
        CHECK_WITHIN(std::arg(sampled(found.delay)), 0.0, 5e-9);
        CHECK(std::arg(sampled(found.delay - 1e-9)) > 0);
        CHECK(std::arg(sampled(found.delay + 1e-9)) < 0);
        // No delay beside the envelope's has a larger correlation.
        const double peak = std::abs(sampled(found.envelope_delay));
        CHECK(std::abs(sampled(found.envelope_delay - 2e-9)) <= peak);
        CHECK(std::abs(sampled(found.envelope_delay + 2e-9)) <= peak);
        CHECK(found.correlation <= 1);
    }
    CHECK(used >= 28);
}

TEST_CASE("the phase zero and the envelope's peak are those of Boost.Math's bracketing solver") {
    RandomStream stream(33);
    const auto changed = [&](const std::vector<Plain>& echoes) {
        std::vector<Plain> out = moved(echoes, stream.uniform(-60e-9, 60e-9));
        for (Plain& x : out) {  // no longer the same echoes: a correlation of its own shape
            x.amplitude *= std::polar(stream.uniform(0.8, 1.2), stream.uniform(-0.3, 0.3));
            x.atom.arrival += stream.uniform(-10e-9, 10e-9);
        }
        return out;
    };
    const auto root = [](auto function, double low, double high) {
        std::uintmax_t steps = 100;
        const auto [a, b] = boost::math::tools::toms748_solve(
            function, low, high, boost::math::tools::eps_tolerance<double>(50), steps);
        return (a + b) / 2;
    };
    for (int trial = 0; trial < 100; ++trial) {
        const std::vector<Plain> later = changed(layers);
        const Delay found = delay_between(all(layers), all(later));
        REQUIRE(found.usable());
        const auto r = [&](double d) { return cross_correlation(all(layers), all(later), -d); };
        const double reach = 0.2 / found.frequency;
        CHECK_WITHIN(root([&](double d) { return r(d).value.imag(); }, found.delay - reach,
                          found.delay + reach),
                     found.delay, exact);
        CHECK(r(found.delay).value.real() > 0);
        const auto slope = [&](double d) {
            const CorrelationValue at = r(d);
            return (at.derivative * std::conj(at.value)).real();
        };
        CHECK_WITHIN(root(slope, found.envelope_delay - 100e-9, found.envelope_delay + 100e-9),
                     found.envelope_delay, envelope_exact);
    }
}

TEST_CASE("where echoes interfere, the phase's slow and fast places lead to a zero as well") {
    struct Second {
        double later;  // than the first echo [s]: an odd number of half periods
        double phase;  // [rad]
        double share;
    };
    // Halfway between the two the correlation nearly vanishes, and the phase falls at a rate of a
    // third of the carrier's to many times it, or rises.
    for (const Second& second : {Second{0.875e-6, 0.2, 0.7},
                                 {0.875e-6, 0.1, 0.8},
                                 {0.875e-6, 0.1, 1.1},
                                 {1.125e-6, 0.1, 0.9},
                                 {1.125e-6, 0.2, 1.5}}) {
        CAPTURE(second.later);
        CAPTURE(second.share);
        const std::vector<Plain> x1{{{20e-6, 4e6, 1e6}, {1, 0}}};
        std::vector<Plain> x2 = x1;
        x2.push_back({{20e-6 + second.later, 4e6, 1e6}, std::polar(second.share, second.phase)});
        for (double start = -200e-9; start <= 200e-9; start += 5e-9) {
            CAPTURE(start);
            const Delay found = delay_between(all(x1), all(x2), second.later / 2 + start);
            REQUIRE(found.usable());
            CHECK(found.iterations <= 20);
            const auto r = cross_correlation(all(x1), all(x2), -found.delay).value;
            CHECK_WITHIN(std::arg(r), 0.0, 1e-9);
            CHECK(std::abs(found.delay - second.later / 2 - start) <= 250e-9);
        }
    }
}

TEST_CASE("float echoes move by what their arrivals say") {
    const Echo<Gabor<float>> x1{{20e-6F, 4e6F, 1e6F}, {1, 0}};
    Echo<Gabor<float>> x2 = x1;
    x2.atom.arrival += 12e-9F;
    const double truth = double{x2.atom.arrival} - double{x1.atom.arrival};
    const Delay found = delay_between(x1, x2);
    REQUIRE(found.usable());
    CHECK_WITHIN(found.delay, truth, exact);
}

TEST_CASE("echoes with nothing in common have no delay") {
    const Plain silent{wall.atom, {0, 0}};
    const Plain high{{20e-6, 40e6, 1e6}, {1, 0}};
    for (const Plain& other : {silent, high}) {
        const Delay found = delay_between(wall, other);
        CHECK(!found.usable());
        CHECK(found.status == DelayStatus::no_correlation);
        CHECK(std::isnan(found.delay));
        CHECK(std::isnan(found.envelope_delay));
    }
    // Predicted where the two do not overlap: underflow.
    const Delay far = delay_between(wall, wall, 1e-3);
    CHECK(far.status == DelayStatus::no_correlation);
    CHECK(std::isnan(far.delay));
    CHECK(std::isnan(far.envelope_delay));
    CHECK(far.correlation == 0);
}

TEST_CASE("a search that may not take a step says so") {
    Plain later = wall;
    later.atom.arrival += 30e-9;
    DelayOptions options;
    options.iterations = 1;
    const Delay found = delay_between(wall, later, 0.0, options);
    CHECK(found.status == DelayStatus::no_phase_zero);
    CHECK(!found.usable());
    CHECK(std::isnan(found.delay));
}

TEST_CASE("invalid echoes, options and predictions are refused") {
    const double bad = std::numeric_limits<double>::quiet_NaN();
    const double infinite = std::numeric_limits<double>::infinity();
    const auto refused = [](const Plain& x1, const Plain& x2,
                            std::optional<double> near = std::nullopt,
                            const DelayOptions& options = {}) {
        CHECK_THROWS_AS(static_cast<void>(delay_between(x1, x2, near, options)), InvalidInput);
        CHECK_THROWS_AS(static_cast<void>(delay_between(x2, x1, near, options)), InvalidInput);
    };
    for (double value : {bad, infinite}) {
        refused(wall, {{value, 4e6, 1e6}, {1, 0}});
        refused(wall, {{0, value, 1e6}, {1, 0}});
        refused(wall, {{0, 4e6, value}, {1, 0}});
        refused(wall, {{0, 4e6, 1e6}, {value, 0}});
        refused(wall, {{0, 4e6, 1e6}, {0, value}});
        refused(wall, wall, value);
    }
    refused(wall, {{0, 4e6, 0}, {1, 0}});
    refused(wall, wall, {}, {.least_correlation = -1});
    refused(wall, wall, {}, {.phase_tolerance = 0});
    refused(wall, wall, {}, {.iterations = 0});
    refused(wall, wall, {}, {.phase_tolerance = bad});
    const std::vector<Plain> none;
    CHECK_THROWS_AS(static_cast<void>(delay_between(all(none), all(layers))), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(delay_between(all(layers), all(none))), InvalidInput);
}

TEST_CASE("every status has words of its own") {
    CHECK(describe(DelayStatus::found) != describe(DelayStatus::no_phase_zero));
    CHECK(describe(DelayStatus::no_correlation) != describe(DelayStatus::not_run));
    CHECK(describe(Delay{}.status) == "not run");
}
