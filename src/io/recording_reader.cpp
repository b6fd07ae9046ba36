#include "echosieve/io/recording_file.hpp"

#include <algorithm>
#include <exception>
#include <string>
#include <utility>
#include <vector>

#include "echosieve/io/files.hpp"
#include "memory.hpp"
#include "npy_open.hpp"

namespace echosieve {

RecordingReader::RecordingReader(const std::filesystem::path& samples,
                                 const std::filesystem::path& settings)
    : file_(samples) {
    const detail::NpyHeader header = detail::open_npy(file_, in_);
    settings_ = read_settings(settings);
    frames_ = header.rows;
    samples_ = header.columns;
    float_ = header.descr == "<f4";
}

RecordingReader::RecordingReader(const std::filesystem::path& samples)
    : RecordingReader(samples, settings_path(samples)) {}

template <class T>
FrameMatrix<T> RecordingReader::read_frames(std::size_t count) {
    detail::require_memory(static_cast<double>(count) * static_cast<double>(samples_) * sizeof(T),
                           file_);
    std::vector<T> values;
    try {
        values.resize(count * samples_);
    } catch (const std::exception&) {  // bad_alloc or length_error
        throw FileError(file_, std::to_string(count) + " frames of " + std::to_string(samples_) +
                                   " samples don't fit into memory");
    }
    in_.read(reinterpret_cast<char*>(values.data()),
             static_cast<std::streamsize>(values.size() * sizeof(T)));
    if (!in_) {
        throw FileError(file_, "can't be read on from frame " + std::to_string(position_));
    }
    position_ += count;
    return {std::move(values), count, samples_};
}

std::variant<FrameMatrix<std::int16_t>, FrameMatrix<float>> RecordingReader::read(
    std::size_t count) {
    count = std::min(count, frames_ - position_);
    if (!float_) {
        return read_frames<std::int16_t>(count);
    }
    const std::size_t first = position_;
    FrameMatrix<float> frames = read_frames<float>(count);
    detail::require_finite(frames, first, file_);
    return frames;
}

}  // namespace echosieve
