// A recording read from its file piece by piece: for those that fit no memory.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <variant>

#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/io/file_error.hpp"

namespace echosieve {

/// Reads NAME.npy from its first frame to its last, as many frames at a time as asked for.
class RecordingReader {
public:
    /// Opens NAME.npy and reads its settings. Throws FileError as read_recording does, but for
    /// samples that are not finite: those are found when they are read.
    ECHOSIEVE_API RecordingReader(const std::filesystem::path& samples,
                                  const std::filesystem::path& settings);
    ECHOSIEVE_API explicit RecordingReader(const std::filesystem::path& samples);

    /// The next frames, `count` of them at most; none after the last. Throws FileError if they
    /// can't be read, or hold samples that are not finite: then those after them are the next.
    [[nodiscard]] ECHOSIEVE_API std::variant<FrameMatrix<std::int16_t>, FrameMatrix<float>> read(
        std::size_t count);

    [[nodiscard]] const RecordingSettings& settings() const noexcept { return settings_; }
    /// Of the whole file.
    [[nodiscard]] std::size_t frames() const noexcept { return frames_; }
    [[nodiscard]] std::size_t samples() const noexcept { return samples_; }
    [[nodiscard]] bool stores_float() const noexcept { return float_; }
    /// Frames read so far.
    [[nodiscard]] std::size_t position() const noexcept { return position_; }
    /// Length of the whole file [s].
    [[nodiscard]] double duration() const noexcept {
        return static_cast<double>(frames_) / settings_.frame_rate;
    }

private:
    template <class T>
    [[nodiscard]] FrameMatrix<T> read_frames(std::size_t count);

    std::filesystem::path file_;
    std::ifstream in_;
    RecordingSettings settings_;
    std::size_t frames_ = 0;
    std::size_t samples_ = 0;
    std::size_t position_ = 0;
    bool float_ = false;
};

}  // namespace echosieve
