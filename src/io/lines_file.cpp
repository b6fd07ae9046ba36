#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <span>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/recorded_lines.hpp"
#include "echosieve/io/files.hpp"
#include "echosieve/io/npy.hpp"
#include "echosieve/io/recording_file.hpp"
#include "memory.hpp"
#include "npy_open.hpp"
#include "recording_parts.hpp"

namespace echosieve {
namespace {

namespace fs = std::filesystem;

// Line k, counted from 1 as in validate(RecordedLines).
std::string of_line(std::size_t k) {
    return " of line " + std::to_string(k + 1);
}

// The places in a field of `settings`, which must be one a line, or none.
std::vector<double> places_of(std::size_t lines, const fs::path& settings, const char* field) {
    std::vector<double> places = detail::read_places(settings, field);
    if (!places.empty() && places.size() != lines) {
        throw FileError(settings, std::string("numbers in field '") + field +
                                      "' = " + std::to_string(places.size()) +
                                      ": must be as many as there are lines, " +
                                      std::to_string(lines));
    }
    return places;
}

// Adds the place that line `number`, counted from 1, has by its own settings: all have one, or
// none.
void add_place(const fs::path& settings, const char* field, std::size_t number,
               std::vector<double>& places) {
    const std::vector<double> place = places_of(1, settings, field);
    if (place.size() + places.size() != (place.empty() ? 0 : number)) {
        throw FileError(settings, std::string("field '") + field +
                                      "' must be in the settings of all lines, or of none");
    }
    places.insert(places.end(), place.begin(), place.end());
}

// Looks at a file that is opened as one of several before memory is spent on its samples.
void require_beside(const RecordingReader& reader, const RecordingReader& first,
                    const fs::path& file, const fs::path& first_file) {
    if (reader.frames() != first.frames() || reader.samples() != first.samples()) {
        const auto shape = [](const RecordingReader& r) {
            return std::to_string(r.frames()) + " frames of " + std::to_string(r.samples()) +
                   " samples";
        };
        throw FileError(file, "holds " + shape(reader) + ": must hold as many as " +
                                  printable(first_file.string()) + ", " + shape(first));
    }
}

void check_lines(const RecordedLines& lines, const fs::path& file) {
    try {
        validate(lines);
    } catch (const InvalidInput& problem) {
        throw FileError(file, std::string("and the lines beside it: ") + problem.what());
    }
}

}  // namespace

RecordedLines read_lines(const fs::path& samples, const fs::path& settings) {
    std::ifstream in;
    const detail::NpyHeader header = detail::open_npy(samples, in, detail::NpyAxes::lines);
    const RecordingSettings common = read_settings(settings);
    RecordedLines out;
    out.positions = places_of(header.lines.value_or(1), settings, detail::positions_field);
    out.offsets = places_of(header.lines.value_or(1), settings, detail::offsets_field);
    for (auto& matrix : detail::read_npy_lines(in, header, samples)) {
        if (const auto* floats = std::get_if<FrameMatrix<float>>(&matrix)) {
            detail::require_finite(*floats, 0, samples, of_line(out.lines.size()));
        }
        out.lines.push_back({common, std::move(matrix)});
    }
    return out;
}

RecordingShape recording_shape(const fs::path& samples) {
    std::ifstream in;
    const detail::NpyHeader header = detail::open_npy(samples, in, detail::NpyAxes::lines);
    return {header.lines, header.rows, header.columns};
}

RecordedLines read_lines(const fs::path& samples) {
    return read_lines(samples, settings_path(samples));
}

RecordedLines read_lines(std::span<const fs::path> files) {
    require(!files.empty() && files.size() <= most_lines, "number of files", files.size(),
            detail::concatenate("must lie in [1, ", most_lines, "]"));
    std::vector<RecordingReader> readers;
    RecordedLines out;
    double bytes = 0;
    for (const fs::path& file : files) {
        const RecordingReader& reader = readers.emplace_back(file);
        require_beside(reader, readers.front(), file, files.front());
        bytes += static_cast<double>(reader.frames()) * static_cast<double>(reader.samples()) *
                 (reader.stores_float() ? sizeof(float) : sizeof(std::int16_t));
        const fs::path settings = settings_path(file);
        add_place(settings, detail::positions_field, readers.size(), out.positions);
        add_place(settings, detail::offsets_field, readers.size(), out.offsets);
        out.lines.push_back({reader.settings(), {}});
    }
    check_lines(out, files.front());
    detail::require_memory(bytes, files.front(), " for all lines");
    for (std::size_t k = 0; k < readers.size(); ++k) {
        out.lines[k].samples = readers[k].read(readers[k].frames());
    }
    return out;
}

void write_lines(const RecordedLines& lines, const fs::path& samples) {
    validate(lines);
    const Recording& first = lines.lines.front();
    for (std::size_t k = 0; k < lines.line_count(); ++k) {
        const Recording& line = lines.lines[k];
        require(line.settings.start_time == first.settings.start_time, "start_time",
                line.settings.start_time,
                detail::concatenate("lines of one file must have the first one's, ",
                                    first.settings.start_time, "; write them one by one"));
        require(line.samples.index() == first.samples.index(), "line", k + 1,
                "lines of one file must be of one type of samples; write them one by one");
        detail::require_samples(line, samples, of_line(k));
    }
    const auto write = [&](const fs::path& file) {
        if (lines.line_count() > 1) {
            detail::write_npy_lines(file, lines.lines);
            return;
        }
        std::visit([&](const auto& m) { write_npy(file, m.values(), m.frames(), m.samples()); },
                   first.samples);
    };
    detail::write_both(samples, settings_path(samples),
                       detail::settings_text(first.settings, lines.positions, lines.offsets),
                       write);
}

}  // namespace echosieve
