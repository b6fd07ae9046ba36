// track_artery: finds the artery in a recording and follows both walls, with no hand work.
#include <filesystem>
#include <string>

#include "echosieve/io/recording_file.hpp"
#include "support/command_line.hpp"
#include "support/tracking.hpp"
#include "support/tracking_options.hpp"

int main(int argc, char** argv) {
    examples::CommandLine line(
        "track_artery",
        "Finds the artery in a recording NAME.npy (settings in NAME.json) and follows both "
        "walls.\nWrites motion.csv, summary.json, wall_echoes.npy and pictures; of a recording "
        "followed in blocks motion.csv, blocks.csv, summary.json and pictures.");
    examples::TrackingJob job;
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
    examples::add_tracking(app, job.run);
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
        return examples::track(job);
    });
}
