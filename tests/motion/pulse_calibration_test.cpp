#include "echosieve/motion/pulse_delay.hpp"

#include <cmath>
#include <complex>
#include <cstdint>
#include <limits>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/synthesis/detail/gamma_pulse.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr double reflector = 22.3e-3;  // [m]

RecordingSettings settings(double centre, double bandwidth) {
    return {60e6, 500, 12e-6, {centre, bandwidth}, 1480};
}

// Frames of one echo, `late` [s] after the reflector's, of either pulse.
Recording reflection(const RecordingSettings& s, bool causal, double late, double noise,
                     std::size_t count = 20) {
    constexpr std::size_t samples = 2000;
    FrameMatrix<float> frames(count, samples);
    RandomStream random(9, 0);
    for (std::size_t i = 0; i < count; ++i) {
        for (std::size_t n = 0; n < samples; ++n) {
            const double t = s.grid(samples).time(static_cast<double>(n));
            const double u = t - s.arrival(reflector) - late;
            const double centre = s.sensor.centre_frequency;
            const double bandwidth = s.sensor.bandwidth;
            const double x = causal ? value(GammaPulse{0, centre, bandwidth}, u).real()
                                    : value(Gabor<double>{0, centre, bandwidth}, u).real();
            frames[i][n] = static_cast<float>(x + noise * random.normal());
        }
    }
    return {s, frames};
}

// [1 / bandwidth]: the gate's window, and steps of 1e-3 in the closed form's maximum.
constexpr double tolerance = 2e-3;

}  // namespace

TEST_CASE("a flat reflector's echo gives the pulse's delay, whatever its kind") {
    for (const double bandwidth : {1e6, 3e6}) {
        CAPTURE(bandwidth);
        const RecordingSettings s = settings(bandwidth == 1e6 ? 4e6 : 7.5e6, bandwidth);
        for (const double late : {0.0, 0.1e-6}) {
            const PulseCalibration zero =
                calibrate_pulse_delay(reflection(s, false, late, 0), reflector);
            REQUIRE(zero.usable());
            CHECK_WITHIN(zero.delay, late, tolerance / bandwidth);
            const PulseCalibration causal =
                calibrate_pulse_delay(reflection(s, true, late, 0), reflector);
            REQUIRE(causal.usable());
            // The gate's bins end up to 1 / 24 of a bandwidth from where the closed form's band
            // does.
            CHECK_WITHIN(causal.delay, envelope_delay({2, false}, s) + late,
                         5 * tolerance / bandwidth);
        }
    }
}

TEST_CASE("noise is averaged over the frames, and the deviation says what is left") {
    const RecordingSettings s = settings(4e6, 1e6);
    const double truth = calibrate_pulse_delay(reflection(s, true, 0, 0), reflector).delay;
    const PulseCalibration noisy =
        calibrate_pulse_delay(reflection(s, true, 0, 0.2, 50), reflector);
    REQUIRE(noisy.usable());
    CHECK(noisy.frames == 50);
    CHECK(noisy.deviation > 0);
    CHECK(noisy.deviation < 0.01e-6);
    CHECK_WITHIN(noisy.delay, truth, 4 * noisy.deviation);
    const PulseCalibration one = calibrate_pulse_delay(reflection(s, true, 0, 0, 1), reflector);
    CHECK(one.usable());
    CHECK(one.deviation == 0);
    CHECK_WITHIN(one.delay, truth, 1e-12);
}

TEST_CASE("a calibration without an echo in reach says so") {
    const RecordingSettings s = settings(4e6, 1e6);
    CHECK(calibrate_pulse_delay(reflection(s, false, 1, 0.1), reflector).status ==
          CalibrationStatus::no_echo);
    // An echo whose flank alone is in reach.
    CHECK(calibrate_pulse_delay(reflection(s, false, 3.3e-6, 0), reflector).status ==
          CalibrationStatus::out_of_reach);
    Recording none = reflection(s, false, 0, 0);
    none.samples = FrameMatrix<float>(0, 2000);
    CHECK(calibrate_pulse_delay(none, reflector).status == CalibrationStatus::no_frames);
    none.samples = FrameMatrix<std::int16_t>(3, 2000);
    CHECK(!calibrate_pulse_delay(none, reflector).usable());
    CHECK(!PulseCalibration{}.usable());
}

TEST_CASE("what can't be calibrated is refused") {
    const Recording recording = reflection(settings(4e6, 1e6), false, 0, 0, 2);
    for (const double depth : {0.0, 5.0, -1.0, std::numeric_limits<double>::quiet_NaN()}) {
        CHECK_THROWS_AS(static_cast<void>(calibrate_pulse_delay(recording, depth)), InvalidInput);
    }
    PulseCalibrationOptions options;
    options.reach = 11;
    CHECK_THROWS_AS(validate(options), InvalidInput);
    options = {};
    options.least_peak = 0;
    CHECK_THROWS_AS(validate(options), InvalidInput);
}
