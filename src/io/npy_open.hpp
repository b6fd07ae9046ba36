// A .npy file opened for reading, and checked as far as its header goes.
#pragma once

#include <cstddef>
#include <filesystem>
#include <fstream>

#include "echosieve/core/recording.hpp"
#include "npy_header.hpp"

namespace echosieve::detail {

/// Opens `file` into `in`, which is left at the first value. Throws FileError unless it is a
/// regular file whose header is valid, whose dtype is '<i2' or '<f4', which holds at least one
/// value, and which is as long as the header says.
[[nodiscard]] NpyHeader open_npy(const std::filesystem::path& file, std::ifstream& in);

/// Throws FileError for a value that is not finite. `first` is the number of the first frame.
void require_finite(const FrameMatrix<float>& samples, std::size_t first,
                    const std::filesystem::path& file);

}  // namespace echosieve::detail
