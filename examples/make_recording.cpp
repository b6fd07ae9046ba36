// make_recording: writes a synthetic recording with known truth.
#include <CLI/CLI.hpp>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <string>

#include "echosieve/io/csv.hpp"
#include "echosieve/io/recording_file.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/volume_scene.hpp"
#include "support/event_kinds.hpp"
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

// What the command line says.
struct Orders {
    std::string name;
    std::uint64_t seed = 1;
    bool as_float = false;
    std::string simulator = "section";
    std::string drawn;
    bool fine = false;
    double event_probability = 0;
    std::string only_event;
    double heart_rate = 66;
    std::string drop_kind = "zeros";
    echosieve::SceneOptions scene;
    echosieve::RenderOptions render;
    double start_depth = scene.settings.depth(scene.settings.start_time);
};

// The same scene for the other simulator, in all that both have.
echosieve::VolumeSceneOptions in_volume(const echosieve::SceneOptions& scene) {
    echosieve::VolumeSceneOptions volume;
    volume.settings = scene.settings;
    volume.duration = scene.duration;
    volume.depth_range = scene.depth_range;
    volume.centre_depth = scene.centre_depth;
    volume.diameter = scene.diameter;
    volume.distension = scene.distension;
    volume.near_share = scene.near_share;
    volume.breathing = scene.breathing;
    volume.clutter_decibels = scene.clutter_decibels;
    volume.snr_decibels = scene.snr_decibels;
    volume.pulse = scene.pulse;
    volume.events = scene.events;
    return volume;
}

template <class S>
echosieve::DrawnScene<S> scene_of(const Orders& orders) {
    if (!orders.drawn.empty()) {
        echosieve::DrawOptions ranges;
        ranges.duration = orders.scene.duration;
        ranges.coarse_sampling = !orders.fine;
        ranges.event_probability = orders.event_probability;
        if (!orders.only_event.empty()) {
            ranges.only_event = examples::event_kinds().at(orders.only_event);
        }
        const auto kind = orders.drawn == "artery"      ? echosieve::LineKind::artery
                          : orders.drawn == "breathing" ? echosieve::LineKind::breathing_tissue
                                                        : echosieve::LineKind::pulsating_tissue;
        return echosieve::draw_scene<S>(orders.seed, kind, ranges);
    }
    echosieve::DrawnScene<S> scene;
    scene.seed = orders.seed;
    scene.render = orders.render;
    if constexpr (std::same_as<S, echosieve::Scene>) {
        scene.options = orders.scene;
    } else {
        scene.options = in_volume(orders.scene);
    }
    return scene;
}

template <class S>
void make(const Orders& orders, const std::filesystem::path& file) {
    const echosieve::DrawnScene<S> drawn = scene_of<S>(orders);
    const S scene(drawn.options, drawn.seed);
    examples::Progress progress("rendering");
    const auto show = [&](std::size_t done, std::size_t all) { progress.show(done, all); };
    const echosieve::SyntheticRecording made =
        orders.as_float ? echosieve::render<float>(scene, drawn.seed, drawn.render, show)
                        : echosieve::render<std::int16_t>(scene, drawn.seed, drawn.render, show);
    progress.finish();
    echosieve::write_recording(made.recording, file);
    write_truth(made.truth, file);
    std::printf(
        "%s: %zu frames of %zu samples, %zu echoes each, %zu beats, seed %llu\n"
        "Truth in %s, beats in %s.\n",
        file.string().c_str(), made.recording.frame_count(), made.recording.sample_count(),
        scene.echo_count(), made.truth.onsets.size(), static_cast<unsigned long long>(drawn.seed),
        beside(file, ".truth.csv").string().c_str(), beside(file, ".beats.csv").string().c_str());
    if (made.truth.peak_lag > 0) {
        std::printf("Each echo's envelope peaks %.3f mm below the depth in the truth.\n",
                    1e3 * made.truth.peak_lag);
    }
    std::printf("Synthetic data. Research use: not a medical device, not for diagnosis.\n");
}

void add_events(CLI::App& app, echosieve::SceneOptions& scene) {
    echosieve::SceneEvents& events = scene.events;
    app.add_option("--contact-loss", events.contact_loss_decibels,
                   "Level of all echoes while contact is lost [dB], 0 or less")
        ->capture_default_str();
    app.add_option("--contact-loss-start", events.contact_loss_start, "[s]")->capture_default_str();
    app.add_option("--contact-loss-length", events.contact_loss_length, "[s]")
        ->capture_default_str();
    app.add_option("--near-strength", events.near_strength_modulation,
                   "Change of the near wall's echoes with the pulse, -1 to 1")
        ->capture_default_str();
    app.add_option("--far-strength", events.far_strength_modulation,
                   "Change of the far wall's echoes with the pulse, -1 to 1")
        ->capture_default_str();
    app.add_option("--far-lag", events.far_wall_lag, "Far wall's pulse after the near wall's [s]")
        ->capture_default_str();
    app.add_option("--tissue-lag", events.tissue_lag, "Tissue's pulse after the near wall's [s]")
        ->capture_default_str();
    app.add_option("--reverberation-depth", events.reverberation_depth,
                   "Extra path of a second echo of all [m]")
        ->capture_default_str();
    app.add_option("--reverberation", events.reverberation_decibels,
                   "Level of that second echo [dB]")
        ->capture_default_str();
    app.add_option("--trigger-jitter", events.trigger_jitter, "rms [s]")->capture_default_str();
    app.add_option("--sensor-step", events.sensor_step, "By which all depths grow [m]")
        ->capture_default_str();
    app.add_option("--sensor-step-time", events.sensor_step_time, "[s]")->capture_default_str();
    app.add_option("--clipped", events.clipped_fraction, "Chance that a frame's gain bursts")
        ->capture_default_str();
    app.add_option("--ectopic", scene.pulse.ectopic_probability, "Chance of an ectopic beat")
        ->capture_default_str();
}

