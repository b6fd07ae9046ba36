// Gates conditioned to baseband: against the echoes themselves, also where the gate cuts them.
#include "echosieve/condition/gate_baseband.hpp"

#include <algorithm>
#include <complex>
#include <cstdint>
#include <limits>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;
using Complex = std::complex<double>;

namespace {

constexpr SamplingGrid gate{20e-6, 125e6, 650, 0};
constexpr Sensor sensor{4e6, 1e6};

// The largest distance of the conditioned echo from itself sampled in baseband.
template <class R>
double distance(const Echo<Gabor<double>>& echo, const SamplingGrid& raw,
                const GateBasebandOptions& options = {}) {
    std::vector<double> wide(raw.count);
    add(echo, raw, std::span<double>(wide));
    const std::vector<R> frame(wide.begin(), wide.end());
    GateBasebander<R> basebander(raw, sensor, options);
    const SamplingGrid grid = basebander.grid();
    std::vector<std::complex<R>> out(grid.count);
    basebander.process(std::span<const R>(frame), std::span<std::complex<R>>(out));
    std::vector<Complex> expected(grid.count);
    add(echo, grid, std::span<Complex>(expected));
    double most = 0;
    for (std::size_t m = 0; m < grid.count; ++m) {
        most = std::max(most, std::abs(static_cast<Complex>(out[m]) - expected[m]));
    }
    return most;
}

}  // namespace

TEST_CASE_TEMPLATE("an echo comes out as itself, within the gate and cut by its ends", R, float,
                   double) {
    // What lambda = 1e-3 costs: measured 1.1e-2 for echoes that arrive at the ends.
    const double at_ends = 1.5e-2;
    const double within = 1.5e-3;
    for (const double arrival : {19.9e-6, 20e-6, 20.3e-6, 21e-6, 22.6e-6, 24.9e-6, 25.2e-6}) {
        for (const double frequency : {3.6e6, 4e6, 4.4e6}) {
            for (const double bandwidth : {0.9e6, 1.1e6}) {
                for (const double phase : {0.0, 1.0, 2.5}) {
                    CAPTURE(arrival);
                    CAPTURE(frequency);
                    const Echo<Gabor<double>> echo{{arrival, frequency, bandwidth},
                                                   std::polar(1.0, phase)};
                    const bool cut = arrival < 20.5e-6 || arrival > 24.7e-6;
                    CHECK(distance<R>(echo, gate) <= (cut ? at_ends : within));
                }
            }
        }
    }
}

TEST_CASE("with less noise to count with the echo comes out more exactly") {
    const Echo<Gabor<double>> echo{{20.2e-6, 4.1e6, 1e6}, {0.6, -0.8}};
    const double usual = distance<double>(echo, gate);
    const double exact = distance<double>(echo, gate, {.noise = 1e-6});
    CHECK(exact < usual);
    CHECK(exact <= 2e-5);  // measured 5.2e-6
}

TEST_CASE("a gate shorter than the filter is taken whole") {
    const SamplingGrid narrow{20e-6, 125e6, 90, 0};
    const Echo<Gabor<double>> echo{{20.4e-6, 4e6, 1e6}, {1, 0}};
    // 0.7 us of an echo that is 0.9 us long: known, though less well.
    CHECK(distance<double>(echo, narrow) <= 0.02);
    GateBasebander<double> one({20e-6, 125e6, 1, 0}, sensor);
    CHECK(one.grid().count == 1);
    CHECK(one.weights().size() == 1);
    // Filters and steps that are longer than any gate.
    CHECK(distance<double>(echo, narrow, {.reach = 1e300}) ==
          distance<double>(echo, narrow, {.reach = 1}));
    CHECK(GateBasebander<double>(narrow, sensor, {.rate = 1e-300}).grid().count == 1);
}

TEST_CASE("the grid's rate is the lowest whole part of the raw rate above the one asked for") {
    const GateBasebander<float> usual(gate, sensor);
    CHECK(usual.grid().sampling_rate == 125e6 / 15);
    CHECK(usual.grid().count == 44);
    CHECK(usual.grid().start_time == gate.start_time);
    CHECK(usual.grid().mixing_frequency == sensor.centre_frequency);
    const GateBasebander<float> all(gate, sensor, {.rate = 500});
    CHECK(all.grid().count == gate.count);
}

