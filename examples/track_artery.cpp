// track_artery: finds the artery in a recording and follows both walls, with no hand work.
#include <filesystem>
#include <string>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/io/recording_file.hpp"
#include "support/command_line.hpp"
#include "support/options.hpp"
#include "support/parallel.hpp"
#include "support/tracking.hpp"
#include "support/tracking_options.hpp"

int main(int argc, char** argv) {
    examples::CommandLine line(
        "track_artery",
        "Finds the artery in a recording NAME.npy (settings in NAME.json) and follows both "
        "walls.\nWrites motion.csv, summary.json, wall_echoes.npy and pictures; of a recording "
        "followed in blocks motion.csv, blocks.csv, summary.json and pictures.\n"
        "The same artery in several lines of sight, recorded together, in one file of lines x "
        "frames x samples or a file each, 10 s at most: motion.csv is their weighted mean, "
        "motion_line_K.csv line K's, lines.png shows all, and summary.json has each line's delay "
        "and where they lie on the vessel. What concerns several lines alone has its default.");
    examples::TrackingJob job;
    std::vector<std::string> samples;
    std::string meta, out;
    bool no_pictures = false, no_wall_echoes = false;
    CLI::App& app = line.app();
    app.add_option("NAME.npy", samples,
                   "Recording: frames x samples, int16 or float32; or lines x frames x samples; "
                   "or a file for each of several lines")
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
    examples::add_count(app, "--threads", job.threads, {.most = examples::most_threads},
                        "That share several lines; the results don't depend on it");
    app.add_flag("--no-pictures", no_pictures, "Draw no pictures");
    app.add_flag("--no-wall-echoes", no_wall_echoes, "Write no wall_echoes.npy");
    return line.run(argc, argv, [&] {
        const std::filesystem::path name = samples.front();
        job.samples = name;
        job.more.assign(samples.begin() + 1, samples.end());
        if (!job.more.empty() && !meta.empty()) {
            throw echosieve::InvalidInput(
                "--meta names the settings of one file; those of several stand beside each");
        }
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
