#include "echosieve/condition/gates.hpp"

#include "condition/reference/scipy_filters.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

// 10 samples, 1 us apart, from 20 us to 29 us.
const SamplingGrid grid{20e-6, 1e6, 10, 0};

}  // namespace

TEST_CASE("depths become arrivals there and back") {
    RecordingSettings settings;
    settings.sound_speed = 1500;
    const Gate gate = depth_gate(settings, 0.015, 0.018);
    CHECK_WITHIN_RELATIVE(gate.begin, 20e-6, 4 * test::epsilon<double>);
    CHECK_WITHIN_RELATIVE(gate.end, 24e-6, 4 * test::epsilon<double>);
    CHECK(depth_gate(settings, 0, 0) == Gate{0, 0});
    CHECK_THROWS_WITH_AS(static_cast<void>(depth_gate(settings, -0.001, 1)),
                         "nearest = -0.001: must be zero or more and finite [m]", InvalidInput);
    CHECK_THROWS_WITH_AS(static_cast<void>(depth_gate(settings, 0.02, 0.01)),
                         "deepest = 0.01: must be finite and at least nearest = 0.02 [m]",
                         InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(depth_gate(settings, 0, std::nan(""))), InvalidInput);
    settings.sound_speed = 0;
    CHECK_THROWS_AS(static_cast<void>(depth_gate(settings, 0, 1)), InvalidInput);
}

TEST_CASE("a gate holds the samples between its ends, ends included") {
    CHECK(gate_samples(grid, {22e-6, 25e-6}) == SampleRange{2, 6});
    CHECK(gate_samples(grid, {21.5e-6, 25.9e-6}) == SampleRange{2, 6});
    CHECK(gate_samples(grid, {22e-6, 22e-6}) == SampleRange{2, 3});
    CHECK(gate_samples(grid, {20e-6, 29e-6}) == SampleRange{0, 10});
    // Made of the grid's own times, for rates whose step is no binary fraction.
    for (const double rate : {125e6, 3.676470588e6, 1e7 / 3}) {
        const SamplingGrid other{9.1e-6, rate, 2435, 0};
        for (const std::size_t first : {std::size_t{0}, std::size_t{7}, std::size_t{2001}}) {
            const Gate gate{other.time(static_cast<double>(first)),
                            other.time(static_cast<double>(first) + 300)};
            CHECK(gate_samples(other, gate) == SampleRange{first, first + 301});
        }
    }
}

TEST_CASE("a gate that reaches out of the grid is cut, one that misses it is refused") {
    CHECK(gate_samples(grid, {0, 21e-6}) == SampleRange{0, 2});
    CHECK(gate_samples(grid, {28.5e-6, 1}) == SampleRange{9, 10});
    CHECK(gate_samples(grid, {0, 1}) == SampleRange{0, 10});
    CHECK_THROWS_WITH_AS(static_cast<void>(gate_samples(grid, {30e-6, 40e-6})),
                         "gate.begin = 3e-05: must not be after the last sample, 2.9e-05 [s]",
                         InvalidInput);
    CHECK_THROWS_WITH_AS(static_cast<void>(gate_samples(grid, {0, 19e-6})),
                         "gate.end = 1.9e-05: must not be before the first sample, 2e-05 [s]",
                         InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(gate_samples(grid, {25e-6, 24e-6})), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(gate_samples(grid, {std::nan(""), 24e-6})), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(gate_samples({20e-6, 1e6, 0, 0}, {20e-6, 24e-6})),
                    InvalidInput);
}

TEST_CASE("a gate between two samples is empty") {
    const SampleRange range = gate_samples(grid, {22.2e-6, 22.8e-6});
    CHECK(range.count() == 0);
    CHECK(gate_weights(grid, {22.2e-6, 22.8e-6}).size() == 0);
}

TEST_CASE("Tukey's window is scipy's, Hann's its special case") {
    for (const auto& row : test::windows) {
        const double position = row.index / (row.count - 1);
        // The argument's rounding near the ends.
        CHECK_WITHIN(tukey(position, row.taper), row.weight, 1e-15);
        if (row.taper == 1) {
            CHECK_WITHIN(hann(position), row.weight, 1e-15);
        }
    }
    CHECK(tukey(-0.01, 0.5) == 0);
    CHECK(tukey(1.01, 0.5) == 0);
    CHECK(tukey(std::nan(""), 0.5) == 0);
    CHECK(tukey(0, 0) == 1);
    CHECK(tukey(1, 0) == 1);
    CHECK(hann(0.5) == 1);
    CHECK(hann(0) == 0);
}

TEST_CASE_TEMPLATE("weights follow each sample's own time", R, float, double) {
    const Gate gate{21.75e-6, 26.25e-6};
    const auto weights = gate_weights<R>(grid, gate, 0.4);
    REQUIRE(weights.size() == 5);
    for (Eigen::Index n = 0; n < 5; ++n) {
        const double position = (22e-6 + 1e-6 * static_cast<double>(n) - gate.begin) / 4.5e-6;
        CHECK_WITHIN(static_cast<double>(weights[n]), tukey(position, 0.4),
                     4 * test::epsilon<R> + 1e-14);
    }
}

TEST_CASE("a cut gate keeps the window of its full length, one of no length weighs 1") {
    const auto weights = gate_weights(grid, {16e-6, 24e-6});
    REQUIRE(weights.size() == 5);
    CHECK_WITHIN(weights[0], 1.0, 1e-12);  // 20 us, the gate's middle
    CHECK_WITHIN(weights[4], 0.0, 1e-12);
    const auto one = gate_weights(grid, {23e-6, 23e-6});
    REQUIRE(one.size() == 1);
    CHECK(one[0] == 1);
    CHECK_THROWS_WITH_AS(static_cast<void>(gate_weights(grid, {20e-6, 24e-6}, 1.5)),
                         "taper = 1.5: must lie in [0, 1]", InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(gate_weights(grid, {20e-6, 24e-6}, std::nan(""))),
                    InvalidInput);
}
