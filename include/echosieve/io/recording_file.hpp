// Recordings as files: NAME.npy with the samples, NAME.json with the settings.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/io/file_error.hpp"

namespace echosieve {

/// NAME.json for NAME.npy.
[[nodiscard]] ECHOSIEVE_API std::filesystem::path settings_path(
    const std::filesystem::path& samples);

/// Reads the settings: an object with the numbers sampling_rate, frame_rate, start_time,
/// centre_frequency, bandwidth and sound_speed, and pulse_delay if it is known, all SI; other
/// fields are ignored, see unknown_settings(). Throws FileError, naming file, field and value, if
/// one of the six is missing, or a field is there twice, not a number or outside its domain (see
/// validate(RecordingSettings)), and for a file longer than 1 MiB or nested deeper than 16 levels.
[[nodiscard]] ECHOSIEVE_API RecordingSettings read_settings(const std::filesystem::path& file);

/// The fields that read_settings ignores, by name: other programs' own, or misspelt. Throws
/// FileError as read_settings does.
[[nodiscard]] ECHOSIEVE_API std::vector<std::string> unknown_settings(
    const std::filesystem::path& file);

/// Reads NAME.npy and its settings. Throws FileError as read_npy and read_settings do, and for
/// samples that are not finite.
[[nodiscard]] ECHOSIEVE_API Recording read_recording(const std::filesystem::path& samples,
                                                     const std::filesystem::path& settings);
[[nodiscard]] ECHOSIEVE_API Recording read_recording(const std::filesystem::path& samples);

/// Writes both files, both or none (see FileSet). Throws FileError if that fails, and, like
/// InvalidInput, for what read_recording would not read back: settings outside their domain, no
/// frames, samples that are not finite, a name that ends in .json.
ECHOSIEVE_API void write_recording(const Recording& recording,
                                   const std::filesystem::path& samples);

}  // namespace echosieve
