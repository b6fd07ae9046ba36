// Options of following an artery as JSON: those that differ from their defaults, by name.
#pragma once

#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <optional>

#include "echosieve/motion/block_motion.hpp"

namespace examples {

/// What reproduces a run, beside the recording and its settings.
struct RunOptions {
    echosieve::BlockOptions options;      ///< options.track is all that counts unless in blocks
    std::optional<bool> in_blocks{};      ///< nothing: by the recording's length
    std::optional<double> pulse_delay{};  ///< instead of the recording's [s]
};

/// Of the text that write_run() makes; another one is another number.
inline constexpr int run_format = 2;

/// Adds program, version, format and options to an object.
void write_run(const RunOptions& run, nlohmann::ordered_json& object);

/// Reads what write_run() wrote to a file, whatever else is there. Throws FileError, naming file,
/// option and value, for another format, options that are unknown or of the wrong type; their
/// domain is the tracking's to check.
[[nodiscard]] RunOptions read_run(const std::filesystem::path& file);

}  // namespace examples
