// track_artery: finds the artery in a recording and follows both walls, with no hand work.
#include "echosieve/motion/track_artery.hpp"

#include <CLI/CLI.hpp>
#include <array>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "echosieve/io/recording_file.hpp"
#include "track_artery/outputs.hpp"

namespace {

constexpr const char* notice = "Research use: not a medical device, not for diagnosis.";

echosieve::Smoothing chosen_smoothing(const std::string& name, double milliseconds, int frames) {
    if (name == "none") {
        return echosieve::NoSmoothing{};
    }
    if (name == "average") {
        return echosieve::MovingAverage{frames};
    }
    return echosieve::GaussianSmoothing{milliseconds * 1e-3};
}

// Where the user says that a wall is.
struct WallPlace {
    std::vector<double> range;    // [m]
    std::optional<double> start;  // [m]

    [[nodiscard]] echosieve::DepthRange depths() const {
        if (start) {
            constexpr double reach = 1e-3;  // [m]
            return {*start - reach, *start + reach};
        }
        return range.empty() ? echosieve::DepthRange{} : echosieve::DepthRange{range[0], range[1]};
    }
};

}  // namespace

int main(int argc, char** argv) {
    CLI::App app{
        std::string(
            "Finds the artery in a recording NAME.npy (settings in NAME.json) and follows both "
            "walls.\nWrites motion.csv, summary.json, wall_echoes.npy and pictures; of a recording "
            "followed in blocks motion.csv, blocks.csv and summary.json.\n") +
        notice};
    std::string samples;
    std::string meta;
    std::string out;
    std::string smoothing = "none";
    std::string layer = "outer";
    double smoothing_time = 3;
    int smoothing_frames = 30;
    std::optional<double> pulse_delay;
    bool no_pulse_delay = false;
    double block = -1;
    bool no_pictures = false;
    bool no_echoes = false;
    echosieve::TrackOptions options;
    app.add_option("NAME.npy", samples, "Recording: frames x samples, int16 or float32")
        ->required();
    app.add_option("--meta", meta, "Settings of the recording [NAME.json]");
    app.add_option("--out", out, "Folder for the results [NAME_motion]");
    app.add_option(
           "--smoothing", smoothing,
           "Along frames: none (the fit is smooth already), a Gaussian, or a moving average")
        ->check(CLI::IsMember({"none", "gaussian", "average"}))
        ->capture_default_str();
    app.add_option("--smoothing-time", smoothing_time, "Standard deviation of the Gaussian [ms]")
        ->capture_default_str();
    app.add_option("--smoothing-frames", smoothing_frames, "Length of the moving average [frames]")
        ->capture_default_str();
    app.add_option("--atoms", options.echoes.atoms, "Echoes per wall, at most")
        ->capture_default_str();
    app.add_option("--layer", layer, "Layer of the walls that is followed")
        ->check(CLI::IsMember({"outer", "inner"}))
        ->capture_default_str();
    app.add_option("--least-correlation", options.least_correlation,
                   "Of a frame's wall with its echo; a frame below it is not valid")
        ->capture_default_str();
    app.add_option("--dead-zone", options.walls.dead_zone,
                   "No wall above this depth under the first sample [m]")
        ->capture_default_str();
    std::array<WallPlace, 2> places;
    for (const bool far : {false, true}) {
        const std::string wall = far ? "far" : "near";
        WallPlace& place = places[far ? 1 : 0];
        auto* range = app.add_option("--" + wall + "-range", place.range,
                                     "Depths that the " + wall + " wall is looked for in [m]")
                          ->expected(2);
        app.add_option("--" + wall + "-start", place.start,
                       "Depth of the " + wall + " wall, known to 1 mm [m]")
            ->excludes(range);
    }
    app.add_option("--pulse-delay", pulse_delay,
                   "From an echo's arrival to its envelope's peak, instead of the settings' [s]");
    app.add_flag("--no-pulse-delay", no_pulse_delay,
                 "Where the delay is not given, take it for 0: no estimate");
    app.add_option("--block", block,
                   "Length of the blocks that a long recording is followed in [s]; 0: all at once "
                   "[4 if it is longer than 10 s]")
        ->check(CLI::NonNegativeNumber);
    app.add_flag("--no-pictures", no_pictures, "Draw no pictures");
    app.add_flag("--no-wall-echoes", no_echoes, "Write no wall_echoes.npy");
    CLI11_PARSE(app, argc, argv);

    try {
        options.smoothing = chosen_smoothing(smoothing, smoothing_time, smoothing_frames);
        options.separation.reference.layer =
            layer == "outer" ? echosieve::WallLayer::outer : echosieve::WallLayer::inner;
        options.walls.near_range = places[0].depths();
        options.walls.far_range = places[1].depths();
        track_artery::Job job;
        job.samples = samples;
        job.meta =
            meta.empty() ? echosieve::settings_path(job.samples) : std::filesystem::path(meta);
        job.folder = out.empty()
                         ? std::filesystem::path(samples).replace_extension().concat("_motion")
                         : std::filesystem::path(out);
        options.pulse.estimate = !no_pulse_delay;
        job.options = options;
        job.pulse_delay = pulse_delay;
        job.smoothing = smoothing;
        job.block = block;
        job.pictures = !no_pictures;
        job.wall_echoes = !no_echoes;
        return track_artery::run(job, notice);
    } catch (const std::exception& problem) {
        std::fprintf(stderr, "track_artery: %s\n", problem.what());
        return 1;
    }
}
