#include "echosieve/io/npy.hpp"

#include <bit>
#include <cmath>
#include <exception>
#include <fstream>
#include <limits>
#include <string>
#include <string_view>
#include <system_error>
#include <type_traits>
#include <variant>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/recorded_lines.hpp"
#include "echosieve/io/files.hpp"
#include "memory.hpp"
#include "npy_header.hpp"
#include "npy_open.hpp"
#include "open_file.hpp"

static_assert(std::endian::native == std::endian::little,
              "samples are read and written as they lie in memory");

namespace echosieve {
namespace {

template <class T>
FrameMatrix<T> read_values(std::istream& in, const detail::NpyHeader& header,
                           const std::filesystem::path& file) {
    const std::size_t count = header.rows * header.columns;
    detail::require_memory(static_cast<double>(count) * sizeof(T), file);
    std::vector<T> values;
    try {
        values.resize(count);
    } catch (const std::exception&) {  // bad_alloc or length_error
        throw FileError(file, "its " + std::to_string(count * sizeof(T)) +
                                  " bytes of values don't fit into memory");
    }
    in.read(reinterpret_cast<char*>(values.data()),
            static_cast<std::streamsize>(count * sizeof(T)));
    if (!in) {
        throw FileError(file, "can't be read to its end");
    }
    return {std::move(values), header.rows, header.columns};
}

void check_size(const detail::NpyHeader& header, std::size_t value_size,
                const std::filesystem::path& file) {
    const std::size_t most =
        (std::numeric_limits<std::size_t>::max() - header.data_offset) / value_size;
    const std::string shape = "shape = " + header.shape();
    const std::size_t lines = header.lines.value_or(1);
    if (lines == 0 || lines > most_lines) {
        throw FileError(file, shape + ": must have 1 to " + std::to_string(most_lines) + " lines");
    }
    if (header.rows == 0 || header.columns == 0) {
        throw FileError(file, shape + ": must hold at least one frame of one sample");
    }
    if (header.rows > most / header.columns / lines) {
        throw FileError(file, shape + " is larger than any memory");
    }
    const std::size_t expected =
        header.data_offset + lines * header.rows * header.columns * value_size;
    std::error_code error;
    const std::uintmax_t actual = std::filesystem::file_size(file, error);
    if (error) {
        throw FileError(file, "its size can't be read: " + error.message());
    }
    if (actual != expected) {
        throw FileError(file, "holds " + std::to_string(actual) + " bytes, but its header, " +
                                  shape + " of '" + header.descr + "', asks for " +
                                  std::to_string(expected) +
                                  (actual < expected ? ": it is truncated" : ": it is too long"));
    }
}

void write_header(AtomicFile& out, const detail::NpyHeader& shape) {
    // Not through a stream: the user's locale might set thousands apart.
    std::string header = "{'descr': '" + shape.descr +
                         "', 'fortran_order': False, 'shape': " + shape.shape() + ", }";
    const std::string_view magic = "\x93NUMPY";
    const std::size_t start = magic.size() + 2 + 2;
    header.append((64 - (start + header.size() + 1) % 64) % 64, ' ');
    header += '\n';
    out.stream() << magic << '\x01' << '\x00' << static_cast<char>(header.size() & 0xFF)
                 << static_cast<char>(header.size() >> 8) << header;
}

template <class T>
void append(AtomicFile& out, std::span<const T> values) {
    out.stream().write(reinterpret_cast<const char*>(values.data()),
                       static_cast<std::streamsize>(values.size_bytes()));
}

template <class T>
void write_values(const std::filesystem::path& file, std::span<const T> values, std::size_t rows,
                  std::size_t columns, std::string_view descr) {
    const bool whole = columns == 0
                           ? values.empty()
                           : values.size() / columns == rows && values.size() % columns == 0;
    require(whole, "number of values", values.size(),
            detail::concatenate("must be rows * columns = ", rows, " * ", columns));
    AtomicFile out(file);
    write_header(out, {.descr = std::string(descr), .rows = rows, .columns = columns});
    append(out, values);
    out.commit();
}

}  // namespace

detail::NpyHeader detail::open_npy(const std::filesystem::path& file, std::ifstream& in,
                                   NpyAxes axes) {
    in = open_for_reading(file);
    NpyHeader header = read_npy_header(in, file);
    if (header.descr != "<i2" && header.descr != "<f4") {
        throw FileError(file,
                        "dtype = '" + header.descr + "': must be '<i2' (int16) or '<f4' (float32)");
    }
    if (header.lines && axes == NpyAxes::frames) {
        throw FileError(file, "shape = " + header.shape() +
                                  ": must be (frames, samples), one line; several lines, (lines, "
                                  "frames, samples), are read by read_lines");
    }
    check_size(header, header.descr == "<i2" ? sizeof(std::int16_t) : sizeof(float), file);
    return header;
}

void detail::require_finite(const FrameMatrix<float>& samples, std::size_t first,
                            const std::filesystem::path& file, const std::string& of) {
    for (std::size_t i = 0; i < samples.frames(); ++i) {
        const auto frame = samples[i];
        for (std::size_t k = 0; k < frame.size(); ++k) {
            if (!std::isfinite(frame[k])) {
                throw FileError(file, "sample " + std::to_string(k) + " of frame " +
                                          std::to_string(first + i) + of + " = " +
                                          std::to_string(frame[k]) + ": must be finite");
            }
        }
    }
}

std::vector<std::variant<FrameMatrix<std::int16_t>, FrameMatrix<float>>> detail::read_npy_lines(
    std::istream& in, const NpyHeader& header, const std::filesystem::path& file) {
    const std::size_t count = header.lines.value_or(1);
    const bool whole_numbers = header.descr == "<i2";
    const std::size_t size = whole_numbers ? sizeof(std::int16_t) : sizeof(float);
    require_memory(static_cast<double>(count * header.rows * header.columns * size), file);
    std::vector<std::variant<FrameMatrix<std::int16_t>, FrameMatrix<float>>> lines;
    for (std::size_t k = 0; k < count; ++k) {
        if (whole_numbers) {
            lines.emplace_back(read_values<std::int16_t>(in, header, file));
        } else {
            lines.emplace_back(read_values<float>(in, header, file));
        }
    }
    return lines;
}

void detail::write_npy_lines(const std::filesystem::path& file, std::span<const Recording> lines) {
    AtomicFile out(file);
    const auto write = [&]<class T>(const FrameMatrix<T>& first) {
        write_header(out, {.descr = std::is_same_v<T, float> ? "<f4" : "<i2",
                           .rows = first.frames(),
                           .columns = first.samples(),
                           .data_offset = 0,
                           .lines = lines.size()});
        for (const Recording& line : lines) {
            append(out, std::get<FrameMatrix<T>>(line.samples).values());
        }
    };
    std::visit(write, lines.front().samples);
    out.commit();
}

std::variant<FrameMatrix<std::int16_t>, FrameMatrix<float>> read_npy(
    const std::filesystem::path& file) {
    std::ifstream in;
    const detail::NpyHeader header = detail::open_npy(file, in);
    if (header.descr == "<i2") {
        return read_values<std::int16_t>(in, header, file);
    }
    return read_values<float>(in, header, file);
}

void write_npy(const std::filesystem::path& file, std::span<const std::int16_t> values,
               std::size_t rows, std::size_t columns) {
    write_values(file, values, rows, columns, "<i2");
}
void write_npy(const std::filesystem::path& file, std::span<const float> values, std::size_t rows,
               std::size_t columns) {
    write_values(file, values, rows, columns, "<f4");
}
void write_npy(const std::filesystem::path& file, std::span<const std::complex<float>> values,
               std::size_t rows, std::size_t columns) {
    write_values(file, values, rows, columns, "<c8");
}

NpyWriter::NpyWriter(const std::filesystem::path& file, std::size_t rows, std::size_t columns)
    : out_(file), expected_(rows * columns) {
    require(
        columns == 0 || rows <= std::numeric_limits<std::size_t>::max() / columns, "rows", rows,
        detail::concatenate("must not be more of ", columns, " columns than any memory can count"));
    write_header(out_, {.descr = "<f4", .rows = rows, .columns = columns});
}

void NpyWriter::write(std::span<const float> values) {
    require(values.size() <= expected_ - written_, "number of values", values.size(),
            detail::concatenate("must not exceed those that are missing, ", expected_ - written_));
    append(out_, values);
    written_ += values.size();
}

void NpyWriter::commit() {
    require(written_ == expected_, "number of values written", written_,
            detail::concatenate("must be rows * columns = ", expected_));
    out_.commit();
}

}  // namespace echosieve