TEST_CASE("a gate too long for its tables is refused before they are made") {
    CHECK_THROWS_WITH_AS(GateBasebander<double>({20e-6, 125e6, 1'000'000, 0}, sensor),
                         doctest::Contains("count = 1000000: must be less: filters of 251 taps"),
                         InvalidInput);
    CHECK_THROWS_AS(GateBasebander<double>({20e-6, 125e6, 50'000, 0}, sensor, {.reach = 1e300}),
                    InvalidInput);
}

TEST_CASE("the weights make a sum over the results one over the raw samples") {
    const std::vector<double> weights = GateBasebander<double>(gate, sensor).weights();
    const SamplingGrid grid = GateBasebander<double>(gate, sensor).grid();
    CHECK(*std::ranges::max_element(weights) == 1);
    CHECK(*std::ranges::min_element(weights) > 0);
    CHECK(weights[0] < 0.5);  // half a step of the gate belongs to the first sample
    // |g|^2 summed both ways, of an echo within and of echoes that the gate cuts.
    const auto ratio = [&](double arrival) {
        const Gabor<double> atom{arrival, 4e6, 1e6};
        double raw = 0;
        for (std::size_t n = 0; n < gate.count; ++n) {
            raw += std::norm(value(atom, gate.time(static_cast<double>(n))));
        }
        double sum = 0;
        for (std::size_t m = 0; m < grid.count; ++m) {
            sum += weights[m] * std::norm(value(atom, grid.time(static_cast<double>(m))));
        }
        return sum / raw;
    };
    const double within = ratio(22.6e-6);
    for (const double arrival : {20e-6, 20.2e-6, 21e-6, 24e-6, 25e-6, 25.19e-6}) {
        CHECK_WITHIN_RELATIVE(ratio(arrival), within, 0.05);  // measured 0.03
    }
}

TEST_CASE("an offset is gone, at the ends too") {
    GateBasebander<double> basebander(gate, sensor);
    const std::vector<double> frame(gate.count, 1.0);
    std::vector<Complex> out(basebander.grid().count);
    basebander.process(std::span<const double>(frame), std::span<Complex>(out));
    for (const Complex& y : out) {
        CHECK(std::abs(y) <= 1e-3);  // lambda over the offset's variance, times the samples' number
    }
}

TEST_CASE("samples of whole numbers are taken as they are") {
    GateBasebander<float> basebander(gate, sensor);
    std::vector<std::int16_t> whole(gate.count);
    RandomStream stream(3);
    for (std::int16_t& x : whole) {
        x = static_cast<std::int16_t>(200 * stream.normal());
    }
    const std::vector<float> same(whole.begin(), whole.end());
    std::vector<std::complex<float>> from_whole(basebander.grid().count);
    std::vector<std::complex<float>> from_float(basebander.grid().count);
    basebander.process(std::span<const std::int16_t>(whole),
                       std::span<std::complex<float>>(from_whole));
    basebander.process(std::span<const float>(same), std::span<std::complex<float>>(from_float));
    CHECK(from_whole == from_float);
}

TEST_CASE("what is outside its domain is refused") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(GateBasebander<double>({20e-6, 125e6, 0, 0}, sensor), InvalidInput);
    CHECK_THROWS_AS(GateBasebander<double>({20e-6, 125e6, 650, 4e6}, sensor), InvalidInput);
    CHECK_THROWS_AS(GateBasebander<double>({20e-6, 8e6, 650, 0}, sensor), InvalidInput);
    CHECK_THROWS_AS(GateBasebander<double>({nan, 125e6, 650, 0}, sensor), InvalidInput);
    CHECK_THROWS_AS(GateBasebander<double>(gate, {4e6, 0}), InvalidInput);
    for (const double bad : {0.0, -1.0, nan, std::numeric_limits<double>::infinity()}) {
        CAPTURE(bad);
        CHECK_THROWS_AS(GateBasebander<double>(gate, sensor, {.rate = bad}), InvalidInput);
        CHECK_THROWS_AS(GateBasebander<double>(gate, sensor, {.bandwidth = bad}), InvalidInput);
        CHECK_THROWS_AS(GateBasebander<double>(gate, sensor, {.reach = bad}), InvalidInput);
        CHECK_THROWS_AS(GateBasebander<double>(gate, sensor, {.noise = bad}), InvalidInput);
    }
    // The square of a bandwidth may not overflow: the window's middle would be no number.
    CHECK_THROWS_WITH_AS(GateBasebander<double>(gate, sensor, {.bandwidth = 1e160}),
                         "bandwidth = 1e+160: must not exceed 1e+12 [sensor bandwidths]",
                         InvalidInput);
    const GateBasebander<double> widest(gate, sensor, {.bandwidth = 1e12});
    for (const double weight : widest.weights()) {
        CHECK(std::isfinite(weight));
    }
    GateBasebander<double> basebander(gate, sensor);
    const std::vector<double> shorter(gate.count - 1);
    std::vector<Complex> out(basebander.grid().count);
    CHECK_THROWS_AS(basebander.process(std::span<const double>(shorter), std::span<Complex>(out)),
                    InvalidInput);
    const std::vector<double> right(gate.count);
    CHECK_THROWS_AS(basebander.process(std::span<const double>(right),
                                       std::span<Complex>(out).first(out.size() - 1)),
                    InvalidInput);
}

TEST_CASE_TEMPLATE("gates one after the other, or on any number of threads, come out the same", R,
                   float, double) {
    FrameMatrix<std::int16_t> frames(9, gate.count);
    RandomStream stream(4);
    for (std::size_t i = 0; i < 9; ++i) {
        for (std::int16_t& x : frames[i]) {
            x = static_cast<std::int16_t>(200 * stream.normal());
        }
    }
    GateBasebander<R> basebander(gate, sensor);
    std::vector<std::complex<R>> alone(basebander.grid().count);
    for (const std::size_t threads : {std::size_t{1}, std::size_t{2}, std::size_t{4}}) {
        CAPTURE(threads);
        const auto all = gates_to_baseband(frames.view(), basebander, threads);
        REQUIRE(all.frames() == 9);
        for (std::size_t i = 0; i < 9; ++i) {
            basebander.process(frames.view()[i], std::span<std::complex<R>>(alone));
            CHECK(std::ranges::equal(all[i], alone));
        }
    }
    const FrameMatrix<std::int16_t> wrong(2, gate.count - 1);
    CHECK_THROWS_AS(static_cast<void>(gates_to_baseband(wrong.view(), basebander, 2)),
                    InvalidInput);
}
