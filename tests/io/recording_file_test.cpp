#include "echosieve/io/recording_file.hpp"

#include <cmath>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <string>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/io/files.hpp"
#include "echosieve/io/npy.hpp"
#include "folder.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;
namespace fs = std::filesystem;

namespace {

std::string npy(const std::string& header, std::size_t bytes) {
    std::string text = "\x93NUMPY";
    text += '\x01';
    text += '\x00';
    text += static_cast<char>(header.size() & 0xFF);
    text += static_cast<char>(header.size() >> 8);
    return text + header + std::string(bytes, '\0');
}

std::string dictionary(const char* descr, const char* order, const char* shape) {
    return std::string("{'descr': ") + descr + ", 'fortran_order': " + order +
           ", 'shape': " + shape + ", }\n";
}

constexpr const char* good_settings =
    R"({"sampling_rate": 125e6, "frame_rate": 1000, "start_time": 9e-6,
        "centre_frequency": 4e6, "bandwidth": 1e6, "sound_speed": 1540})";

}  // namespace

TEST_CASE("recordings come back as they were written") {
    const Folder folder("round_trip");
    Recording recording;
    recording.settings = {125e6, 1000, 9.090909090909091e-6, {4e6, 1e6}, 1540};
    recording.samples = FrameMatrix<std::int16_t>({1, -2, 32767, -32768, 0, 5}, 2, 3);
    write_recording(recording, folder.path / "a.npy");
    const Recording back = read_recording(folder.path / "a.npy");
    CHECK(back.settings.start_time == recording.settings.start_time);
    CHECK(back.settings.sensor.bandwidth == 1e6);
    const auto& samples = std::get<FrameMatrix<std::int16_t>>(back.samples);
    CHECK(samples.frames() == 2);
    CHECK(samples[0][2] == 32767);
    CHECK(samples[1][0] == -32768);
    recording.samples = FrameMatrix<float>({0.5F, -1e-30F}, 1, 2);
    write_recording(recording, folder.path / "b.npy");
    CHECK(std::get<FrameMatrix<float>>(read_recording(folder.path / "b.npy").samples)[0][1] ==
          -1e-30F);
    CHECK(names_in(folder.path) == std::vector<std::string>{"a.json", "a.npy", "b.json", "b.npy"});
}

TEST_CASE("the sensor's size comes back where it is known, and leaves no field where it is not") {
    const Folder folder("sensor_size");
    Recording recording;
    recording.settings = {125e6, 1000, 9e-6, {4e6, 1e6}, 1540};
    recording.samples = FrameMatrix<std::int16_t>({1, 2}, 1, 2);
    write_recording(recording, folder.path / "a.npy");
    CHECK(!contains(bytes_of(folder.path / "a.json"), "sensor"));
    CHECK(read_settings(folder.path / "a.json").sensor.width == 0);
    recording.settings.sensor.width = 12.3e-3;
    recording.settings.sensor.length = 6.1e-3;
    write_recording(recording, folder.path / "b.npy");
    const Sensor sensor = read_settings(folder.path / "b.json").sensor;
    CHECK(sensor.width == 12.3e-3);
    CHECK(sensor.length == 6.1e-3);
    CHECK(unknown_settings(folder.path / "b.json").empty());
}

