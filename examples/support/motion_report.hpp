// What is said of a motion: its tables, its part of summary.json, lines for the user.
#pragma once

#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "echosieve/core/recording.hpp"
#include "echosieve/motion/artery_motion.hpp"

namespace examples {

/// motion.csv. Throws FileError if it can't be written, as write_wall_echoes does.
void write_motion(const std::vector<echosieve::FrameMotion>& frames,
                  const std::filesystem::path& file);

/// wall_echoes.npy: the wall echoes alone, as real samples on the recording's own grid.
void write_wall_echoes(const echosieve::ArteryMotion& motion, const echosieve::Recording& recording,
                       const std::filesystem::path& file);

/// Frames that were not as they should be.
[[nodiscard]] nlohmann::ordered_json flaws_json(const echosieve::ArteryMotion& motion);

/// Both walls, what speaks against each, and the less sure one.
[[nodiscard]] nlohmann::ordered_json walls_json(const echosieve::ArteryMotion& motion);

/// Each wall, what speaks against it, and which one is the likelier to be wrong.
[[nodiscard]] std::string remarks_on(const echosieve::ArteryMotion& motion);

/// What speaks against the walls, a line each; `where` says of which walls: "" or " of line 2".
[[nodiscard]] std::string doubts_in_words(const echosieve::ArteryMotion& motion,
                                          const std::string& where);

}  // namespace examples
