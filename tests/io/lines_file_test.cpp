// Files of several lines: one of three axes, or one a line.
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/recorded_lines.hpp"
#include "echosieve/io/files.hpp"
#include "echosieve/io/recording_file.hpp"
#include "folder.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;
namespace fs = std::filesystem;

namespace {

const RecordingSettings good{125e6, 1000, 9e-6, {4e6, 1e6}, 1540};

// Two frames of three samples, each value its own.
template <class T>
Recording line(int number) {
    std::vector<T> values;
    for (int k = 0; k < 6; ++k) {
        values.push_back(static_cast<T>(100 * number + k));
    }
    return {good, FrameMatrix<T>(values, 2, 3)};
}

template <class T>
RecordedLines three() {
    return {{line<T>(1), line<T>(2), line<T>(3)}, {0, 0.5e-3, 1e-3}, {-1e-3, 0, 1e-3}};
}

template <class T>
std::vector<T> values(const Recording& recording) {
    const auto all = std::get<FrameMatrix<T>>(recording.samples).values();
    return {all.begin(), all.end()};
}

std::string npy(const std::string& descr, const std::string& shape, std::size_t bytes) {
    const std::string header =
        "{'descr': '" + descr + "', 'fortran_order': False, 'shape': " + shape + ", }\n";
    return std::string("\x93NUMPY\x01\x00", 8) + static_cast<char>(header.size() & 0xFF) +
           static_cast<char>(header.size() >> 8) + header + std::string(bytes, '\0');
}

std::string settings(const std::string& more = "") {
    return R"({"sampling_rate": 125e6, "frame_rate": 1000, "start_time": 9e-6,
               "centre_frequency": 4e6, "bandwidth": 1e6, "sound_speed": 1540)" +
           more + "}";
}

std::string positions(const std::string& of) {
    return ", \"line_positions\": " + of;
}

std::string offsets(const std::string& of) {
    return ", \"line_offsets\": " + of;
}

}  // namespace

TEST_CASE_TEMPLATE("lines come back as they were written", T, std::int16_t, float) {
    const Folder folder("lines");
    const fs::path file = folder.path / "a.npy";
    write_lines(three<T>(), file);
    const RecordedLines back = read_lines(file);
    validate(back);
    REQUIRE(back.line_count() == 3);
    CHECK(back.positions == std::vector<double>{0, 0.5e-3, 1e-3});
    CHECK(back.offsets == std::vector<double>{-1e-3, 0, 1e-3});
    for (int k = 0; k < 3; ++k) {
        const Recording& read = back.lines[static_cast<std::size_t>(k)];
        CHECK(values<T>(read) == values<T>(line<T>(k + 1)));
        CHECK(read.frame_count() == 2);
        CHECK(read.settings.start_time == 9e-6);
    }
    CHECK(unknown_settings(folder.path / "a.json").empty());
    CHECK(names_in(folder.path) == std::vector<std::string>{"a.json", "a.npy"});
    CHECK(contains(bytes_of(file), "'shape': (3, 2, 3), }"));
}

TEST_CASE("a file of one line is a recording, and a recording is one line") {
    const Folder folder("one_line");
    const fs::path file = folder.path / "a.npy";
    write_lines({{line<float>(1)}, {2e-3}}, file);
    CHECK(values<float>(read_recording(file)) == values<float>(line<float>(1)));
    CHECK(read_lines(file).positions == std::vector<double>{2e-3});
    write_recording(line<float>(2), file);
    const RecordedLines back = read_lines(file);
    CHECK(back.line_count() == 1);
    CHECK(back.positions.empty());
    CHECK(back.offsets.empty());
    CHECK(values<float>(back.lines[0]) == values<float>(line<float>(2)));
    write_bytes(file, npy("<i2", "(1, 2, 3)", 12));  // three axes, of one line
    CHECK(read_lines(file).line_count() == 1);
}

TEST_CASE("what reads one line names read_lines for several") {
    const Folder folder("several");
    const fs::path file = folder.path / "a.npy";
    write_lines(three<float>(), file);
    for (const std::string& message :
         {message_of([&] { static_cast<void>(read_recording(file)); }),
          message_of([&] { static_cast<void>(RecordingReader(file)); })}) {
        CAPTURE(message);
        CHECK(contains(message, "a.npy: shape = (3, 2, 3): must be (frames, samples), one line"));
        CHECK(contains(message, "read_lines"));
    }
}

