// What track_artery does between its command line and its files.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "echosieve/motion/track_artery.hpp"

namespace track_artery {

struct Job {
    std::filesystem::path samples;
    std::filesystem::path meta;
    std::filesystem::path folder;
    echosieve::TrackOptions options;
    std::optional<double> pulse_delay;  // instead of the recording's [s]
    std::string smoothing;
    bool pictures = true;
    bool wall_echoes = true;
    double block =
        -1;  // length of a block [s]; 0: the whole at once; below 0: blocks if it is long
};

/// Recordings up to this length are followed as a whole, longer ones in blocks [s].
inline constexpr double longest_whole = 10;

/// Reads, tracks, writes; returns the exit status: 0 if both walls were followed, 2 if not. Results
/// of an earlier run in the folder are removed first, so that they can't be taken for this run's.
/// Throws what the library throws.
int run(const Job& job, const char* notice);

}  // namespace track_artery
