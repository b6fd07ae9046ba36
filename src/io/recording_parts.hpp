// What the files of one line and those of several have in common.
#pragma once

#include <filesystem>
#include <functional>
#include <span>
#include <string>
#include <vector>

#include "echosieve/core/recording.hpp"

namespace echosieve::detail {

/// The settings' fields with the lines' positions along the vessel, and across it [m].
inline constexpr const char* positions_field = "line_positions";
inline constexpr const char* offsets_field = "line_offsets";

/// The places in such a field of a settings file; none if it does not give any. Throws FileError,
/// naming file, field and value, for what is no array of finite numbers within furthest_line.
[[nodiscard]] std::vector<double> read_places(const std::filesystem::path& settings,
                                              const char* field);

/// The text of a settings file.
[[nodiscard]] std::string settings_text(const RecordingSettings& settings,
                                        std::span<const double> positions = {},
                                        std::span<const double> offsets = {});

/// Throws InvalidInput or FileError for samples that would not be read back: none, or not finite.
/// `of` as in require_finite.
void require_samples(const Recording& recording, const std::filesystem::path& samples,
                     const std::string& of = "");

/// Writes the samples by `write(file)`, and `text` to the settings beside them: both or none.
/// Throws FileError if that fails, and for samples under the settings' name.
void write_both(const std::filesystem::path& samples, const std::filesystem::path& settings,
                const std::string& text,
                const std::function<void(const std::filesystem::path&)>& write);

}  // namespace echosieve::detail