TEST_CASE("bad sample files are refused with file, field and value") {
    const Folder folder("samples");
    const fs::path file = folder.path / "x.npy";
    const auto refused = [&](const std::string& content, const std::string& part) {
        write_bytes(file, content);
        const std::string message = message_of([&] { static_cast<void>(read_npy(file)); });
        CAPTURE(message);
        CHECK(contains(message, "x.npy"));
        CHECK(contains(message, part));
    };
    CHECK(contains(message_of([&] { static_cast<void>(read_npy(folder.path / "none.npy")); }),
                   "no such file"));
    CHECK(contains(message_of([&] { static_cast<void>(read_npy(folder.path)); }),
                   "not a regular file"));
    refused("", "is empty");
    refused("hello, world", "not a .npy file");
    refused("\x93NUMPY", "not a .npy file");
    refused(npy(dictionary("'<f8'", "False", "(2, 3)"), 48), "dtype = '<f8'");
    refused(npy(dictionary("'>i2'", "False", "(2, 3)"), 12), "dtype = '>i2'");
    refused(npy(dictionary("'|u1'", "False", "(2, 3)"), 6), "dtype = '|u1'");
    refused(npy(dictionary("[('a', '<i2')]", "False", "(2, 3)"), 12), "structured");
    refused(npy(dictionary("'<i2'", "True", "(2, 3)"), 12), "fortran_order = True");
    refused(npy(dictionary("'<i2'", "False", "(6,)"), 12), "shape = (6,)");
    refused(npy(dictionary("'<i2'", "False", "(1, 2, 3)"), 12), "shape = (1, 2, 3)");
    refused(npy(dictionary("'<i2'", "False", "(0, 3)"), 0), "shape = (0, 3)");
    refused(npy(dictionary("'<i2'", "False", "(2, 3)"), 11), "truncated");
    refused(npy(dictionary("'<i2'", "False", "(2, 3)"), 13), "too long");
    refused(npy(dictionary("'<i2'", "False", "(-2, 3)"), 12), "no length");
    refused(npy(dictionary("'<i2'", "False", "(9223372036854775807, 9)"), 12),
            "larger than any memory");
    refused(npy(dictionary("'<i2'", "False", "(99999999999999999999999, 9)"), 12), "no length");
    refused(npy("{'descr': '<i2', 'shape': (2, 3), }\n", 12), "fortran_order");
}

TEST_CASE("bad settings are refused with file, field and value") {
    const Folder folder("settings");
    const fs::path file = folder.path / "x.json";
    const auto refused = [&](std::string content, const std::string& part) {
        write_bytes(file, content);
        const std::string message = message_of([&] { static_cast<void>(read_settings(file)); });
        CAPTURE(message);
        CHECK(contains(message, "x.json"));
        CHECK(contains(message, part));
    };
    const auto changed = [](const std::string& from, const std::string& to) {
        std::string text = good_settings;
        return text.replace(text.find(from), from.size(), to);
    };
    write_bytes(file, good_settings);
    CHECK(read_settings(file).frame_rate == 1000);
    CHECK(contains(message_of([&] { static_cast<void>(read_settings(folder.path / "none.json")); }),
                   "no such file"));
    refused("", "not valid JSON");
    refused("[1, 2]", "JSON object");
    for (const char* field : {"sampling_rate", "frame_rate", "start_time", "centre_frequency",
                              "bandwidth", "sound_speed"}) {
        refused(changed(std::string("\"") + field + "\"", "\"other\""),
                std::string("'") + field + "' is missing");
    }
    refused(changed("125e6", "-125e6"), "sampling_rate = -125000000");
    refused(changed("1000", "-1000"), "frame_rate = -1000");
    refused(changed("1000", "0"), "frame_rate = 0");
    refused(changed("1000", "\"fast\""), "must be a number");
    refused(changed("1000", "null"), "must be a number");
    refused(changed("125e6", "5e6"), "sampling_rate = 5000000");
    refused(changed("1540", "-1"), "sound_speed = -1");
    refused(changed("9e-6", "-9e-6"), "start_time = -9e-06");
    refused(changed("4e6", "0"), "centre_frequency = 0");
    refused(changed("1e6", "8e6"), "bandwidth = 8000000");
    refused(changed("1540", "1540, \"pulse_delay\": \"late\""), "'pulse_delay' = \"late\"");
    refused(changed("1540", "1540, \"pulse_delay\": null"), "'pulse_delay' = null");
    refused(changed("1540", "1540, \"pulse_delay\": 0.5"), "pulse_delay = 0.5: must lie within");
    refused(changed("1000", "true"), "'frame_rate' = true: must be a number");
    refused(changed("1000", "[1000]"), "'frame_rate' = [1000]: must be a number");
    refused(changed("1000", "1e999"), "not valid JSON");
    // What Python's json module writes for a NaN.
    refused(changed("1000", "NaN"), "not valid JSON");
    refused(std::string(good_settings).substr(0, 60), "not valid JSON");
    refused(good_settings + std::string("}"), "not valid JSON");
    refused(std::string(100000, '['), "nested deeper");
    CHECK(contains(message_of([&] { static_cast<void>(read_settings(folder.path)); }),
                   "not a regular file"));
    // Fields of other programs do no harm; whole numbers are numbers.
    write_bytes(file, changed("125e6", "125000000, \"operator\": \"x\""));
    CHECK(read_settings(file).sampling_rate == 125e6);
}

