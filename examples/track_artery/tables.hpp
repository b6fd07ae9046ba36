// What both ways of tracking write alike.
#pragma once

#include <filesystem>
#include <nlohmann/json_fwd.hpp>

#include "echosieve/core/recording.hpp"
#include "echosieve/io/csv.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "outputs.hpp"

namespace track_artery {

/// Makes the folder, and removes the results of an earlier run from it.
void prepare_folder(const std::filesystem::path& folder);

/// motion.csv, empty.
[[nodiscard]] echosieve::CsvWriter motion_table(const std::filesystem::path& file);
void write_frame(const echosieve::FrameMotion& motion, echosieve::CsvWriter& table);

/// Parts of summary.json.
[[nodiscard]] nlohmann::ordered_json settings_json(const echosieve::RecordingSettings& settings);
[[nodiscard]] nlohmann::ordered_json options_json(const Job& job);

}  // namespace track_artery
