#include "npy_header.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <optional>
#include <string_view>
#include <system_error>
#include <utility>
#include <vector>

#include "echosieve/io/files.hpp"

// The format is described in the NumPy manual, "numpy.lib.format": a magic string, the version, the
// length of the header, and the header: a Python dictionary with the fields descr, fortran_order
// and shape.

namespace echosieve::detail {
namespace {

constexpr std::string_view magic = "\x93NUMPY";
constexpr std::size_t longest_header = 1 << 16;
constexpr std::string_view blanks = " \t\r\n";

// Reads the dictionary from front to back; whatever the format does not allow is an error.
class Dictionary {
public:
    Dictionary(std::string_view text, const std::filesystem::path& file)
        : rest_(text), file_(file) {}

    NpyHeader read() {
        std::optional<std::string> descr;
        std::optional<bool> fortran;
        std::optional<std::vector<std::size_t>> shape;
        expect('{');
        while (!take('}')) {
            const std::string key = quoted("a field's name");
            expect(':');
            if (key == "descr" && !descr) {
                descr = read_descr();
            } else if (key == "fortran_order" && !fortran) {
                fortran = read_order();
            } else if (key == "shape" && !shape) {
                shape = read_shape();
            } else {
                fail("the header's field '" + key + "' is unknown or there twice");
            }
            if (!take(',')) {
                expect('}');
                break;
            }
        }
        if (skip(); !rest_.empty()) {
            fail("the header goes on after its closing brace");
        }
        std::string type = field(descr, "descr");
        const bool by_columns = field(fortran, "fortran_order");
        const std::vector<std::size_t> sizes = field(shape, "shape");
        if (by_columns) {
            fail(
                "fortran_order = True: must be False, frame by frame (save "
                "numpy.ascontiguousarray)");
        }
        if (sizes.size() == 3) {
            return {std::move(type), sizes[1], sizes[2], 0, sizes[0]};
        }
        if (sizes.size() != 2) {
            fail("shape = " + shape_text_ +
                 ": must be (frames, samples), or (lines, frames, samples) for read_lines");
        }
        return {std::move(type), sizes[0], sizes[1], 0, std::nullopt};
    }

private:
    [[noreturn]] void fail(const std::string& problem) const { throw FileError(file_, problem); }
    template <class T>
    [[nodiscard]] T field(const std::optional<T>& value, const char* name) const {
        if (!value) {
            fail("the header has no field '" + std::string(name) + "'");
        }
        return *value;
    }
    void skip() { rest_.remove_prefix(std::min(rest_.find_first_not_of(blanks), rest_.size())); }
    bool take(char wanted) {
        skip();
        if (rest_.empty() || rest_.front() != wanted) {
            return false;
        }
        rest_.remove_prefix(1);
        return true;
    }
    void expect(char wanted) {
        if (!take(wanted)) {
            fail(std::string("the header is damaged: '") + wanted + "' expected before '" +
                 std::string(rest_.substr(0, 20)) + "'");
        }
    }
    std::string quoted(const char* what) {
        skip();
        const char quote = rest_.empty() ? '\0' : rest_.front();
        const std::size_t close =
            quote == '\'' || quote == '"' ? rest_.find(quote, 1) : std::string_view::npos;
        if (close == std::string_view::npos) {
            fail("the header is damaged: " + std::string(what) + " in quotes expected before '" +
                 std::string(rest_.substr(0, 20)) + "'");
        }
        std::string inside(rest_.substr(1, close - 1));
        rest_.remove_prefix(close + 1);
        return inside;
    }
    std::string read_descr() {
        if (skip(); !rest_.empty() && (rest_.front() == '[' || rest_.front() == '(')) {
            fail("dtype is structured: must be '<i2' (int16) or '<f4' (float32)");
        }
        return quoted("dtype");
    }
    bool read_order() {
        skip();
        const std::string_view word = rest_.substr(0, rest_.find_first_of(",} \t\r\n"));
        if (word != "True" && word != "False") {
            fail("fortran_order = " + std::string(word) + ": must be False");
        }
        rest_.remove_prefix(word.size());
        return word == "True";
    }
    std::vector<std::size_t> read_shape() {
        skip();
        const std::size_t close = rest_.find(')');
        if (rest_.empty() || rest_.front() != '(' || close == std::string_view::npos) {
            fail("shape = " + std::string(rest_.substr(0, rest_.find_first_of(",}"))) +
                 " is not a tuple");
        }
        shape_text_ = rest_.substr(0, close + 1);
        std::vector<std::size_t> shape;
        rest_.remove_prefix(1);
        while (!take(')')) {
            std::size_t length = 0;
            const auto [next, error] =
                std::from_chars(rest_.data(), rest_.data() + rest_.size(), length);
            if (error != std::errc{}) {
                fail("shape = " + shape_text_ + " holds something that is no length");
            }
            rest_.remove_prefix(static_cast<std::size_t>(next - rest_.data()));
            shape.push_back(length);
            if (!take(',') && (skip(), rest_.front() != ')')) {
                fail("shape = " + shape_text_ + " holds something that is no length");
            }
        }
        return shape;
    }

    std::string_view rest_;
    const std::filesystem::path& file_;
    std::string shape_text_;
};

}  // namespace

NpyHeader read_npy_header(std::istream& in, const std::filesystem::path& file) {
    std::array<char, 12> start{};
    in.read(start.data(), 8);
    if (in.gcount() != 8 || std::string_view(start.data(), magic.size()) != magic) {
        throw FileError(
            file, in.gcount() == 0 ? "is empty" : "is not a .npy file: its first bytes differ");
    }
    const int major = static_cast<unsigned char>(start[6]);
    const int minor = static_cast<unsigned char>(start[7]);
    if (major < 1 || major > 3 || minor != 0) {
        throw FileError(file, ".npy version = " + std::to_string(major) + "." +
                                  std::to_string(minor) + ": must be 1.0, 2.0 or 3.0");
    }
    const std::size_t width = major == 1 ? 2 : 4;
    in.read(start.data() + 8, static_cast<std::streamsize>(width));
    std::size_t length = 0;
    for (std::size_t k = 0; k < width; ++k) {
        length |= std::size_t{static_cast<unsigned char>(start[8 + k])} << (8 * k);
    }
    if (in && length > longest_header) {
        throw FileError(file, "header length = " + std::to_string(length) + ": must not exceed " +
                                  std::to_string(longest_header));
    }
    std::string text(in ? length : 0, ' ');
    in.read(text.data(), static_cast<std::streamsize>(text.size()));
    if (!in) {
        throw FileError(file, "is truncated within its header");
    }
    NpyHeader header = Dictionary(text, file).read();
    header.data_offset = 8 + width + length;
    return header;
}

}  // namespace echosieve::detail