TEST_CASE("settings come back bit by bit") {
    const Folder folder("exact");
    Recording recording;
    recording.settings = {125e6 / 3, 1000.0 / 7, 1e-5 / 3, {4e6 / 0.99, 1e6 / 3}, 1540.1 / 1.1};
    recording.samples = FrameMatrix<std::int16_t>(1, 1);
    write_recording(recording, folder.path / "x.npy");
    const RecordingSettings back = read_settings(folder.path / "x.json");
    CHECK(back.sampling_rate == recording.settings.sampling_rate);
    CHECK(back.frame_rate == recording.settings.frame_rate);
    CHECK(back.start_time == recording.settings.start_time);
    CHECK(back.sensor.centre_frequency == recording.settings.sensor.centre_frequency);
    CHECK(back.sensor.bandwidth == recording.settings.sensor.bandwidth);
    CHECK(back.sound_speed == recording.settings.sound_speed);
    CHECK(!back.sensor.pulse_delay);
    for (const double delay : {0.487e-6 / 3, 0.0, -1e-9}) {
        recording.settings.sensor.pulse_delay = delay;
        write_recording(recording, folder.path / "x.npy");
        CHECK(read_settings(folder.path / "x.json").sensor.pulse_delay == delay);
    }
    CHECK(settings_path("a.b/left.common.npy") == fs::path("a.b/left.common.json"));
}

TEST_CASE("settings may stand elsewhere") {
    const Folder folder("elsewhere");
    const std::vector<float> values(6, 1.0F);
    write_npy(folder.path / "x.npy", values, 2, 3);
    write_bytes(folder.path / "other.json", good_settings);
    CHECK(read_recording(folder.path / "x.npy", folder.path / "other.json").frame_count() == 2);
    CHECK(contains(message_of([&] { static_cast<void>(read_recording(folder.path / "x.npy")); }),
                   "x.json: there is no such file"));
}

TEST_CASE("a recording that could not be read back is not written") {
    const Folder folder("unreadable");
    Recording good;
    good.settings = {125e6, 1000, 9e-6, {4e6, 1e6}, 1540};
    good.samples = FrameMatrix<float>({0.5F, 1.0F}, 1, 2);
    Recording bad = good;
    bad.settings.frame_rate = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(write_recording(bad, folder.path / "x.npy"), InvalidInput);
    bad = good;
    bad.samples = FrameMatrix<float>(0, 4);
    CHECK_THROWS_AS(write_recording(bad, folder.path / "x.npy"), InvalidInput);
    bad = good;
    bad.samples = FrameMatrix<std::int16_t>(3, 0);
    CHECK_THROWS_AS(write_recording(bad, folder.path / "x.npy"), InvalidInput);
    bad = good;
    bad.samples = FrameMatrix<float>({0.5F, std::nanf("")}, 1, 2);
    CHECK(contains(message_of([&] { write_recording(bad, folder.path / "x.npy"); }),
                   "sample 1 of frame 0"));
    CHECK(contains(message_of([&] { write_recording(good, folder.path / "x.json"); }),
                   "name of their settings"));
    CHECK(fs::is_empty(folder.path));
}