TEST_CASE("files of other shapes, and of the wrong number of positions, are refused") {
    const Folder folder("bad_lines");
    const fs::path file = folder.path / "x.npy";
    const auto refused = [&](const std::string& samples, const std::string& beside,
                             const std::string& part) {
        write_bytes(file, samples);
        write_bytes(folder.path / "x.json", beside);
        const std::string message = message_of([&] { static_cast<void>(read_lines(file)); });
        CAPTURE(message);
        CHECK(contains(message, "x."));
        CHECK(contains(message, part));
    };
    refused(npy("<i2", "(6,)", 12), settings(), "(lines, frames, samples)");
    refused(npy("<i2", "(1, 1, 2, 3)", 12), settings(), "shape = (1, 1, 2, 3)");
    refused(npy("<i2", "(0, 2, 3)", 0), settings(), "shape = (0, 2, 3): must have 1 to 256 lines");
    refused(npy("<i2", "(257, 1, 1)", 514), settings(), "must have 1 to 256 lines");
    refused(npy("<i2", "(2, 0, 3)", 0), settings(), "at least one frame");
    refused(npy("<i2", "(2, 3, 0)", 0), settings(), "at least one frame");
    refused(npy("<i2", "(2, 2, 3)", 23), settings(), "truncated");
    refused(npy("<i2", "(2, 2, 3)", 25), settings(), "too long");
    refused(npy("<f8", "(2, 2, 3)", 96), settings(), "dtype = '<f8'");
    refused(npy("<i2", "(2, 9223372036854775807, 1)", 12), settings(), "larger than any memory");
    refused(npy("<f4", "(256, 4611686018427387904, 1)", 0), settings(), "larger than any memory");
    const std::string two = npy("<i2", "(2, 2, 3)", 24);
    refused(two, settings(positions("[0]")),
            "'line_positions' = 1: must be as many as there are lines, 2");
    refused(two, settings(positions("[0, 1e-3, 2e-3]")), "'line_positions' = 3: must");
    refused(two, settings(positions("[]")), "must hold a number a line, or be left out");
    refused(two, settings(positions("1e-3")), "'line_positions' = 0.001: must be an array");
    refused(two, settings(positions("null")), "must be an array");
    refused(two, settings(positions("[0, \"far\"]")), "entry 1, \"far\", must be a number");
    refused(two, settings(positions("[0, 3]")), "entry 1, 3, must be a number within 1 of 0 [m]");
    refused(two, settings(positions("[0, 1e999]")), "");
    refused(two, settings(offsets("[0]")),
            "'line_offsets' = 1: must be as many as there are lines, 2");
    refused(two, settings(positions("[0, 1e-3]") + offsets("[]")),
            "'line_offsets' = []: must hold a number a line, or be left out");
    refused(two, settings(offsets("1e-3")), "'line_offsets' = 0.001: must be an array");
    refused(two, settings(offsets("[0, -1.5]")), "entry 1, -1.5, must be a number within 1 of 0");
    refused(two, "{}", "'sampling_rate' is missing");
    std::string spoilt = npy("<f4", "(2, 2, 3)", 48);
    spoilt.replace(spoilt.size() - 4, 4, std::string("\x00\x00\xC0\x7F", 4));  // not a number
    refused(spoilt, settings(), "sample 2 of frame 1 of line 2 = nan: must be finite");
}

TEST_CASE("settings are looked at before memory is spent on samples") {
    const Folder folder("order");
    const fs::path file = folder.path / "x.npy";
    // Sparse: the file is as long as its header says, and larger than any memory of a test machine.
    const std::string header = npy("<i2", "(256, 1073741824, 8)", 0);
    write_bytes(file, header);
    std::error_code error;
    fs::resize_file(file, header.size() + (std::uintmax_t{1} << 42), error);
    if (error) {
        return;  // a file system without sparse files of that size
    }
    write_bytes(folder.path / "x.json", settings(positions("[0]")));
    CHECK(contains(message_of([&] { static_cast<void>(read_lines(file)); }),
                   "'line_positions' = 1: must"));
    write_bytes(folder.path / "x.json", settings());
    CHECK(contains(message_of([&] { static_cast<void>(read_lines(file)); }), "GB of memory"));
}

TEST_CASE("files of a line each are lines of one clock") {
    const Folder folder("line_files");
    const std::vector<fs::path> files = {folder.path / "a.npy", folder.path / "b.npy"};
    Recording later = line<float>(2);
    later.settings.start_time = 8e-6;
    write_recording(line<std::int16_t>(1), files[0]);
    write_recording(later, files[1]);
    const RecordedLines lines = read_lines(files);
    validate(lines);
    REQUIRE(lines.line_count() == 2);
    CHECK(lines.positions.empty());
    CHECK(lines.lines[1].settings.start_time == 8e-6);
    CHECK(values<std::int16_t>(lines.lines[0]) == values<std::int16_t>(line<std::int16_t>(1)));
    CHECK(values<float>(lines.lines[1]) == values<float>(later));
    write_lines({{line<float>(1)}, {1e-3}}, files[0]);
    write_lines({{line<float>(2)}, {3e-3}}, files[1]);
    CHECK(read_lines(files).positions == std::vector<double>{1e-3, 3e-3});
    CHECK(read_lines(files).offsets.empty());
    write_lines({{line<float>(1)}, {}, {-2e-3}}, files[0]);
    write_lines({{line<float>(2)}, {}, {0.5e-3}}, files[1]);
    CHECK(read_lines(files).positions.empty());
    CHECK(read_lines(files).offsets == std::vector<double>{-2e-3, 0.5e-3});
}