void add_scene(CLI::App& app, Orders& orders) {
    echosieve::SceneOptions& scene = orders.scene;
    app.add_option("--centre-frequency", scene.settings.sensor.centre_frequency, "[Hz]")
        ->capture_default_str();
    app.add_option("--bandwidth", scene.settings.sensor.bandwidth, "-6 dB, full width [Hz]")
        ->capture_default_str();
    app.add_option("--sampling-rate", scene.settings.sampling_rate, "[Hz]")->capture_default_str();
    app.add_option("--frame-rate", scene.settings.frame_rate, "[Hz]")->capture_default_str();
    app.add_option("--start-depth", orders.start_depth, "Depth of the first sample [m]")
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
    app.add_option("--heart-rate", orders.heart_rate, "[1/min]")->capture_default_str();
    app.add_option("--breathing", scene.breathing, "Peak to peak [m]")->capture_default_str();
    app.add_option("--clutter", scene.clutter_decibels,
                   "Tissue echoes, rms over the wall's peak [dB]")
        ->capture_default_str();
    app.add_option("--snr", scene.snr_decibels, "Wall's peak over the noise of a raw sample [dB]")
        ->capture_default_str();
    app.add_option("--dropped", orders.render.dropped_fraction, "Chance that a frame is dropped")
        ->capture_default_str();
    app.add_option("--drop-kind", orders.drop_kind, "What a dropped frame holds")
        ->check(CLI::IsMember({"zeros", "noise", "repeat"}))
        ->capture_default_str();
}

}  // namespace

int main(int argc, char** argv) {
    CLI::App app{
        "Writes a synthetic recording of an artery between two layers of tissue, with known truth: "
        "NAME.npy, NAME.json, NAME.truth.csv and NAME.beats.csv.\n"
        "Research use: not a medical device, not for diagnosis."};
    Orders orders;
    app.add_option("NAME.npy", orders.name, "File to write")->required();
    app.add_option("--seed", orders.seed, "Seed of everything random")->capture_default_str();
    app.add_option("--seconds", orders.scene.duration, "Length [s]")->capture_default_str();
    app.add_flag("--float32", orders.as_float, "Write float32 instead of int16");
    app.add_option("--simulator", orders.simulator,
                   "section: cross-section, Gaussian pulses; volume: tilted vessel in a volume, "
                   "asymmetric pulses")
        ->check(CLI::IsMember({"section", "volume"}))
        ->capture_default_str();
    CLI::Option* drawn =
        app.add_option("--drawn", orders.drawn,
                       "Draw all but the length from the seed: an artery, or none: breathing or "
                       "pulsating tissue")
            ->check(CLI::IsMember({"artery", "breathing", "pulsating"}));
    app.add_option("--event-probability", orders.event_probability,
                   "That each kind of event happens in a drawn recording")
        ->needs(drawn)
        ->capture_default_str();
    app.add_option("--event", orders.only_event,
                   "The one kind of event that happens in a drawn recording")
        ->check(CLI::IsMember(examples::event_kinds()))
        ->needs(drawn);
    app.add_flag("--fine", orders.fine, "Sample a drawn recording at 125 MHz, not 40 or 60")
        ->needs(drawn);
    CLI::App* scene = app.add_option_group("Scene", "Not with --drawn");
    add_scene(*scene, orders);
    scene->excludes(drawn);
    CLI::App* events = app.add_option_group("Events", "Off by default, not with --drawn");
    add_events(*events, orders.scene);
    events->excludes(drawn);
    CLI11_PARSE(app, argc, argv);

    try {
        orders.scene.settings.start_time = orders.scene.settings.arrival(orders.start_depth);
        orders.scene.pulse.heart_rate = orders.heart_rate / 60;
        orders.render.drop_kind = orders.drop_kind == "zeros"   ? echosieve::DropKind::zeros
                                  : orders.drop_kind == "noise" ? echosieve::DropKind::noise
                                                                : echosieve::DropKind::repeat;
        const std::filesystem::path file = orders.name;
        if (file.extension() != ".npy") {
            throw echosieve::FileError(file, "the name must end in .npy");
        }
        if (orders.simulator == "section") {
            make<echosieve::Scene>(orders, file);
        } else {
            make<echosieve::VolumeScene>(orders, file);
        }
    } catch (const std::exception& problem) {
        std::fprintf(stderr, "make_recording: %s\n", problem.what());
        return 1;
    }
    return 0;
}