TEST_CASE("a recording replaces another one whole or not at all") {
    const Folder folder("pair");
    Recording recording;
    recording.settings = {125e6, 1000, 9e-6, {4e6, 1e6}, 1540};
    recording.samples = FrameMatrix<std::int16_t>(1000, 10);
    write_recording(recording, folder.path / "x.npy");
    const std::string samples = bytes_of(folder.path / "x.npy");
    recording.settings.frame_rate = 500;
    recording.samples = FrameMatrix<std::int16_t>(2000, 10);
    const std::string full = message_of([&] {
        const FullDisk disk(30000);
        write_recording(recording, folder.path / "x.npy");
    });
    CHECK(contains(full, "x.npy: writing failed"));
    CHECK(bytes_of(folder.path / "x.npy") == samples);
    CHECK(read_settings(folder.path / "x.json").frame_rate == 1000);
    CHECK(names_in(folder.path) == std::vector<std::string>{"x.json", "x.npy"});
    // The settings can't be replaced: the samples stay, too.
    fs::remove(folder.path / "x.json");
    fs::create_directory(folder.path / "x.json");
    CHECK(contains(message_of([&] { write_recording(recording, folder.path / "x.npy"); }),
                   "x.json: can't be replaced"));
    CHECK(bytes_of(folder.path / "x.npy") == samples);
    CHECK(contains(message_of([&] { write_recording(recording, folder.path / "no" / "x.npy"); }),
                   "its folder does not exist"));
    CHECK(!fs::exists(folder.path / "no"));
}

TEST_CASE("settings are read within limits, and what is not understood is told") {
    const Folder folder("json");
    const fs::path file = folder.path / "x.json";
    const auto says = [&](const std::string& content) {
        write_bytes(file, content);
        return message_of([&] { static_cast<void>(read_settings(file)); });
    };
    const std::string good = good_settings;
    const std::string start = good.substr(0, good.size() - 1);
    const std::string deep(200000, '[');
    const std::string closed(200000, ']');
    CHECK(contains(says(start + ", \"note\": " + deep + closed + "}"), "nested deeper than 16"));
    CHECK(contains(says(start + ", \"note\": " + deep), "nested deeper than 16"));
    const auto levels = [&](std::size_t count) {
        return says(start + ", \"note\": " + deep.substr(0, count) + closed.substr(0, count) + "}");
    };
    CHECK(contains(levels(16), "nested deeper than 16"));
    CHECK(levels(15) == "no FileError was thrown");
    CHECK(contains(says(start + ", \"bandwidth\": 2e6}"), "field \"bandwidth\" is there twice"));
    CHECK(contains(says(start + ", \"a\": {\"b\": 1, \"b\": 1}}"), "field \"b\" is there twice"));
    CHECK(contains(says(good + std::string(2000000, ' ')), "is longer than 1048576 bytes"));
    const std::string long_value = says(start.substr(0, start.rfind(',')) +
                                        ", \"sound_speed\": \"" + std::string(5000, 'x') + "\"}");
    CHECK(contains(long_value, "must be a number"));
    CHECK(long_value.size() < 300);
    CHECK(!contains(says("{\"a\": }"), "json.exception"));
    CHECK(!contains(says("{\"a\": \"\xFF\"}"), "\xFF"));
    // The same name on two levels is no repetition.
    CHECK(says(start + ", \"own\": {\"bandwidth\": 1}, \"operater\": 1}") ==
          "no FileError was thrown");
    CHECK(unknown_settings(file) == std::vector<std::string>{"operater", "own"});
    write_bytes(file, good_settings);
    CHECK(unknown_settings(file).empty());
}

TEST_CASE("samples that are not finite are refused with frame and sample") {
    const Folder folder("finite");
    write_bytes(folder.path / "x.json", good_settings);
    for (const float bad : {std::nanf(""), INFINITY}) {
        const std::vector<float> values = {0, 1, 2, 3, bad, 5};
        write_npy(folder.path / "x.npy", values, 2, 3);
        const std::string message =
            message_of([&] { static_cast<void>(read_recording(folder.path / "x.npy")); });
        CAPTURE(message);
        CHECK(contains(message, "sample 1 of frame 1"));
    }
}

TEST_CASE("a file that can't be written leaves nothing behind") {
    const Folder folder("write");
    const std::vector<float> values(6);
    const fs::path nowhere = folder.path / "missing" / "x.npy";
    CHECK_THROWS_AS(write_npy(nowhere, values, 2, 3), FileError);
    CHECK_THROWS_AS(write_npy(folder.path / "x.npy", values, 2, 4), InvalidInput);
    CHECK(fs::is_empty(folder.path));
}
