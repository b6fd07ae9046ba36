// Matrices in .npy files: C order, little endian, int16 or float32 (and complex64 for writing).
// Compiled: link echosieve::io.
#pragma once

#include <complex>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <span>
#include <variant>

#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/io/files.hpp"

namespace echosieve {

/// Reads a 2-D .npy file (format 1.0, 2.0 or 3.0). Throws FileError, naming file, field and value,
/// if it is missing, truncated, longer than its header says, empty, of another dtype than '<i2' or
/// '<f4', in Fortran order, not 2-D (read_lines takes 3-D ones), or of no rows or columns. Values
/// are not looked at: NaN passes.
[[nodiscard]] ECHOSIEVE_API std::variant<FrameMatrix<std::int16_t>, FrameMatrix<float>> read_npy(
    const std::filesystem::path& file);

/// Writes rows x columns values as a 2-D .npy file, whole or not at all; none are written too,
/// though read_npy refuses that. Throws FileError if writing fails and InvalidInput unless
/// values.size() == rows * columns.
ECHOSIEVE_API void write_npy(const std::filesystem::path& file,
                             std::span<const std::int16_t> values, std::size_t rows,
                             std::size_t columns);
ECHOSIEVE_API void write_npy(const std::filesystem::path& file, std::span<const float> values,
                             std::size_t rows, std::size_t columns);
ECHOSIEVE_API void write_npy(const std::filesystem::path& file,
                             std::span<const std::complex<float>> values, std::size_t rows,
                             std::size_t columns);

/// A 2-D .npy file of float written piece by piece: for matrices that need not be in memory.
class NpyWriter {
public:
    /// Throws FileError if the file can't be written to, and InvalidInput for more values
    /// than a std::size_t can count.
    ECHOSIEVE_API NpyWriter(const std::filesystem::path& file, std::size_t rows,
                            std::size_t columns);

    /// The next values, row by row. Throws InvalidInput if they are more than rows * columns in
    /// all. Whether they could be written, commit() tells.
    ECHOSIEVE_API void write(std::span<const float> values);

    /// Gives the file its name. Throws FileError if writing failed and InvalidInput unless rows *
    /// columns values have been written.
    ECHOSIEVE_API void commit();

private:
    AtomicFile out_;
    std::size_t expected_;
    std::size_t written_ = 0;
};

}  // namespace echosieve
