#include "echosieve/core/recording.hpp"

#include <cstdint>
#include <limits>
#include <numeric>
#include <string>
#include <utility>
#include <vector>

#include "support/check.hpp"

using namespace echosieve;

namespace {

RecordingSettings good_settings() {
    RecordingSettings settings;
    settings.sampling_rate = 125e6;
    settings.frame_rate = 1000;
    settings.start_time = 9.1e-6;
    settings.sensor = {4e6, 1e6};
    return settings;
}

// The text of the refusal after `change`, empty if it was taken.
template <class Change>
std::string refusal(Change change) {
    RecordingSettings settings = good_settings();
    change(settings);
    try {
        validate(settings);
    } catch (const InvalidInput& error) {
        return error.what();
    }
    return "";
}

}  // namespace

TEST_CASE("depth and arrival undo each other, there and back") {
    const RecordingSettings settings = good_settings();
    CHECK(settings.sound_speed == 1540);
    CHECK_WITHIN_RELATIVE(settings.depth(20e-6), 0.0154, 4 * test::epsilon<double>);
    for (const double depth : {0.0, 1e-6, 0.0123, 1.0}) {
        CHECK_WITHIN_RELATIVE(settings.depth(settings.arrival(depth)), depth,
                              4 * test::epsilon<double>);
    }
    const SamplingGrid grid = settings.grid(2435);
    CHECK(grid == SamplingGrid{9.1e-6, 125e6, 2435, 0});
}

TEST_CASE("the sensor's size is optional, and what no sensor can have is refused") {
    for (const double size : {0.0, 0.1e-3, 12e-3, 0.1}) {
        CHECK(refusal([=](auto& s) { s.sensor.width = size; }).empty());
        CHECK(refusal([=](auto& s) { s.sensor.length = size; }).empty());
    }
    CHECK(refusal([](auto& s) { s.sensor.width = 12; }) ==
          "sensor_width = 12: must lie in [0.0001, 0.1] [m]; 12 looks like mm");
    CHECK(refusal([](auto& s) { s.sensor.length = -1e-3; }) ==
          "sensor_length = -0.001: must lie in [0.0001, 0.1] [m]");
    CHECK(!refusal([](auto& s) {
               s.sensor.length = std::numeric_limits<double>::quiet_NaN();
           }).empty());
    RecordingSettings settings = good_settings();
    settings.sensor.width = 0.09;
    CHECK(settings_warnings(settings).size() == 1);
}

TEST_CASE("settings outside their domain are refused by name, value and relation") {
    CHECK(refusal([](auto&) {}).empty());
    CHECK(refusal([](auto& s) { s.start_time = 0; }).empty());
    CHECK(refusal([](auto& s) { s.sensor.pulse_delay = 0; }).empty());
    CHECK(refusal([](auto& s) { s.sensor.pulse_delay = -10e-6; }).empty());
    CHECK(refusal([](auto& s) { s.sensor.pulse_delay = 11e-6; }) ==
          "pulse_delay = 1.1e-05: must lie within 10 / bandwidth = 1e-05 of 0 [s]");
    CHECK(!refusal([](auto& s) {
               s.sensor.pulse_delay = std::numeric_limits<double>::quiet_NaN();
           }).empty());
    CHECK(refusal([](auto& s) { s.sampling_rate = 0; }) ==
          "sampling_rate = 0: must be positive and finite [Hz]");
    CHECK(refusal([](auto& s) { s.frame_rate = -1; }) ==
          "frame_rate = -1: must be positive and finite [Hz]");
    CHECK(refusal([](auto& s) { s.start_time = -1e-6; }) ==
          "start_time = -1e-06: must be zero or more and finite [s]");
    CHECK(refusal([](auto& s) { s.sound_speed = 0; }) ==
          "sound_speed = 0: must be positive and finite [m/s]");
    CHECK(refusal([](auto& s) { s.sensor.centre_frequency = 0; }) ==
          "centre_frequency = 0: must be positive and finite [Hz]");
    CHECK(refusal([](auto& s) { s.sensor.bandwidth = 8e6; }) ==
          "bandwidth = 8000000: must be positive and below twice the centre frequency [Hz]");
    // The upper edge of the band, 4.5 MHz, must lie below half the rate.
    CHECK(refusal([](auto& s) { s.sampling_rate = 9e6; }) ==
          "sampling_rate = 9000000: must exceed twice the upper -6 dB edge of the sensor's band "
          "[Hz]");
    CHECK(refusal([](auto& s) { s.sampling_rate = 9.01e6; }).empty());
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double infinity = std::numeric_limits<double>::infinity();
    for (const double bad : {nan, infinity, -infinity}) {
        CHECK_FALSE(refusal([&](auto& s) { s.sampling_rate = bad; }).empty());
        CHECK_FALSE(refusal([&](auto& s) { s.frame_rate = bad; }).empty());
        CHECK_FALSE(refusal([&](auto& s) { s.start_time = bad; }).empty());
        CHECK_FALSE(refusal([&](auto& s) { s.sound_speed = bad; }).empty());
        CHECK_FALSE(refusal([&](auto& s) { s.sensor.centre_frequency = bad; }).empty());
        CHECK_FALSE(refusal([&](auto& s) { s.sensor.bandwidth = bad; }).empty());
    }
}

