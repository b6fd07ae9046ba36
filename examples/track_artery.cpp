// track_artery: finds the artery in a recording and follows both walls, with no hand work.
#include "echosieve/motion/track_artery.hpp"

#include <cstdint>
#include <filesystem>
#include <string>
#include <variant>

#include "echosieve/core/error.hpp"
#include "echosieve/io/recording_file.hpp"
#include "support/command_line.hpp"
#include "support/options.hpp"
#include "support/tracking_options.hpp"
#include "track_artery/outputs.hpp"

namespace {

void add_smoothing(CLI::App& app, echosieve::Smoothing& smoothing) {
    app.add_option_function<std::string>(
           "--smoothing",
           [&smoothing](const std::string& kind) {
               smoothing = kind == "none"      ? echosieve::Smoothing{echosieve::NoSmoothing{}}
                           : kind == "average" ? echosieve::Smoothing{echosieve::MovingAverage{}}
                                               : echosieve::GaussianSmoothing{};
           },
           "Along frames: none (the fit is smooth already), a Gaussian, or a moving average")
        ->check(CLI::IsMember({"none", "gaussian", "average"}))
        ->default_str("none");
    examples::add_number(
        app, "--smoothing-time",
        [&smoothing](double milliseconds) {
            auto* gaussian = std::get_if<echosieve::GaussianSmoothing>(&smoothing);
            echosieve::require(gaussian != nullptr, "--smoothing-time", milliseconds,
                               "needs --smoothing gaussian");
            echosieve::require(milliseconds >= 0 && milliseconds <= track_artery::longest_smoothing,
                               "--smoothing-time", milliseconds,
                               echosieve::detail::concatenate(
                                   "must lie in [0, ", track_artery::longest_smoothing, "] [ms]"));
            gaussian->sigma = milliseconds * 1e-3;
        },
        "Standard deviation of the Gaussian [ms]")
        ->default_str("3");
    examples::add_count(
        app, "--smoothing-frames",
        [&smoothing](std::uint64_t frames) {
            auto* average = std::get_if<echosieve::MovingAverage>(&smoothing);
            echosieve::require(average != nullptr, "--smoothing-frames", frames,
                               "needs --smoothing average");
            average->frames = static_cast<decltype(average->frames)>(frames);
        },
        {.least = 1, .most = track_artery::most_smoothing_frames},
        "Length of the moving average [frames]")
        ->default_str("30");
}

// Where the user says that a wall is.
void add_place(CLI::App& app, const std::string& wall, echosieve::DepthRange& range) {
    auto* depths = examples::add_range(app, "--" + wall + "-range", range,
                                       "Depths that the " + wall + " wall is looked for in [m]");
    examples::add_number(
        app, "--" + wall + "-start",
        [&range](double depth) {
            constexpr double reach = 1e-3;  // [m]
            range = {depth - reach, depth + reach};
        },
        "Depth of the " + wall + " wall, known to 1 mm [m]")
        ->excludes(depths);
}

void add_tracking(CLI::App& app, examples::RunOptions& run) {
    echosieve::TrackOptions& options = run.options.track;
    add_smoothing(app, options.smoothing);
    // A wall of more echoes than this is no wall, and each costs a pursuit's step.
    examples::add_count(app, "--atoms", options.echoes.atoms, {.least = 1, .most = 64},
                        "Echoes per wall, at most");
    app.add_option_function<std::string>(
           "--layer",
           [&options](const std::string& layer) {
               options.separation.reference.layer =
                   layer == "outer" ? echosieve::WallLayer::outer : echosieve::WallLayer::inner;
           },
           "Layer of the walls that is followed")
        ->check(CLI::IsMember({"outer", "inner"}))
        ->default_str("outer");
    examples::add_number(app, "--least-correlation", options.least_correlation,
                         "Of a frame's wall with its echo; a frame below it is not valid");
    examples::add_number(app, "--dead-zone", options.walls.dead_zone,
                         "No wall above this depth under the first sample [m]");
    add_place(app, "near", options.walls.near_range);
    add_place(app, "far", options.walls.far_range);
    examples::add_pulse_delay(app, run.pulse_delay, options.pulse);
}

void add_block(CLI::App& app, examples::RunOptions& run) {
    examples::add_number(
        app, "--block",
        [&run](double length) {
            echosieve::require(length >= 0, "--block", length, "must be zero or more [s]");
            run.in_blocks = length > 0;
            if (length > 0) {
                examples::set_block_length(run.options, length);
            }
        },
        "Length of the blocks that a long recording is followed in [s]; 0: all at once "
        "[4 if it is longer than 10 s]");
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line(
        "track_artery",
        "Finds the artery in a recording NAME.npy (settings in NAME.json) and follows both "
        "walls.\nWrites motion.csv, summary.json, wall_echoes.npy and pictures; of a recording "
        "followed in blocks motion.csv, blocks.csv and summary.json.");
    track_artery::Job job;
    std::string samples, meta, out;
    bool no_pictures = false, no_wall_echoes = false;
    CLI::App& app = line.app();
    app.add_option("NAME.npy", samples, "Recording: frames x samples, int16 or float32")
        ->required();
    app.add_option("--meta", meta, "Settings of the recording [NAME.json]");
    app.add_option("--out", out, "Folder for the results [NAME_motion]");
    // Before all that it holds: what stands on the command line counts more.
    app.add_option_function<std::string>(
        "--settings",
        [&job](const std::string& file) {
            job.settings = file;
            job.run = examples::read_run(file);
        },
        "Options of an earlier run, from its summary.json; those given beside it count more");
    add_tracking(app, job.run);
    add_block(app, job.run);
    app.add_flag("--no-pictures", no_pictures, "Draw no pictures");
    app.add_flag("--no-wall-echoes", no_wall_echoes, "Write no wall_echoes.npy");
    return line.run(argc, argv, [&] {
        const std::filesystem::path name = samples;
        job.samples = name;
        job.meta = meta.empty() ? echosieve::settings_path(name) : std::filesystem::path(meta);
        job.folder = out;
        if (out.empty()) {
            job.folder = std::filesystem::path(name).replace_extension().concat("_motion");
        }
        job.pictures = !no_pictures;
        job.wall_echoes = !no_wall_echoes;
        return track_artery::run(job);
    });
}
