#include "echosieve/core/recorded_lines.hpp"

#include <cstdint>
#include <limits>
#include <string>
#include <vector>

#include "support/check.hpp"

using namespace echosieve;

namespace {

Recording line() {
    Recording recording;
    recording.settings.sampling_rate = 125e6;
    recording.settings.frame_rate = 1000;
    recording.settings.start_time = 9.1e-6;
    recording.settings.sensor = {4e6, 1e6};
    recording.samples = FrameMatrix<std::int16_t>(3, 20);
    return recording;
}

RecordedLines three() {
    return {{line(), line(), line()}, {0, 1e-3, 2e-3}};
}

// The text of the refusal after `change`, empty if it was taken.
template <class Change>
std::string refusal(Change change) {
    RecordedLines lines = three();
    change(lines);
    try {
        validate(lines);
    } catch (const InvalidInput& error) {
        return error.what();
    }
    return "";
}

}  // namespace

TEST_CASE("lines may differ in what a line has of its own") {
    CHECK(refusal([](auto&) {}).empty());
    CHECK(refusal([](auto& l) { l.positions.clear(); }).empty());
    CHECK(refusal([](auto& l) { l.positions = {1, -1, 0}; }).empty());
    CHECK(refusal([](auto& l) { l.lines[1].settings.start_time = 0; }).empty());
    CHECK(refusal([](auto& l) { l.lines[2].samples = FrameMatrix<float>(3, 20); }).empty());
    CHECK(refusal([](auto& l) { l = {{line()}, {}}; }).empty());
    CHECK(refusal([](auto& l) { l = {std::vector<Recording>(most_lines, line()), {}}; }).empty());
    CHECK(three().line_count() == 3);
}

TEST_CASE("lines without a common clock are refused by name, value and limit") {
    CHECK(refusal([](auto& l) { l = {}; }) == "number of lines = 0: must lie in [1, 256]");
    CHECK(refusal([](auto& l) {
              l = {std::vector<Recording>(most_lines + 1, line()), {}};
          }) == "number of lines = 257: must lie in [1, 256]");
    CHECK(refusal([](auto& l) { l.positions.pop_back(); }) ==
          "number of positions = 2: must be 0 or the number of lines, 3");
    CHECK(refusal([](auto& l) { l.positions[1] = 1.5; }) ==
          "position = 1.5: of a line must lie within 1 of 0 [m]");
    CHECK(!refusal([](auto& l) {
               l.positions[0] = std::numeric_limits<double>::quiet_NaN();
           }).empty());
    CHECK(refusal([](auto& l) { l.lines[1].samples = FrameMatrix<float>(4, 20); }) ==
          "number of frames = 4: line 2 of lines over one vessel must have the first one's, 3");
    CHECK(refusal([](auto& l) { l.lines[1].samples = FrameMatrix<float>(3, 21); }) ==
          "number of samples = 21: line 2 of lines over one vessel must have the first one's, 20");
    CHECK(refusal([](auto& l) { l.lines[2].settings.frame_rate = 900; }) ==
          "frame_rate = 900: line 3 of lines over one vessel must have the first one's, 1000");
    CHECK(refusal([](auto& l) { l.lines[2].settings.sensor.pulse_delay = 1e-7; }) ==
          "pulse_delay = 1e-07: line 3 of lines over one vessel must have the first one's, nan");
    CHECK(!refusal([](auto& l) { l.lines[1].settings.sampling_rate = 100e6; }).empty());
    CHECK(!refusal([](auto& l) { l.lines[1].settings.sound_speed = 1500; }).empty());
    CHECK(!refusal([](auto& l) { l.lines[1].settings.sensor.centre_frequency = 5e6; }).empty());
    CHECK(!refusal([](auto& l) { l.lines[1].settings.sensor.bandwidth = 2e6; }).empty());
    CHECK(!refusal([](auto& l) { l.lines[1].settings.sensor.width = 1e-2; }).empty());
    CHECK(!refusal([](auto& l) { l.lines[1].settings.sensor.length = 1e-2; }).empty());
}

TEST_CASE("settings of any line that can't be are refused") {
    CHECK(refusal([](auto& l) { l.lines[0].settings.frame_rate = 0; }) ==
          "frame_rate = 0: must be positive and finite [Hz]");
}
