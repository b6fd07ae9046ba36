#include "echosieve/synthesis/detail/pulse_wave.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numbers>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

// The wave's least and largest value, and its largest change from sample to sample.
struct Course {
    double least = 1;
    double largest = 0;
    double change = 0;
};

Course course_of(const PulseWave& wave, double duration, double step) {
    Course course;
    double before = wave(0);
    for (double t = 0; t <= duration; t += step) {
        const double w = wave(t);
        course.least = std::min(course.least, w);
        course.largest = std::max(course.largest, w);
        course.change = std::max(course.change, std::abs(w - before));
        before = w;
    }
    return course;
}

}  // namespace

TEST_CASE("the wave lies in 0 to 1 without jumps for any options that are allowed") {
    RandomStream random(21, 0);
    int drawn = 0;
    for (int trial = 0; trial < 400; ++trial) {
        PulseWaveOptions options;
        options.heart_rate = random.uniform(0.3, 5.0);
        options.variability = random.uniform(0.0, 0.3);
        options.rise_time = random.uniform(0.02, 0.2);
        options.decay_time = random.uniform(0.1, 1.0);
        options.notch_time = random.uniform(0.18, 0.3);
        options.notch_height = random.uniform(0.0, 0.3);
        try {
            validate(options);
        } catch (const InvalidInput&) {
            continue;  // no room for the notch
        }
        ++drawn;
        CAPTURE(trial);
        const double step = 2e-4;
        const Course course = course_of(PulseWave(options, 5, RandomStream(22, 0)), 5, step);
        // The sum of the rounded peak and the far end of the notch may pass 1 by a hair.
        CHECK(course.least >= -1e-12);
        CHECK(course.largest <= 1.001);
        // Steepest are the upstroke, and the decay where little of it is left in a short beat; both
        // shrink with the beat, to a tenth of its mean length at most.
        const double shortest = (1 - 3 * options.variability) / options.heart_rate;
        const double stretch = std::max(1.0, 0.6 / shortest);
        const double left = 1 - std::exp(-(0.6 - options.rise_time - 0.02) / options.decay_time);
        const double slope =
            std::max(std::numbers::pi / (2 * options.rise_time),
                     (1 / options.decay_time + options.notch_height / 0.045) / left);
        CHECK(course.change <= 1.05 * step * stretch * slope);
    }
    CHECK(drawn > 200);
}

TEST_CASE("without variability the wave is periodic") {
    PulseWaveOptions options;
    options.variability = 0;
    options.heart_rate = 1.25;
    const PulseWave wave(options, 8, RandomStream(23, 0));
    constexpr double rounding = 1e-11;  // of ten sums of 0.8 s, times the steepest slope
    for (double t = 0; t < 7; t += 0.0137) {
        CHECK_WITHIN(wave(t + 0.8), wave(t), rounding);
    }
    const auto onsets = wave.onsets(8);
    CHECK(onsets.size() == 10);
    for (std::size_t k = 1; k < onsets.size(); ++k) {
        CHECK_WITHIN(onsets[k] - onsets[k - 1], 0.8, rounding);
    }
}

TEST_CASE("a beat has one upstroke and one dicrotic wave where the options put them") {
    PulseWaveOptions options;
    options.variability = 0;
    options.heart_rate = 1;
    options.notch_height = 0.2;  // the default's 0.12 makes a shoulder, not a maximum of its own
    const PulseWave wave(options, 4, RandomStream(24, 0));
    const double onset = wave.onsets(4).front();
    const double step = 1e-3;
    std::vector<double> peaks;
    std::vector<double> valleys;
    for (double s = 0.01; s < 0.99; s += step) {
        const double w = wave(onset + s);
        if (w > wave(onset + s - step) && w >= wave(onset + s + step)) {
            peaks.push_back(s);
        }
        if (w < wave(onset + s - step) && w <= wave(onset + s + step)) {
            valleys.push_back(s);
        }
    }
    REQUIRE(peaks.size() == 2);
    REQUIRE(valleys.size() == 1);
    CHECK_WITHIN(peaks[0], options.rise_time, 2 * step);
    // On the slope of the decay the dicrotic wave's top moves forward, by less than its width.
    CHECK(peaks[1] > options.rise_time + options.notch_time - 0.045);
    CHECK(peaks[1] < options.rise_time + options.notch_time);
    CHECK(valleys[0] > peaks[0]);
    CHECK(valleys[0] < peaks[1]);
    // Late diastole: the exponential decay, 0.3 s for a factor e, over its end.
    const double a = wave(onset + 0.80);
    const double b = wave(onset + 0.90);
    const double end = std::exp(-(0.89 - 0.02) / 0.3);
    constexpr double rounding = 0.01;  // of the rounded root in the exponent, and the notch's tail
    CHECK_WITHIN_RELATIVE(
        a / b, (std::exp(-(0.69 - 0.02) / 0.3) - end) / (std::exp(-(0.79 - 0.02) / 0.3) - end),
        rounding);
}