TEST_CASE("a file's shape is read from its header") {
    const Folder folder("shape");
    const fs::path file = folder.path / "a.npy";
    write_lines(three<std::int16_t>(), file);
    const RecordingShape several = recording_shape(file);
    CHECK(several.lines == 3);
    CHECK(several.frames == 2);
    CHECK(several.samples == 3);
    write_recording(line<float>(1), file);
    CHECK(!recording_shape(file).lines);
    CHECK(recording_shape(file).frames == 2);
    write_bytes(file, npy("<i2", "(2, 2, 3)", 23));
    CHECK(contains(message_of([&] { static_cast<void>(recording_shape(file)); }), "truncated"));
}

TEST_CASE("files that differ in what lines have in common are refused") {
    const Folder folder("unlike");
    const std::vector<fs::path> files = {folder.path / "a.npy", folder.path / "b.npy"};
    const auto refused = [&](const std::string& part) {
        const std::string message = message_of([&] { static_cast<void>(read_lines(files)); });
        CAPTURE(message);
        CHECK(contains(message, part));
    };
    write_recording(line<float>(1), files[0]);
    refused("b.npy: there is no such file");
    write_recording({good, FrameMatrix<float>(3, 3)}, files[1]);
    refused("b.npy: holds 3 frames of 3 samples: must hold as many as ");
    write_recording({good, FrameMatrix<float>(2, 4)}, files[1]);
    refused("b.npy: holds 2 frames of 4 samples");
    Recording slower = line<float>(2);
    slower.settings.frame_rate = 500;
    write_recording(slower, files[1]);
    refused("frame_rate = 500: line 2 of lines over one vessel must have the first one's, 1000");
    write_lines({{line<float>(2)}, {1e-3}}, files[1]);
    refused("b.json: field 'line_positions' must be in the settings of all lines, or of none");
    write_lines({{line<float>(1)}, {0}}, files[0]);
    write_recording(line<float>(2), files[1]);
    refused("b.json: field 'line_positions' must be in the settings of all lines, or of none");
    write_lines({{line<float>(1)}, {}, {1e-3}}, files[0]);
    refused("b.json: field 'line_offsets' must be in the settings of all lines, or of none");
    write_lines(three<float>(), files[1]);
    refused("b.npy: shape = (3, 2, 3): must be (frames, samples), one line");
    CHECK_THROWS_WITH_AS(static_cast<void>(read_lines(std::span<const fs::path>())),
                         "number of files = 0: must lie in [1, 256]", InvalidInput);
    CHECK_THROWS_WITH_AS(static_cast<void>(read_lines(std::vector<fs::path>(257, files[0]))),
                         "number of files = 257: must lie in [1, 256]", InvalidInput);
}

TEST_CASE("lines that a file can't hold are not written") {
    const Folder folder("unwritten");
    const auto refusal = [&](const RecordedLines& lines, const char* name = "a.npy") {
        try {
            write_lines(lines, folder.path / name);
        } catch (const std::exception& error) {
            return std::string(error.what());
        }
        return std::string();
    };
    RecordedLines lines = three<float>();
    lines.lines[1].settings.start_time = 8e-6;
    CHECK(refusal(lines) ==
          "start_time = 8e-06: lines of one file must have the first one's, "
          "9e-06; write them one by one");
    lines = three<float>();
    lines.lines[2] = line<std::int16_t>(3);
    CHECK(contains(refusal(lines), "line = 3: lines of one file must be of one type of samples"));
    lines = three<float>();
    std::get<FrameMatrix<float>>(lines.lines[2].samples)[1][0] =
        std::numeric_limits<float>::infinity();
    CHECK(contains(refusal(lines), "sample 0 of frame 1 of line 3 = inf: must be finite"));
    lines = three<float>();
    for (Recording& empty : lines.lines) {
        empty.samples = FrameMatrix<float>(0, 3);
    }
    CHECK(contains(refusal(lines), "number of frames = 0"));
    lines = three<float>();
    lines.positions.pop_back();
    CHECK(contains(refusal(lines), "number of positions = 2"));
    lines = three<float>();
    lines.offsets.pop_back();
    CHECK(contains(refusal(lines), "number of offsets = 2"));
    CHECK(contains(refusal(three<float>(), "a.json"), "is the name of their settings"));
    CHECK(contains(refusal(three<float>(), "none/a.npy"), "its folder does not exist"));
    CHECK(names_in(folder.path).empty());
}
