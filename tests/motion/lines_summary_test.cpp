// What several lines say of the artery together, from motions that are known.
#include "motion/follow/lines_summary.hpp"

#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr double rate = 500;  // [Hz]
constexpr std::size_t frames = 1500;

double diameter_at(double time) {
    const double turn = 2 * std::numbers::pi * time;
    return 6e-3 + 0.2e-3 * std::sin(1.1 * turn) + 0.06e-3 * std::sin(2.2 * turn + 0.7);
}

// A line that sees the artery `later` [s] and by a factor `gain` wider.
LineMotion line_of(double later, double gain, double deviation) {
    LineMotion line;
    ArteryMotion& m = line.motion;
    m.status = TrackStatus::tracked;
    m.near.pulse_share = -0.2e-3 * gain;
    m.far.pulse_share = 0.25e-3 * gain;
    m.near.gain_std = m.far.gain_std = 0.01;
    for (std::size_t i = 0; i < frames; ++i) {
        FrameMotion frame;
        frame.time = static_cast<double>(i) / rate;
        frame.diameter = gain * diameter_at(frame.time - later);
        frame.near_wall = 10e-3 - 0.4 * frame.diameter;
        frame.far_wall = frame.near_wall + frame.diameter;
        frame.near_wall_std = frame.far_wall_std = frame.diameter_std = deviation;
        frame.near_quality = frame.far_quality = frame.quality = 0.9;
        frame.valid = true;
        m.frames.push_back(frame);
    }
    return line;
}

}  // namespace

TEST_CASE("lines weigh by their deviations, and their mean by independent errors") {
    LinesMotion motion;
    motion.lines = {line_of(0, 1, 1e-6), line_of(0, 1.02, 2e-6)};
    pool_lines(motion);
    CHECK_WITHIN(motion.lines[0].weight, 0.8, 1e-12);
    CHECK_WITHIN(motion.lines[1].weight, 0.2, 1e-12);
    REQUIRE(motion.frames.size() == frames);
    const FrameMotion& frame = motion.frames[700];
    constexpr double rounding = 1e-15;
    CHECK_WITHIN(frame.diameter, (0.8 + 0.2 * 1.02) * diameter_at(frame.time), rounding);
    CHECK_WITHIN(frame.diameter_std, std::hypot(0.8e-6, 0.4e-6), rounding);
    CHECK_WITHIN(frame.quality, 0.9, 1e-12);
}

TEST_CASE("a line that comes and goes makes no jump, and few lines no frame") {
    LinesMotion motion;
    motion.lines = {line_of(0, 1, 1e-6), line_of(0, 1, 1e-6), line_of(0, 1, 1e-6)};
    for (FrameMotion& frame : motion.lines[2].motion.frames) {  // another layer, deeper
        frame.far_wall += 0.3e-3;
        frame.diameter += 0.3e-3;
    }
    for (std::size_t i = 400; i < 500; ++i) {
        motion.lines[2].motion.frames[i].valid = false;
    }
    for (std::size_t i = 450; i < 460; ++i) {
        motion.lines[1].motion.frames[i].valid = false;
    }
    pool_lines(motion);
    double step = 0;
    for (std::size_t i = 395; i < 445; ++i) {
        step = std::max(step, std::abs(motion.frames[i + 1].diameter - motion.frames[i].diameter));
    }
    CHECK(step < 4.5e-6);  // the artery's own fastest change a frame: 4.4 um
    CHECK(motion.frames[449].valid);
    CHECK(!motion.frames[450].valid);
    CHECK(std::isnan(motion.frames[450].diameter_std));
    CHECK(motion.frames[450].quality == 0);
    const double before = motion.frames[449].near_wall, after = motion.frames[460].near_wall;
    CHECK_WITHIN(motion.frames[455].near_wall, before + 6.0 / 11 * (after - before), 1e-12);
}

