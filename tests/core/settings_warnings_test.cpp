#include "echosieve/core/recording.hpp"

#include <string>
#include <vector>

#include "support/check.hpp"

using namespace echosieve;

namespace {

RecordingSettings usual_settings() {
    return {.sampling_rate = 125e6, .frame_rate = 1000, .start_time = 9.1e-6, .sensor = {4e6, 1e6}};
}

template <class Change>
std::vector<std::string> warnings_after(Change change, std::size_t samples = 2435) {
    RecordingSettings settings = usual_settings();
    change(settings);
    return settings_warnings(settings, samples);
}

// The only warning.
template <class Change>
std::string warning_after(Change change) {
    const std::vector<std::string> all = warnings_after(change);
    return all.size() == 1 ? all[0] : std::to_string(all.size()) + " warnings";
}

}  // namespace

TEST_CASE("usual settings get no warning") {
    CHECK(warnings_after([](auto&) {}).empty());
    CHECK(warnings_after([](auto& s) { s.start_time = 0; }).empty());
    CHECK(warnings_after([](auto& s) { s.sound_speed = 1480; }).empty());
    CHECK(warnings_after([](auto& s) {
              s.sensor = {15e6, 9e6};
              s.frame_rate = 5000;
          }).empty());
}

TEST_CASE("what is only unusual is said and not refused") {
    CHECK(warning_after([](auto& s) { s.frame_rate = 1; }) ==
          "frame_rate = 1: unusual, 50 to 20000 [Hz] is usual; 1 looks like kHz");
    CHECK(warning_after([](auto& s) { s.sound_speed = 1300; }) ==
          "sound_speed = 1300: unusual, 1400 to 1650 [m/s] is usual");
    const std::vector<std::string> late = warnings_after([](auto& s) { s.start_time = 3.9e-3; });
    REQUIRE(late.size() == 2);
    CHECK(late[0] ==
          "start_time = 0.0039: unusual, 1e-07 to 0.0001 [s] is usual; "
          "0.0039 looks like ms");
    CHECK(late[1].starts_with("frame_rate = 1000: frames of 2435 samples end 0.0039"));
    CHECK(warning_after([](auto& s) {
              s.sensor.bandwidth = 0.1e6;
          }).starts_with("bandwidth = 100000: unusual, 200000 to 5600000 [Hz] is usual"));
    // A sensor of 30 MHz in kHz is one of 30 kHz.
    const std::vector<std::string> all = warnings_after([](auto& s) {
        s.sensor = {30e3, 15e3};
        s.sampling_rate = 250e3;
    });
    REQUIRE(all.size() >= 2);
    CHECK(all[0].ends_with("30000 looks like kHz"));
    CHECK(all[1].starts_with("sampling_rate = 250000: unusual"));
}

TEST_CASE("frames that overlap are named") {
    const auto fast = [](auto& s) { s.frame_rate = 36e3; };
    const std::vector<std::string> all = warnings_after(fast);
    REQUIRE(all.size() == 2);
    CHECK(all[0].starts_with("frame_rate = 36000: unusual"));
    CHECK(all[1].find("at most 34989.5") != std::string::npos);  // 9.1 + 19.48 us
    CHECK(warnings_after(fast, 0).size() == 1);
}

TEST_CASE("settings that can't be are refused, not warned of") {
    RecordingSettings settings = usual_settings();
    settings.sound_speed = 1.54;
    CHECK_THROWS_AS(static_cast<void>(settings_warnings(settings)), InvalidInput);
}