TEST_CASE("short beats shrink, long ones do not") {
    PulseWaveOptions slow;
    slow.variability = 0;
    slow.heart_rate = 0.5;
    PulseWaveOptions fast = slow;
    fast.heart_rate = 4;
    const PulseWave long_beats(slow, 6, RandomStream(25, 0));
    const PulseWave short_beats(fast, 6, RandomStream(25, 0));
    const double a = long_beats.onsets(6).front();
    const double b = short_beats.onsets(6).front();
    constexpr double rounding = 1e-9;
    CHECK_WITHIN(long_beats(a + slow.rise_time), 1.0, rounding);
    CHECK_WITHIN(short_beats(b + fast.rise_time * 0.25 / 0.6), 1.0, rounding);
}

TEST_CASE(
    "an ectopic beat comes early and is small, and the beat after it comes when it would have") {
    PulseWaveOptions options;
    options.heart_rate = 1;
    options.variability = 0;
    options.ectopic_probability = 1;  // after each ordinary beat one that is not
    const PulseWave wave(options, 20, RandomStream(28, 0));
    const auto onsets = wave.onsets(20);
    const auto ectopic = wave.ectopic_onsets(20);
    REQUIRE(onsets.size() == 20);
    REQUIRE(ectopic.size() == 10);
    constexpr double rounding = 1e-11;
    for (std::size_t k = 0; k < ectopic.size(); ++k) {
        CHECK_WITHIN(ectopic[k] - ectopic[0], 2.0 * static_cast<double>(k), rounding);
        CHECK_WITHIN(wave(ectopic[k] + options.rise_time), options.ectopic_height, 1e-9);
        const auto at = std::ranges::find(onsets, ectopic[k]);
        REQUIRE(at != onsets.end());
        if (at != onsets.begin()) {
            CHECK_WITHIN(*at - *(at - 1), 1 - options.ectopic_prematurity, rounding);
        }
        if (at + 1 != onsets.end()) {
            CHECK_WITHIN(*(at + 1) - *at, 1 + options.ectopic_prematurity, rounding);
            CHECK_WITHIN(wave(*(at + 1) + options.rise_time), 1.0, 1e-9);
        }
    }
    options.ectopic_probability = 0;
    CHECK(PulseWave(options, 20, RandomStream(28, 0)).ectopic_onsets(20).empty());
    options.ectopic_probability = 0.25;  // of those that follow an ordinary one: a fifth of all
    const PulseWave some(options, 2000, RandomStream(28, 0));
    // Five standard deviations of the number among 2000 beats, 16.
    CHECK_WITHIN(static_cast<double>(some.ectopic_onsets(2000).size()), 400.0, 80.0);
}

TEST_CASE("waves of one stream agree bit by bit, waves of others do not") {
    const PulseWaveOptions options;
    const PulseWave a(options, 5, RandomStream(26, 0));
    const PulseWave b(options, 5, RandomStream(26, 0));
    const PulseWave c(options, 5, RandomStream(27, 0));
    CHECK(a.onsets(5) == b.onsets(5));
    CHECK(a.onsets(5) != c.onsets(5));
    for (double t = 0; t <= 5; t += 0.1) {
        CHECK(a(t) == b(t));
    }
    // A longer recording starts the same.
    const PulseWave longer(options, 50, RandomStream(26, 0));
    CHECK(longer(3.3) == a(3.3));
    CHECK(PulseWave(options, 0, RandomStream(26, 0)).onsets(0).empty());
}

TEST_CASE("waves that can't be are refused by name") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double infinity = std::numeric_limits<double>::infinity();
    const auto refused = [](double PulseWaveOptions::*option, double value) {
        PulseWaveOptions options;
        options.*option = value;
        CAPTURE(value);
        CHECK_THROWS_AS(validate(options), InvalidInput);
    };
    for (const double value : {nan, infinity, -1.0, 0.0, 6.0}) {
        refused(&PulseWaveOptions::heart_rate, value);
        refused(&PulseWaveOptions::rise_time, value);
        refused(&PulseWaveOptions::decay_time, value);
        refused(&PulseWaveOptions::notch_time, value);
    }
    for (const double value : {nan, infinity, -0.01, 0.31}) {
        refused(&PulseWaveOptions::variability, value);
        refused(&PulseWaveOptions::notch_height, value);
    }
    // A slow decay leaves no room for a high notch.
    PulseWaveOptions options;
    options.decay_time = 1;
    options.notch_height = 0.3;
    CHECK_THROWS_WITH_AS(validate(options), doctest::Contains("notch_height = 0.3"), InvalidInput);
}

TEST_CASE("waves of no sensible duration are refused before a beat is drawn") {
    for (const double duration : {-1.0, 1e9, std::numeric_limits<double>::infinity(),
                                  std::numeric_limits<double>::quiet_NaN()}) {
        CAPTURE(duration);
        CHECK_THROWS_WITH_AS(PulseWave({}, duration, RandomStream(1, 0)),
                             doctest::Contains("must lie in [0, 1000000] [s]"), InvalidInput);
    }
    CHECK(PulseWave({}, 0, RandomStream(1, 0)).onsets(0).empty());
}
