// What both ways of tracking write alike.
#pragma once

#include <filesystem>
#include <nlohmann/json_fwd.hpp>

#include "echosieve/core/recording.hpp"
#include "echosieve/io/csv.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/pulse_delay.hpp"
#include "outputs.hpp"
#include "support/results.hpp"

namespace track_artery {

/// motion.csv, empty.
[[nodiscard]] echosieve::CsvWriter motion_table(const std::filesystem::path& file);
void write_frame(const echosieve::FrameMotion& motion, echosieve::CsvWriter& table);

/// What summary.json starts with: of the program, the recording and its settings.
[[nodiscard]] nlohmann::ordered_json summary_head(const Job& job,
                                                  const echosieve::RecordingSettings& settings);

/// What has been taken off all depths.
[[nodiscard]] nlohmann::ordered_json pulse_delay_json(const echosieve::PulseDelay& pulse);
void print_pulse_delay(const echosieve::PulseDelay& pulse,
                       const echosieve::RecordingSettings& settings);

/// Puts the results in place, with the summary; what is said in run() where none were followed.
void put_in_place(const Job& job, examples::Results& results, const nlohmann::ordered_json& summary,
                  bool followed);

}  // namespace track_artery
