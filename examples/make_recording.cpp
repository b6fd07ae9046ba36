// make_recording: writes a synthetic recording with known truth.
#include <CLI/CLI.hpp>
#include <cstdint>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <string>

#include "echosieve/io/csv.hpp"
#include "echosieve/io/recording_file.hpp"
#include "echosieve/synthesis/render.hpp"
#include "support/progress.hpp"

namespace {

std::filesystem::path beside(const std::filesystem::path& file, const char* ending) {
    std::filesystem::path path = file;
    return path.replace_extension(ending);
}

void write_truth(const echosieve::Truth& truth, const std::filesystem::path& file) {
    echosieve::CsvWriter walls(beside(file, ".truth.csv"), {{"time_s", 6},
                                                            {"near_inner_m", 9},
                                                            {"near_outer_m", 9},
                                                            {"far_inner_m", 9},
                                                            {"far_outer_m", 9},
                                                            {"dropped", 0}});
    for (std::size_t i = 0; i < truth.times.size(); ++i) {
        const echosieve::WallDepths& w = truth.walls[i];
        walls.row({truth.times[i], w.near_inner, w.near_outer, w.far_inner, w.far_outer,
                   truth.dropped[i] ? 1.0 : 0.0});
    }
    walls.commit();
    echosieve::CsvWriter beats(beside(file, ".beats.csv"), {{"onset_s", 4}});
    for (const double onset : truth.onsets) {
        beats.row({onset});
    }
    beats.commit();
}

}  // namespace

int main(int argc, char** argv) {
    CLI::App app{
        "Writes a synthetic recording of an artery between two layers of tissue, with known truth: "
        "NAME.npy, NAME.json, NAME.truth.csv and NAME.beats.csv.\n"
        "Research use: not a medical device, not for diagnosis."};
    std::string name;
    std::uint64_t seed = 1;
    bool as_float = false;
    double heart_rate = 66;
    std::string drop_kind = "zeros";
    echosieve::SceneOptions scene;
    echosieve::RenderOptions render;
    double start_depth = scene.settings.depth(scene.settings.start_time);
    app.add_option("NAME.npy", name, "File to write")->required();
    app.add_option("--seed", seed, "Seed of everything random")->capture_default_str();
    app.add_option("--seconds", scene.duration, "Length [s]")->capture_default_str();
    app.add_option("--centre-frequency", scene.settings.sensor.centre_frequency, "[Hz]")
        ->capture_default_str();
    app.add_option("--bandwidth", scene.settings.sensor.bandwidth, "-6 dB, full width [Hz]")
        ->capture_default_str();
    app.add_option("--sampling-rate", scene.settings.sampling_rate, "[Hz]")->capture_default_str();
    app.add_option("--frame-rate", scene.settings.frame_rate, "[Hz]")->capture_default_str();
    app.add_option("--start-depth", start_depth, "Depth of the first sample [m]")
        ->capture_default_str();
    app.add_option("--depth-range", scene.depth_range, "Recorded depth from there [m]")
        ->capture_default_str();
    app.add_option("--centre-depth", scene.centre_depth, "Depth of the artery's axis [m]")
        ->capture_default_str();
    app.add_option("--diameter", scene.diameter, "Inner diameter [m]")->capture_default_str();
    app.add_option("--distension", scene.distension, "Of the inner diameter [m]")
        ->capture_default_str();
    app.add_option("--near-share", scene.near_share,
                   "Part of the distension that the near wall takes")
        ->capture_default_str();
    app.add_option("--heart-rate", heart_rate, "[1/min]")->capture_default_str();
    app.add_option("--breathing", scene.breathing, "Peak to peak [m]")->capture_default_str();
    app.add_option("--clutter", scene.clutter_decibels,
                   "Tissue echoes, rms over the wall's peak [dB]")
        ->capture_default_str();
    app.add_option("--snr", scene.snr_decibels, "Wall's peak over the noise of a raw sample [dB]")
        ->capture_default_str();
    app.add_option("--dropped", render.dropped_fraction, "Chance that a frame is dropped")
        ->capture_default_str();
    app.add_option("--drop-kind", drop_kind, "What a dropped frame holds")
        ->check(CLI::IsMember({"zeros", "noise", "repeat"}))
        ->capture_default_str();
    app.add_flag("--float32", as_float, "Write float32 instead of int16");
    CLI11_PARSE(app, argc, argv);

    try {
        scene.settings.start_time = scene.settings.arrival(start_depth);
        scene.pulse.heart_rate = heart_rate / 60;
        render.drop_kind = drop_kind == "zeros"   ? echosieve::DropKind::zeros
                           : drop_kind == "noise" ? echosieve::DropKind::noise
                                                  : echosieve::DropKind::repeat;
        const std::filesystem::path file = name;
        if (file.extension() != ".npy") {
            throw echosieve::FileError(file, "the name must end in .npy");
        }
        const echosieve::Scene artery(scene, seed);
        examples::Progress progress("rendering");
        const auto show = [&](std::size_t done, std::size_t all) { progress.show(done, all); };
        const echosieve::SyntheticRecording made =
            as_float ? echosieve::render<float>(artery, seed, render, show)
                     : echosieve::render<std::int16_t>(artery, seed, render, show);
        progress.finish();
        echosieve::write_recording(made.recording, file);
        write_truth(made.truth, file);
        std::printf(
            "%s: %zu frames of %zu samples, %zu echoes each, %zu beats, seed %llu\n"
            "Truth in %s, beats in %s.\n"
            "Synthetic data. Research use: not a medical device, not for diagnosis.\n",
            file.string().c_str(), made.recording.frame_count(), made.recording.sample_count(),
            artery.echo_count(), made.truth.onsets.size(), static_cast<unsigned long long>(seed),
            beside(file, ".truth.csv").string().c_str(),
            beside(file, ".beats.csv").string().c_str());
    } catch (const std::exception& problem) {
        std::fprintf(stderr, "make_recording: %s\n", problem.what());
        return 1;
    }
    return 0;
}
