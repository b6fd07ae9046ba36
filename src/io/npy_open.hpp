// A .npy file opened for reading, and checked as far as its header goes.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <istream>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "echosieve/core/recording.hpp"
#include "npy_header.hpp"

namespace echosieve::detail {

/// What a file may hold: frames of one line, or those of several lines too.
enum class NpyAxes { frames, lines };

/// Opens `file` into `in`, which is left at the first value. Throws FileError unless it is a
/// regular file whose header is valid, whose dtype is '<i2' or '<f4', which holds at least one
/// value, no more lines than `axes` allows, and which is as long as the header says.
[[nodiscard]] NpyHeader open_npy(const std::filesystem::path& file, std::ifstream& in,
                                 NpyAxes axes = NpyAxes::frames);

/// The frames of each line of an opened file. Throws FileError if they can't be read.
[[nodiscard]] std::vector<std::variant<FrameMatrix<std::int16_t>, FrameMatrix<float>>>
read_npy_lines(std::istream& in, const NpyHeader& header, const std::filesystem::path& file);

/// Writes the samples of two lines or more, all of one type and size, as (lines, frames, samples).
void write_npy_lines(const std::filesystem::path& file, std::span<const Recording> lines);

/// Throws FileError for a value that is not finite. `first` is the number of the first frame,
/// `of` what to say of whose it is.
void require_finite(const FrameMatrix<float>& samples, std::size_t first,
                    const std::filesystem::path& file, const std::string& of = "");

}  // namespace echosieve::detail
