// What track_artery does between its command line and its files.
#pragma once

#include <cstdint>
#include <filesystem>

#include "echosieve/motion/track_artery.hpp"
#include "support/option_json.hpp"

namespace track_artery {

struct Job {
    std::filesystem::path samples;
    std::filesystem::path meta;
    std::filesystem::path settings;  // an earlier run's summary, or empty
    std::filesystem::path folder;
    examples::RunOptions run;
    bool pictures = true;
    bool wall_echoes = true;
};

/// Recordings up to this length are followed as a whole, longer ones in blocks [s].
inline constexpr double longest_whole = 10;

/// Nothing of a pulse is left by longer smoothing, whatever the frame rate.
inline constexpr std::uint64_t most_smoothing_frames = 100000;
inline constexpr double longest_smoothing = 10000;  ///< [ms]

/// Reads, tracks, writes; returns the exit status: 0 if both walls were followed, 2 if not. Files
/// of the recording are never replaced. The results appear together when all are whole,
/// summary.json last; where no walls were found and an earlier run's motion.csv stands in the
/// folder, that run's results stay as they are, and the summary is written beside them. Throws what
/// the library throws.
int run(const Job& job);

}  // namespace track_artery
