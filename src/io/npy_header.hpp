// The header of a .npy file, read strictly.
#pragma once

#include <cstddef>
#include <filesystem>
#include <istream>
#include <optional>
#include <string>

namespace echosieve::detail {

/// What the header says of the values, which start `data_offset` bytes into the file.
struct NpyHeader {
    std::string descr;  ///< as NumPy writes it: '<i2', '<f4', ...
    std::size_t rows = 0;
    std::size_t columns = 0;
    std::size_t data_offset = 0;
    std::optional<std::size_t> lines{};  ///< of rows and columns each, if there are three lengths

    /// As the header has it: (rows, columns), or (lines, rows, columns).
    [[nodiscard]] std::string shape() const {
        return "(" + (lines ? std::to_string(*lines) + ", " : "") + std::to_string(rows) + ", " +
               std::to_string(columns) + ")";
    }
};

/// Reads the header at the start of `in`, which is left at the first value. Throws FileError,
/// naming `file`, field and value, unless it is one of format 1.0, 2.0 or 3.0 with exactly the
/// fields descr (a plain dtype), fortran_order (False) and shape (two or three
/// lengths).
[[nodiscard]] NpyHeader read_npy_header(std::istream& in, const std::filesystem::path& file);

}  // namespace echosieve::detail
