#include "motion/line/line.hpp"

#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <utility>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/core/error.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

// 1.54 m/ms there and back: at 4 MHz a sample is 0.1925 mm, the first one at 7.7 mm.
Baseband<double> baseband(Eigen::Index frames) {
    Baseband<double> out;
    out.settings.frame_rate = 500;
    out.settings.sound_speed = 1540;
    out.settings.sensor = {4e6, 1e6};
    out.grid = {10e-6, 4e6, 100, 4e6};
    out.samples.resize(frames, 100);
    for (Eigen::Index i = 0; i < frames; ++i) {
        for (Eigen::Index k = 0; k < 100; ++k) {
            out.samples(i, k) = {static_cast<double>(i * i), static_cast<double>(k)};
        }
    }
    return out;
}

constexpr double rounding = 1e-12;

}  // namespace

TEST_CASE("a line holds the good frames as they are and bridges the others") {
    using enum FrameState;
    const LineHistory line =
        line_history(baseband(8), {dropped, good, good, clipped, frozen, good, not_finite, good});
    CHECK(line.usable == std::vector<bool>{false, true, true, false, false, true, false, true});
    const double expected[] = {1, 1, 4, 11, 18, 25, 37, 49};
    for (Eigen::Index i = 0; i < 8; ++i) {
        CHECK_WITHIN(line.samples(i, 7), std::complex<double>(expected[i], 7), rounding);
    }
    CHECK((line.weights() == Eigen::ArrayXd{{0, 1, 1, 0, 0, 1, 0, 1}}).all());
    CHECK_THROWS_WITH_AS(static_cast<void>(line_history(baseband(3), {good})),
                         "number of frame states = 1: must equal the frames, 3", InvalidInput);
}

TEST_CASE("depths, samples and gates of a line agree, and gates stay inside it") {
    const LineHistory line = line_history(baseband(2), std::vector<FrameState>(2));
    CHECK_WITHIN(line.first_depth(), 7.7e-3, rounding);
    CHECK_WITHIN(line.last_depth(), 7.7e-3 + 99 * 0.1925e-3, rounding);
    CHECK_WITHIN(line.index(line.depth(31.25)), 31.25, 1e-9);
    const auto [first, end] = line.gate(line.depth(50), 0.5e-3);  // 2.6 samples to either side
    CHECK(first == 47);
    CHECK(end == 53);
    CHECK(line.gate(line.first_depth(), 1e-3).first == 0);
    CHECK(line.gate(line.last_depth(), 1e-3).second == 100);
    // Gates outside the line, however far, hold nothing.
    const double infinity = std::numeric_limits<double>::infinity();
    for (const double depth : {0.0, 1e-3, 1.0, 1e300, -1e300, infinity, -infinity, std::nan("")}) {
        CAPTURE(depth);
        const auto [from, to] = line.gate(depth, 1e-3);
        CHECK(from == to);
        CHECK((from == 0 || from == 100));
    }
    CHECK(line.gate(15e-3, infinity) == std::pair<Eigen::Index, Eigen::Index>(0, 100));
    // An echo a half wavelength deeper has turned once.
    CHECK_WITHIN(line.phase_per_metre(4e6) * line.half_wavelength(), 2 * std::numbers::pi,
                 rounding);
    CHECK_WITHIN(line.half_wavelength(), 192.5e-6, rounding);
}

TEST_CASE("one depth ends the dead zone for all") {
    LineHistory line = line_history(baseband(2), std::vector<FrameState>(2));
    CHECK(line.dead_zone == default_dead_zone);
    CHECK(line.first_below_dead_zone() == 16);  // 3 mm: 15.6 samples
    line.dead_zone = 0;
    CHECK(line.first_below_dead_zone() == 0);
    for (const double far : {1.0, 1e300, std::numeric_limits<double>::infinity()}) {
        line.dead_zone = far;
        CHECK(line.first_below_dead_zone() == 100);
    }
    CHECK(line_history(baseband(2), std::vector<FrameState>(2), 5e-3).dead_zone == 5e-3);
}

TEST_CASE("a stretched line moves by its strain times the distance from the centre") {
    LineHistory line = line_history(baseband(3), std::vector<FrameState>(3));
    CHECK((line.slow_path(20e-3) == 0).all());
    CHECK(line.slow_path(20e-3).size() == 3);
    line.stretch = Eigen::ArrayXd{{0, 1e-3, -2e-3}};
    line.stretch_centre = 15e-3;
    const Eigen::ArrayXd expected{{0, 5e-6, -10e-6}};
    CHECK((line.slow_path(20e-3) - expected).abs().maxCoeff() < rounding);
    CHECK((line.slow_path(10e-3) + expected).abs().maxCoeff() < rounding);
}

TEST_CASE("runs of a line: gaps to 30 ms belong to them, and 60 ms is the shortest") {
    // 15 frames and 30 frames at 500 frames a second.
    LineHistory line = line_history(baseband(300), std::vector<FrameState>(300));
    REQUIRE(line.runs().size() == 1);
    CHECK(line.runs()[0].count == 300);
    const auto lose = [&](std::size_t first, std::size_t count) {
        std::fill_n(line.usable.begin() + static_cast<std::ptrdiff_t>(first), count, false);
    };
    lose(50, 15);
    CHECK(line.runs().size() == 1);
    lose(150, 16);
    REQUIRE(line.runs().size() == 2);
    CHECK(line.runs()[0].first == 0);
    CHECK(line.runs()[0].count == 150);
    CHECK(line.runs()[1].first == 166);
    CHECK(line.runs()[1].count == 134);
    lose(195, 20);
    REQUIRE(line.runs().size() == 2);  // 29 frames between the last two gaps are too few
    CHECK(line.runs()[1].first == 215);
}