TEST_CASE("a line whose walls are others has no weight") {
    LinesMotion motion;
    motion.lines = {line_of(0, 1, 1e-6), line_of(0, 1.03, 1e-6), line_of(0, 0.4, 1e-6),
                    line_of(0, 0.97, 1e-6)};
    pool_lines(motion);
    CHECK(motion.lines[2].weight == 0);
    CHECK_WITHIN(motion.lines[0].weight, 1.0 / 3, 1e-12);
    LinesMotion none;
    none.lines.resize(2);
    pool_lines(none);
    CHECK(none.frames.empty());
}

TEST_CASE("delays are told from the diameters") {
    LinesMotion motion;
    const std::vector<double> later = {0, 0.4e-3, 1.3e-3};
    for (const double delay : later) {
        motion.lines.push_back(line_of(delay, 1 + 20 * delay, 1e-6));
    }
    // What the third line's own error is: 2 um at 3 Hz.
    for (FrameMotion& frame : motion.lines[2].motion.frames) {
        frame.diameter += 2e-6 * std::sin(2 * std::numbers::pi * 3 * frame.time + 1);
    }
    pool_lines(motion);
    set_delays(motion, rate);
    const double mean = (later[0] + later[1] + later[2]) / 3;
    for (std::size_t k = 0; k < 3; ++k) {
        CAPTURE(k);
        REQUIRE(motion.lines[k].delay);
        const Estimate& delay = *motion.lines[k].delay;
        CHECK_WITHIN(delay.value, later[k] - mean, 3 * delay.deviation);
        CHECK(delay.deviation < 0.5e-3);
    }
    CHECK_WITHIN(motion.lines[1].delay->value - motion.lines[0].delay->value, 0.4e-3, 2e-6);
    CHECK(motion.lines[2].delay->deviation > 1.5 * motion.lines[1].delay->deviation);
    const LinesPlacement at = placement_of(motion.lines, {0, 2e-3, 6.5e-3}, {});
    REQUIRE(at.delay_per_metre);
    CHECK_WITHIN(at.delay_per_metre->value, 0.2, 3 * at.delay_per_metre->deviation);
    CHECK(!at.axis);
}

TEST_CASE("depths along the vessel are its tilt") {
    std::vector<LineMotion> lines;
    const std::vector<double> positions = {-1e-3, 0, 2e-3};
    for (const double y : positions) {
        lines.push_back(line_of(0, 1, 1e-6));
        lines.back().weight = 1.0 / 3;
        for (FrameMotion& frame : lines.back().motion.frames) {
            frame.near_wall += 0.1 * y;
            frame.far_wall += 0.08 * y;
        }
    }
    const LinesPlacement at = placement_of(lines, positions, {});
    REQUIRE((at.near_tilt && at.far_tilt));
    CHECK_WITHIN(at.near_tilt->value, 0.1, 1e-9);
    CHECK_WITHIN(at.far_tilt->value, 0.08, 1e-9);
    CHECK(at.near_tilt->deviation > 0);
    lines.resize(1);
    CHECK(!placement_of(lines, {0}, {}).near_tilt);
}

TEST_CASE("chords across the vessel tell its axis and its diameter") {
    constexpr double axis = 0.7e-3, whole = 6.4e-3;
    std::vector<LineMotion> lines;
    const std::vector<double> offsets = {-1e-3, 0, 1.5e-3, 2e-3};
    for (const double x : offsets) {
        LineMotion line;
        FrameMotion frame;
        frame.valid = true;
        frame.far_wall = std::sqrt(whole * whole - 4 * (x - axis) * (x - axis));
        frame.diameter = frame.far_wall;
        line.motion.frames = {frame};
        line.weight = 0.25;
        lines.push_back(line);
    }
    const LinesPlacement at = placement_of(lines, {}, offsets);
    REQUIRE((at.axis && at.diameter));
    CHECK_WITHIN(at.axis->value, axis, 1e-9);
    CHECK_WITHIN(at.diameter->value, whole, 1e-9);
    CHECK((at.axis->deviation > 0 && at.axis->deviation < 0.1e-3));
    CHECK(!at.near_tilt);
    lines.resize(2);
    CHECK(!placement_of(lines, {}, {-1e-3, 0}).axis);
}
