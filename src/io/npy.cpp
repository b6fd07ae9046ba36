#include "echosieve/io/npy.hpp"

#include <array>
#include <bit>
#include <charconv>
#include <cstring>
#include <fstream>
#include <limits>
#include <string>
#include <string_view>
#include <system_error>
#include <vector>

#include "echosieve/io/atomic_file.hpp"
#include "echosieve/io/file_error.hpp"

// The format is described in the NumPy manual, "numpy.lib.format": a magic string, the version, the
// length of the header, and the header: a Python dictionary with the fields descr, fortran_order
// and shape.

static_assert(std::endian::native == std::endian::little,
              "samples are read and written as they lie in memory");

namespace echosieve {
namespace {

constexpr std::string_view magic = "\x93NUMPY";
constexpr std::size_t longest_header = 1 << 16;

struct Header {
    std::string descr;
    std::size_t rows = 0;
    std::size_t columns = 0;
    std::size_t data_offset = 0;
};

// The text after 'key': in the header.
std::string_view field(std::string_view header, std::string_view key,
                       const std::filesystem::path& file) {
    for (const char quote : {'\'', '"'}) {
        const std::string name = quote + std::string(key) + quote;
        const std::size_t place = header.find(name);
        if (place == std::string_view::npos) {
            continue;
        }
        std::string_view rest = header.substr(place + name.size());
        const std::size_t value = rest.find_first_not_of(" \t:");
        if (value != std::string_view::npos) {
            return rest.substr(value);
        }
    }
    throw FileError(file, "the header has no field '" + std::string(key) + "'");
}

std::vector<std::size_t> parse_shape(std::string_view text, const std::filesystem::path& file) {
    const std::size_t close = text.find(')');
    if (text.empty() || text.front() != '(' || close == std::string_view::npos) {
        throw FileError(file, "shape is not a tuple");
    }
    const std::string_view inside = text.substr(1, close - 1);
    std::vector<std::size_t> shape;
    const char* at = inside.data();
    const char* const end = at + inside.size();
    while (at != end) {
        if (*at == ' ' || *at == ',') {
            ++at;
            continue;
        }
        std::size_t length = 0;
        const auto [next, error] = std::from_chars(at, end, length);
        if (error != std::errc{}) {
            throw FileError(
                file, "shape = (" + std::string(inside) + ") holds something that is no length");
        }
        shape.push_back(length);
        at = next;
    }
    if (shape.size() != 2) {
        throw FileError(file, "shape = (" + std::string(inside) + "): must be (frames, samples)");
    }
    return shape;
}

Header read_header(std::istream& in, const std::filesystem::path& file) {
    std::array<char, 12> start{};
    in.read(start.data(), 8);
    if (in.gcount() != 8 || std::string_view(start.data(), magic.size()) != magic) {
        throw FileError(
            file, in.gcount() == 0 ? "is empty" : "is not a .npy file: its first bytes differ");
    }
    const int version = static_cast<unsigned char>(start[6]);
    if (version < 1 || version > 3) {
        throw FileError(file, ".npy version = " + std::to_string(version) + ": must be 1, 2 or 3");
    }
    const std::size_t width = version == 1 ? 2 : 4;
    in.read(start.data() + 8, static_cast<std::streamsize>(width));
    std::size_t length = 0;
    for (std::size_t k = 0; k < width; ++k) {
        length |= std::size_t{static_cast<unsigned char>(start[8 + k])} << (8 * k);
    }
    if (!in || length > longest_header) {
        throw FileError(file, "header length = " + std::to_string(length) +
                                  ": the header is truncated or damaged");
    }
    std::string text(length, ' ');
    in.read(text.data(), static_cast<std::streamsize>(length));
    if (!in) {
        throw FileError(file, "is truncated within its header");
    }
    Header header;
    header.data_offset = 8 + width + length;
    const std::string_view descr = field(text, "descr", file);
    if (descr.empty() || (descr.front() != '\'' && descr.front() != '"')) {
        throw FileError(file, "dtype is structured: must be '<i2' (int16) or '<f4' (float32)");
    }
    header.descr = std::string(descr.substr(1, descr.find(descr.front(), 1) - 1));
    if (field(text, "fortran_order", file).substr(0, 5) != "False") {
        throw FileError(
            file,
            "fortran_order = True: must be False, frame by frame (save numpy.ascontiguousarray)");
    }
    const std::vector<std::size_t> shape = parse_shape(field(text, "shape", file), file);
    header.rows = shape[0];
    header.columns = shape[1];
    return header;
}

template <class T>
FrameMatrix<T> read_values(std::istream& in, const Header& header,
                           const std::filesystem::path& file) {
    const std::size_t most = std::numeric_limits<std::size_t>::max() / sizeof(T);
    const std::string shape =
        "shape = (" + std::to_string(header.rows) + ", " + std::to_string(header.columns) + ")";
    if (header.rows == 0 || header.columns == 0) {
        throw FileError(file, shape + ": must hold at least one frame of one sample");
    }
    if (header.rows > most / header.columns) {
        throw FileError(file, shape + " is larger than any memory");
    }
    const std::size_t count = header.rows * header.columns;
    const std::size_t expected = header.data_offset + count * sizeof(T);
    std::error_code error;
    const std::uintmax_t actual = std::filesystem::file_size(file, error);
    if (error || actual != expected) {
        throw FileError(file, "holds " + std::to_string(actual) + " bytes, but its header, " +
                                  shape + " of '" + header.descr + "', asks for " +
                                  std::to_string(expected) +
                                  (actual < expected ? ": it is truncated" : ": it is too long"));
    }
    std::vector<T> values(count);
    in.read(reinterpret_cast<char*>(values.data()),
            static_cast<std::streamsize>(count * sizeof(T)));
    if (!in) {
        throw FileError(file, "can't be read to its end");
    }
    return {std::move(values), header.rows, header.columns};
}

template <class T>
void write_values(const std::filesystem::path& file, std::span<const T> values, std::size_t rows,
                  std::size_t columns, std::string_view descr) {
    require(values.size() == rows * columns, "number of values", values.size(),
            detail::concatenate("must be rows * columns = ", rows, " * ", columns));
    std::string header = detail::concatenate(
        "{'descr': '", descr, "', 'fortran_order': False, 'shape': (", rows, ", ", columns, "), }");
    const std::size_t start = magic.size() + 2 + 2;
    header.append((64 - (start + header.size() + 1) % 64) % 64, ' ');
    header += '\n';
    AtomicFile out(file);
    out.stream() << magic << '\x01' << '\x00' << static_cast<char>(header.size() & 0xFF)
                 << static_cast<char>(header.size() >> 8) << header;
    out.stream().write(reinterpret_cast<const char*>(values.data()),
                       static_cast<std::streamsize>(values.size_bytes()));
    out.commit();
}

}  // namespace

std::variant<FrameMatrix<std::int16_t>, FrameMatrix<float>> read_npy(
    const std::filesystem::path& file) {
    std::error_code error;
    if (!std::filesystem::exists(file, error)) {
        throw FileError(file, "there is no such file");
    }
    if (!std::filesystem::is_regular_file(file, error)) {
        throw FileError(file, "is not a regular file");
    }
    std::ifstream in(file, std::ios::binary);
    if (!in) {
        throw FileError(file, "can't be opened for reading");
    }
    const Header header = read_header(in, file);
    if (header.descr == "<i2") {
        return read_values<std::int16_t>(in, header, file);
    }
    if (header.descr == "<f4") {
        return read_values<float>(in, header, file);
    }
    throw FileError(file,
                    "dtype = '" + header.descr + "': must be '<i2' (int16) or '<f4' (float32)");
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

}  // namespace echosieve
