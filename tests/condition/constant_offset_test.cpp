// The offset is found whatever a few frames hold, counts only where it does harm, and is taken off
// before the filters.
#include "echosieve/condition/detail/constant_offset.hpp"

#include <cmath>
#include <complex>
#include <cstdint>
#include <limits>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr RecordingSettings settings{
    .sampling_rate = 40e6, .frame_rate = 1000, .start_time = 5e-6, .sensor = {4e6, 2e6}};

// Noise of 500 counts about `offset`.
template <class T>
FrameMatrix<T> noise(double offset) {
    FrameMatrix<T> frames(40, 600);
    RandomStream random(7, 0);
    for (std::size_t i = 0; i < frames.frames(); ++i) {
        for (T& x : frames[i]) {
            x = static_cast<T>(offset + 500 * random.normal());
        }
    }
    return frames;
}

}  // namespace

TEST_CASE_TEMPLATE("a constant is found to within the noise of its mean", T, std::int16_t, float) {
    for (const double offset : {100.0, 8000.0, -30000.0}) {
        CAPTURE(offset);
        constexpr double sure = 30;  // four times 500 / sqrt(600), and rounding to whole counts
        CHECK_WITHIN(constant_offset(noise<T>(offset).view()), offset, sure);
    }
    CHECK(constant_offset(noise<T>(0).view()) == 0);
    CHECK(constant_offset(noise<T>(5).view()) == 0);  // a hundredth of the rms does no harm
    CHECK(constant_offset(noise<T>(5).view(), {.least = 0}) != 0);
    CHECK(constant_offset(FrameView<T>()) == 0);
}

TEST_CASE("frames of zeros, of something else and of no numbers don't lead it astray") {
    FrameMatrix<float> frames = noise<float>(8000);
    for (std::size_t i = 0; i < frames.frames(); i += 3) {
        for (float& x : frames[i]) {
            x = i % 2 == 0 ? 0.0F : std::numeric_limits<float>::quiet_NaN();
        }
    }
    constexpr double sure = 30;
    CHECK_WITHIN(constant_offset(frames.view()), 8000, sure);
    FrameMatrix<float> none(4, 8);
    for (std::size_t i = 0; i < 4; ++i) {
        frames[i][0] = none[i][0] = std::numeric_limits<float>::infinity();
    }
    CHECK(constant_offset(none.view()) == 0);
    CHECK_THROWS_AS(static_cast<void>(constant_offset(none.view(), {.least = -1})), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(constant_offset(none.view(), {.max_frames = 0})),
                    InvalidInput);
}

TEST_CASE_TEMPLATE("with its offset taken off a line is conditioned as without", R, float, double) {
    const FrameMatrix<float> plain = noise<float>(0);
    FrameMatrix<float> raised = plain;
    for (std::size_t i = 0; i < raised.frames(); ++i) {
        for (float& x : raised[i]) {
            x += 8192;
        }
    }
    const Baseband<R> expected = to_baseband<R>(plain.view(), settings);
    const auto distance = [&](double offset) {
        const Baseband<R> now = to_baseband<R>(raised.view(), settings, {.offset = offset});
        return (now.samples - expected.samples).abs().maxCoeff();
    };
    constexpr double rounding =
        0.02;  // of samples of 8192 in float, in filters of 81 taps [counts]
    CHECK(distance(8192) <= rounding);
    CHECK(distance(0) > 1000);  // the steps at the ends of the line
    const FrameMatrix<R> filtered = band_passed<R>(raised.view(), settings, {.offset = 8192});
    const FrameMatrix<R> as_plain = band_passed<R>(plain.view(), settings);
    double furthest = 0;
    for (std::size_t k = 0; k < filtered.values().size(); ++k) {
        furthest = std::max(
            furthest, static_cast<double>(std::abs(filtered.values()[k] - as_plain.values()[k])));
    }
    CHECK(furthest <= rounding);
    const double nan = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(static_cast<void>(to_baseband<R>(plain.view(), settings, {.offset = nan})),
                    InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(band_passed<R>(plain.view(), settings, {.offset = nan})),
                    InvalidInput);
}
