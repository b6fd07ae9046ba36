// Recordings as files: NAME.npy with the samples, NAME.json with the settings; whole, or piece
// by piece. Compiled: link echosieve::io.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/recorded_lines.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/io/files.hpp"

namespace echosieve {

/// NAME.json for NAME.npy.
[[nodiscard]] ECHOSIEVE_API std::filesystem::path settings_path(
    const std::filesystem::path& samples);

/// Reads the settings: an object with the numbers sampling_rate, frame_rate, start_time,
/// centre_frequency, bandwidth and sound_speed, and pulse_delay, sensor_width and sensor_length if
/// they are known, all SI; other fields are ignored, see unknown_settings(), and line_positions and
/// line_offsets are read_lines'. Throws FileError,
/// naming file, field and value, if one of the six is missing, or a field is there twice, not a
/// number or outside its domain (see validate(RecordingSettings)), and for a file longer than 1 MiB
/// or nested deeper than 16 levels.
[[nodiscard]] ECHOSIEVE_API RecordingSettings read_settings(const std::filesystem::path& file);

/// The fields that read_settings ignores, by name: other programs' own, or misspelt. Throws
/// FileError as read_settings does.
[[nodiscard]] ECHOSIEVE_API std::vector<std::string> unknown_settings(
    const std::filesystem::path& file);

/// Reads NAME.npy and its settings: one line, see read_lines for several. Throws FileError as
/// read_npy and read_settings do, and for samples that are not finite.
[[nodiscard]] ECHOSIEVE_API Recording read_recording(const std::filesystem::path& samples,
                                                     const std::filesystem::path& settings);
[[nodiscard]] ECHOSIEVE_API Recording read_recording(const std::filesystem::path& samples);

/// Writes both files, both or none (see FileSet). Throws FileError if that fails, and, like
/// InvalidInput, for what read_recording would not read back: settings outside their domain, no
/// frames, samples that are not finite, a name that ends in .json.
ECHOSIEVE_API void write_recording(const Recording& recording,
                                   const std::filesystem::path& samples);

/// What NAME.npy holds, by its header.
struct RecordingShape {
    std::optional<std::size_t> lines;  ///< of three axes; none: of two, one line
    std::size_t frames = 0;
    std::size_t samples = 0;
};

/// Throws FileError as read_lines does, but looks at header and length alone.
[[nodiscard]] ECHOSIEVE_API RecordingShape recording_shape(const std::filesystem::path& samples);

/// Reads several lines of one clock: NAME.npy of (lines, frames, samples), or of (frames, samples),
/// one line; and NAME.json, whose settings are all lines', with line_positions along the vessel and
/// line_offsets across it, a number a line [m], where they are known. Throws FileError as
/// read_recording does, for more than most_lines lines, and for positions or offsets that are not
/// one a line, before memory is spent on samples.
[[nodiscard]] ECHOSIEVE_API RecordedLines read_lines(const std::filesystem::path& samples,
                                                     const std::filesystem::path& settings);
[[nodiscard]] ECHOSIEVE_API RecordedLines read_lines(const std::filesystem::path& samples);

/// Reads several lines of one clock, a recording each, whose line_positions and line_offsets then
/// hold one number.
/// Throws FileError as read_recording does, and for files that differ in what lines must have in
/// common (see validate(RecordedLines)), before memory is spent on samples; InvalidInput for no
/// files or more than most_lines.
[[nodiscard]] ECHOSIEVE_API RecordedLines read_lines(std::span<const std::filesystem::path> files);

/// Writes lines as read_lines reads them back: one as (frames, samples). Throws as write_recording
/// does, and InvalidInput for what a single file can't hold: lines that start at different times,
/// or whose samples are of different types.
ECHOSIEVE_API void write_lines(const RecordedLines& lines, const std::filesystem::path& samples);

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
