// io: files that can't be read or written, and what the writers are given.
#include <complex>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "bad_input.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/io/csv.hpp"
#include "echosieve/io/npy.hpp"
#include "echosieve/io/recording_file.hpp"
#include "io/folder.hpp"

namespace echosieve::test {
namespace {

using Place = std::shared_ptr<const Folder>;

std::string npy(const std::string& descr, const std::string& shape, std::size_t bytes) {
    std::string header =
        "{'descr': '" + descr + "', 'fortran_order': False, 'shape': " + shape + ", }";
    header.append((64 - (10 + header.size() + 1) % 64) % 64, ' ');
    header += '\n';
    return std::string("\x93NUMPY\x01\x00", 8) + static_cast<char>(header.size() & 0xFF) +
           static_cast<char>(header.size() >> 8) + header + std::string(bytes, '\0');
}

std::string settings(const std::string& field, const std::string& value) {
    std::string text = "{";
    const std::string good[][2] = {{"sampling_rate", "40e6"}, {"frame_rate", "500"},
                                   {"start_time", "6e-6"},    {"centre_frequency", "4e6"},
                                   {"bandwidth", "1e6"},      {"sound_speed", "1540"}};
    for (const auto& [name, usual] : good) {
        text += (text.size() > 1 ? ", \"" : "\"") + name + "\": " + (name == field ? value : usual);
    }
    const bool optional = field == "pulse_delay" || field == "sensor_width" ||
                          field == "sensor_length" || field == "line_positions";
    return text + (optional ? ", \"" + field + "\": " + value : "") + "}";
}

/// Reads such a sample file.
void samples(BadInputs& out, const Place& place) {
    int number = 0;
    const auto add = [&](const std::string& bytes, const char* argument, const std::string& value) {
        const auto file = place->path / ("samples_" + std::to_string(number++) + ".npy");
        write_bytes(file, bytes);
        out.add("read_npy", argument, value, [=] {
            static_cast<void>(place);
            static_cast<void>(read_npy(file));
        });
    };
    add("", "is empty", "");
    add("not an array at all", "is not a .npy file", "");
    add(npy("<f8", "(2, 3)", 48), "dtype", "'<f8'");
    add(npy(">i2", "(2, 3)", 12), "dtype", "'>i2'");
    add(npy("<i2", "(0, 3)", 0), "shape", "(0, 3)");
    add(npy("<i2", "(2, 0)", 0), "shape", "(2, 0)");
    add(npy("<i2", "(6,)", 12), "shape", "(6,)");
    add(npy("<i2", "(2, 3)", 11), "is truncated", "");
    add(npy("<i2", "(2, 3)", 13), "is too long", "");
    add(npy("<i2", "(4294967296, 4294967296)", 12), "shape = (4294967296, 4294967296)", "");
    out.add("read_npy", "missing.npy", "",
            [=] { static_cast<void>(read_npy(place->path / "missing.npy")); });
    out.add("read_npy", "is not a regular file", "",
            [=] { static_cast<void>(read_npy(place->path)); });
}

/// Reads such settings.
void fields(BadInputs& out, const Place& place) {
    int number = 0;
    const auto add = [&](const std::string& text, const char* argument, const std::string& value) {
        const auto file = place->path / ("settings_" + std::to_string(number++) + ".json");
        write_bytes(file, text);
        out.add("read_settings", argument, value, [=] {
            static_cast<void>(place);
            static_cast<void>(read_settings(file));
        });
    };
    add("", "is not valid JSON", "");
    add("{", "is not valid JSON", "");
    add("[1, 2]", "must hold a JSON object", "");
    add("{}", "sampling_rate", "");
    add(settings("sampling_rate", "0"), "sampling_rate", "0");
    add(settings("sampling_rate", "-4e7"), "sampling_rate", "-40000000");
    add(settings("sampling_rate", "\"fast\""), "'sampling_rate'", "\"fast\"");
    add(settings("frame_rate", "null"), "'frame_rate'", "null");
    add(settings("frame_rate", "-500"), "frame_rate", "-500");
    add(settings("start_time", "-1e-6"), "start_time", "-1e-06");
    add(settings("centre_frequency", "true"), "'centre_frequency'", "true");
    add(settings("centre_frequency", "0"), "centre_frequency", "0");
    add(settings("bandwidth", "9e6"), "bandwidth", "9000000");
    add(settings("sound_speed", "0"), "sound_speed", "0");
    add(settings("pulse_delay", "1"), "pulse_delay", "1");
    add(settings("pulse_delay", "[]"), "'pulse_delay'", "[]");
    add(settings("sensor_width", "12"), "sensor_width", "12");
    add(settings("sensor_length", "[]"), "'sensor_length'", "[]");
}

void writers(BadInputs& out, const Place& place) {
    const auto to = [=](const char* name) { return place->path / name; };
    const std::vector<float> five(5);
    out.add("write_npy", "number of values", 5,
            [=] { write_npy(to("a.npy"), std::span<const float>(five), 2, 3); });
    out.add("write_npy", "number of values", 5,
            [=] { write_npy(to("a.npy"), std::span<const float>(five), 2, 0); });
    constexpr std::size_t huge = std::numeric_limits<std::size_t>::max();
    out.add("NpyWriter", "rows", huge, [=] { static_cast<void>(NpyWriter(to("b.npy"), huge, 2)); });
    out.add("NpyWriter::write", "number of values", 5, [=] {
        NpyWriter writer(to("b.npy"), 2, 2);
        writer.write(five);
    });
    out.add("NpyWriter::commit", "number of values written", 3, [=] {
        NpyWriter writer(to("b.npy"), 2, 2);
        writer.write(std::span<const float>(five).first(3));
        writer.commit();
    });
    out.add("NpyWriter", "can't be written to", "",
            [=] { static_cast<void>(NpyWriter(to("no such folder") / "b.npy", 2, 2)); });
    for (const char* bad : {"a,b", "a\"b", "a\nb"}) {
        out.add("CsvWriter", "column name", bad,
                [=] { static_cast<void>(CsvWriter(to("c.csv"), {{bad}})); });
    }
    for (const int bad : {-1, 18}) {
        out.add("CsvWriter", "decimals", bad, [=] {
            static_cast<void>(CsvWriter(to("c.csv"), {{"a", bad}}));
        });
    }
    out.add("CsvWriter::row", "number of values", 2, [=] {
        CsvWriter writer(to("c.csv"), {{"a"}});
        writer.row({1.0, 2.0});
    });
}

void recordings(BadInputs& out, const Place& place) {
    const RecordingSettings good{40e6, 500, 6e-6, {4e6, 1e6, {}}, 1540};
    const auto write = [=](const RecordingSettings& s, const FrameMatrix<float>& frames,
                           const char* name) {
        return [=] { write_recording({s, frames}, place->path / name); };
    };
    const FrameMatrix<float> frames(2, 3);
    RecordingSettings slow = good;
    slow.sampling_rate = 8e6;
    out.add("write_recording", "sampling_rate", 8e6, write(slow, frames, "d.npy"));
    out.add("write_recording", "number of frames", 0,
            write(good, FrameMatrix<float>(0, 3), "d.npy"));
    out.add("write_recording", "samples a frame", 0,
            write(good, FrameMatrix<float>(2, 0), "d.npy"));
    out.add("write_recording", "is the name of their settings", "", write(good, frames, "d.json"));
    FrameMatrix<float> spoilt = frames;
    spoilt[1][2] = std::numeric_limits<float>::quiet_NaN();
    out.add("write_recording", "sample 2 of frame 1", not_a_number, write(good, spoilt, "d.npy"));
    const auto file = place->path / "e.npy";
    write_npy(file, spoilt.values(), 2, 3);
    write_bytes(place->path / "e.json", settings("", ""));
    out.add("read_recording", "sample 2 of frame 1", not_a_number,
            [=] { static_cast<void>(read_recording(file)); });
    out.add("RecordingReader::read", "sample 2 of frame 1", not_a_number, [=] {
        RecordingReader reader(file);
        static_cast<void>(reader.read(1));
        static_cast<void>(reader.read(1));
    });
    const auto lonely = place->path / "f.npy";
    write_npy(lonely, frames.values(), 2, 3);
    out.add("read_recording", "f.json", "", [=] { static_cast<void>(read_recording(lonely)); });
    out.add("RecordingReader", "f.json", "", [=] { static_cast<void>(RecordingReader(lonely)); });
}

void lines(BadInputs& out, const Place& place) {
    const RecordingSettings good{40e6, 500, 6e-6, {4e6, 1e6, {}}, 1540};
    const Recording line{good, FrameMatrix<float>(2, 3)};
    Recording later = line;
    later.settings.start_time = 7e-6;
    const auto file = place->path / "g.npy";
    out.add("write_lines", "number of lines", 0, [=] { write_lines({}, file); });
    out.add("write_lines", "start_time", 7e-6, [=] { write_lines({{line, later}, {}}, file); });
    out.add("write_lines", "position", 2, [=] { write_lines({{line}, {2}}, file); });
    write_bytes(file, npy("<i2", "(2, 2, 3)", 24));
    write_bytes(place->path / "g.json", settings("line_positions", "[1e-3]"));
    out.add("read_lines", "'line_positions'", "1", [=] { static_cast<void>(read_lines(file)); });
    out.add("read_recording", "shape", "(2, 2, 3)",
            [=] { static_cast<void>(read_recording(file)); });
    out.add("read_lines", "number of files", 0,
            [=] { static_cast<void>(read_lines(std::span<const std::filesystem::path>())); });
}

}  // namespace

BadInputs io_cases() {
    const Place place = std::make_shared<const Folder>("matrix");
    BadInputs out;
    samples(out, place);
    fields(out, place);
    writers(out, place);
    recordings(out, place);
    lines(out, place);
    return out;
}

}  // namespace echosieve::test
