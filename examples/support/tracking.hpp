// An artery followed through a recording: what is asked for, what is found, and what is made of it.
#pragma once

#include <cmath>
#include <cstddef>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "echosieve/core/recording.hpp"
#include "echosieve/io/recording_file.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/pulse_delay.hpp"
#include "support/option_json.hpp"
#include "support/results.hpp"
#include "support/warnings.hpp"

namespace examples {

/// What a user asks for.
struct TrackingJob {
    std::filesystem::path samples;
    std::vector<std::filesystem::path> more{};  ///< files of further lines over the same artery
    std::filesystem::path meta;                 ///< of the first file
    std::filesystem::path settings;             ///< an earlier run's summary, or empty
    std::filesystem::path folder;
    RunOptions run;
    bool pictures = true;
    bool wall_echoes = true;
    std::size_t threads = 1;  ///< that share several lines
};

/// All files with samples, a line each, or one.
[[nodiscard]] std::vector<std::filesystem::path> files_of(const TrackingJob& job);

/// What is known of all frames without keeping them. Only valid ones count for the diameter and the
/// standard deviations.
struct FrameTotals {
    std::size_t frames = 0;
    std::size_t valid = 0;
    double diameter = 0;  ///< sum [m]
    double smallest = INFINITY;
    double largest = -INFINITY;
    double near_std = 0;  ///< sum [m]
    double far_std = 0;

    void add(const echosieve::FrameMotion& motion);
    /// Of a sum.
    [[nodiscard]] double mean(double sum) const { return sum / static_cast<double>(valid); }
};

/// What came of it.
struct Findings {
    echosieve::RecordingSettings settings;
    echosieve::TrackStatus status = echosieve::TrackStatus::not_run;
    bool walls = false;  ///< there is a motion.csv
    FrameTotals totals;
    echosieve::PulseDelay pulse_delay;
    std::vector<std::string> warnings;
    double trust = 1;
    double seconds = 0;                                                 ///< that the tracking took
    std::string flaws;                                                  ///< of frames, in words
    std::vector<std::string> pictures;                                  ///< drawn
    std::string remarks;                                                ///< lines for the user
    nlohmann::ordered_json details = nlohmann::ordered_json::object();  ///< for summary.json

    [[nodiscard]] bool usable() const { return status == echosieve::TrackStatus::tracked; }
};

/// Recordings up to this length are followed as a whole, longer ones in blocks [s].
inline constexpr double longest_whole = 10;

/// Whether pictures are asked for and can be drawn; says so on standard error if they can't.
[[nodiscard]] bool wants_pictures(const TrackingJob& job);

/// Reads, tracks, writes motion.csv, wall_echoes.npy and the pictures, or without walls the picture
/// that says why. Throws what the library throws, as all of these do.
[[nodiscard]] Findings track_whole(const TrackingJob& job, Results& results, Warnings& warnings);

/// The same in blocks, read piece by piece: writes motion.csv, blocks.csv and pictures.
[[nodiscard]] Findings track_by_blocks(const TrackingJob& job, echosieve::RecordingReader& reader,
                                       Results& results, Warnings& warnings);

/// Several lines as a whole: writes motion.csv of the artery and motion_line_K.csv of each line,
/// and wall_echoes.npy and the pictures of one line, beside a picture of all.
[[nodiscard]] Findings track_several(const TrackingJob& job, Results& results, Warnings& warnings);

/// Tracks, one way or the other, and returns the exit status: 0 if both walls were followed, 2 if
/// not. Files of the recording are never replaced. The results appear together when all are whole,
/// summary.json last; where no walls were found and an earlier run's motion.csv stands in the
/// folder, that run's results stay as they are, and summary and picture are written beside them.
[[nodiscard]] int track(const TrackingJob& job);

}  // namespace examples
