// The tables of motion, of blocks and of truth: what stands in which column.
#pragma once

#include <filesystem>
#include <vector>

#include "echosieve/io/csv.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/block_motion.hpp"
#include "echosieve/synthesis/render.hpp"
#include "support/score.hpp"

namespace examples {

/// motion.csv, empty.
[[nodiscard]] echosieve::CsvWriter motion_table(const std::filesystem::path& file);
/// Whether the file is such a table, by its first line.
[[nodiscard]] bool is_motion_table(const std::filesystem::path& file);
void write_frame(const echosieve::FrameMotion& motion, echosieve::CsvWriter& table);

/// blocks.csv.
void write_blocks(const std::vector<echosieve::BlockRecord>& blocks,
                  const std::filesystem::path& file);

/// NAME.truth.csv.
void write_truth(const echosieve::Truth& truth, const std::filesystem::path& file);
/// NAME.beats.csv.
void write_beats(const echosieve::Truth& truth, const std::filesystem::path& file);

/// A motion and the truth of the same frames.
struct MotionAndTruth {
    MeasuredWalls motion;
    echosieve::Truth truth;  ///< walls and dropped frames
};

/// Reads motion.csv and NAME.truth.csv. Throws FileError, naming row and field, for anything that
/// those do not hold, and unless their frames are the same and one is
/// valid that was not dropped.
[[nodiscard]] MotionAndTruth read_motion_and_truth(const std::filesystem::path& motion,
                                                   const std::filesystem::path& truth);

}  // namespace examples