TEST_CASE("settings that can't be are refused with the likely slip of unit") {
    const auto first = [](auto change) { return refusal(change); };
    CHECK(first([](auto& s) { s.sound_speed = 1.54; }) ==
          "sound_speed = 1.54: must lie in [300, 7000] [m/s]; 1.54 looks like km/s");
    CHECK(first([](auto& s) { s.sound_speed = 154000; }).ends_with("looks like cm/s"));
    CHECK(first([](auto& s) { s.sampling_rate = 60; }) ==
          "sampling_rate = 60: must lie in [40000, 1e+10] [Hz]; 60 looks like MHz");
    CHECK(first([](auto& s) { s.sampling_rate = 40e3; }) ==
          "sampling_rate = 40000: must exceed twice the upper -6 dB edge of the sensor's band "
          "[Hz]; 40000 looks like kHz");
    CHECK(first([](auto& s) { s.sampling_rate = 1e12; }) ==
          "sampling_rate = 1e+12: must lie in [40000, 1e+10] [Hz]");
    CHECK(first([](auto& s) { s.sensor.bandwidth = 4; }) ==
          "bandwidth = 4: must lie in [8000, 7600000] [Hz]; 4 looks like MHz");
    CHECK(first([](auto& s) { s.sensor.bandwidth = 7.9e6; }).starts_with("bandwidth = 7900000"));
    CHECK(first([](auto& s) { s.sensor.centre_frequency = 4; }).ends_with("4 looks like MHz"));
    CHECK(first([](auto& s) { s.sensor.centre_frequency = 4e3; }).ends_with("looks like kHz"));
    CHECK(first([](auto& s) { s.frame_rate = 1e9; }) ==
          "frame_rate = 1e+09: must lie in [0.01, 1000000] [Hz]");
    CHECK(first([](auto& s) { s.frame_rate = 0.001; }).starts_with("frame_rate = 0.001: must lie"));
    CHECK(first([](auto& s) { s.start_time = 3.9; }) ==
          "start_time = 3.9: must lie in [0, 0.1] [s]; 3.9 looks like us");
    CHECK(first([](auto& s) { s.start_time = 1e12; }) ==
          "start_time = 1e+12: must lie in [0, 0.1] [s]");
    CHECK(first([](auto& s) { s.sensor.pulse_delay = 0.3; }).ends_with("0.3 looks like us"));
    // 2e9 Hz are within the range, but make filters of 80,000 taps a MHz.
    CHECK(first([](auto& s) {
              s.sampling_rate = 2e9;
              s.sensor.bandwidth = 0.1e6;
          }) ==
          "sampling_rate = 2e+09: must not exceed 10000 times the sensor's bandwidth, "
          "1e+09 [Hz]");
}

TEST_CASE("from bench acoustics to 100 MHz settings are taken") {
    for (const double centre : {20e3, 40e3, 1e6, 4e6, 30e6, 100e6}) {
        CAPTURE(centre);
        CHECK(refusal([&](auto& s) {
                  s.sensor = {centre, 0.5 * centre};
                  s.sampling_rate = 10 * centre;
                  s.sound_speed = 1480;
                  s.start_time = 0.05;
              }).empty());
    }
}

TEST_CASE("frames and samples whose product can't be counted are refused") {
    const std::size_t many = std::size_t{1} << 33;
    CHECK_THROWS_WITH_AS(FrameMatrix<std::int16_t>(many, many),
                         doctest::Contains("number of frames = 8589934592"), InvalidInput);
    CHECK_THROWS_AS(FrameView<float>({}, many, many), InvalidInput);  // the product is 0, wrapped
}

TEST_CASE("frames lie one after the other, each with its samples side by side") {
    std::vector<std::int16_t> data(12);
    std::iota(data.begin(), data.end(), std::int16_t{0});
    const FrameView<std::int16_t> view(data, 3, 4);
    CHECK(view.frames() == 3);
    CHECK(view.samples() == 4);
    CHECK(view[2][1] == 9);
    CHECK(view[0].data() == data.data());
    const auto part = view.part(1, 2);
    CHECK(part.frames() == 2);
    CHECK(part[0][0] == 4);
    CHECK_THROWS_WITH_AS(FrameView<std::int16_t>(data, 3, 5),
                         "number of values = 12: must be frames * samples = 3 * 5", InvalidInput);
}

TEST_CASE("a frame matrix owns its frames and checks their number") {
    FrameMatrix<float> frames(2, 3);
    CHECK(frames.values().size() == 6);
    for (const float x : frames.values()) {
        CHECK(x == 0);
    }
    frames[1][2] = 7;
    CHECK(frames.values()[5] == 7);
    CHECK(frames.view()[1][2] == 7);
    CHECK(std::as_const(frames)[1][2] == 7);
    CHECK_THROWS_WITH_AS(FrameMatrix<float>(std::vector<float>(5), 2, 3),
                         "number of values = 5: must be frames * samples = 2 * 3", InvalidInput);
    CHECK(FrameMatrix<float>().frames() == 0);
    CHECK(FrameView<float>().samples() == 0);
    CHECK(FrameMatrix<float>(0, 3).view().samples() == 3);
}

TEST_CASE("a recording counts frames and samples whatever their type") {
    Recording recording{good_settings(), FrameMatrix<std::int16_t>(4, 5)};
    CHECK(recording.frame_count() == 4);
    CHECK(recording.sample_count() == 5);
    recording.samples = FrameMatrix<float>(6, 7);
    CHECK(recording.frame_count() == 6);
    CHECK(recording.sample_count() == 7);
}
