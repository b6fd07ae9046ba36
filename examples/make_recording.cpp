// make_recording: writes a synthetic recording with known truth.
#include <cmath>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <string>

#include "echosieve/core/error.hpp"
#include "echosieve/io/csv.hpp"
#include "echosieve/io/files.hpp"
#include "echosieve/io/recording_file.hpp"
#include "echosieve/synthesis/detail/scene_checks.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/volume_scene.hpp"
#include "support/command_line.hpp"
#include "support/event_kinds.hpp"
#include "support/options.hpp"
#include "support/progress.hpp"
#include "support/results.hpp"

namespace {

// The files of one recording: NAME.json is the last, without it nobody reads the samples.
class RecordingFiles {
public:
    /// Throws FileError for a name that does not end in .npy, and for a recording that is there and
    /// is not this program's: it may be somebody's only one.
    explicit RecordingFiles(const std::filesystem::path& file)
        : file_(checked(file)),
          results_({folder(),
                    "make_recording." + name(".npy"),
                    {name(".npy"), name(".truth.csv"), name(".beats.csv"), name(".json")}}) {
        if ((results_.stands(name(".npy")) || results_.stands(name(".json"))) &&
            !results_.stands(name(".truth.csv"))) {
            throw echosieve::FileError(
                file, "a recording of that name is there, and no " + name(".truth.csv") +
                          " says that this program made it: choose another name");
        }
    }
    [[nodiscard]] std::filesystem::path stage(const char* ending) const {
        return results_.stage(name(ending));
    }
    /// As the user finds it.
    [[nodiscard]] std::string shown(const char* ending) const {
        std::filesystem::path path = file_;
        return echosieve::printable(path.replace_extension(ending).string());
    }
    void commit() { results_.commit(); }

private:
    static std::filesystem::path checked(const std::filesystem::path& file) {
        if (file.extension() != ".npy") {
            throw echosieve::FileError(file, "the name must end in .npy");
        }
        return file;
    }
    [[nodiscard]] std::filesystem::path folder() const {
        std::filesystem::path parent = file_.parent_path();
        std::error_code ignored;
        if (!parent.empty() && !std::filesystem::is_directory(parent, ignored)) {
            throw echosieve::FileError(file_, "its folder does not exist");
        }
        return parent;
    }
    [[nodiscard]] std::string name(const char* ending) const {
        return file_.filename().replace_extension(ending).string();
    }

    std::filesystem::path file_;
    examples::Results results_;
};

void write_truth(const echosieve::Truth& truth, const RecordingFiles& files) {
    echosieve::CsvWriter walls(files.stage(".truth.csv"), {{"time_s", 6},
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
    echosieve::CsvWriter beats(files.stage(".beats.csv"), {{"onset_s", 4}});
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

// What is too large is refused by the options' names; what takes long or much memory is said, and
// the progress follows.
template <class Options>
void check_size(const Options& options, std::size_t value_size) {
    constexpr double large = 500e6;  // [bytes]
    const double frames = std::round(options.duration * options.settings.frame_rate);
    const double samples =
        std::floor(options.settings.arrival(options.depth_range) * options.settings.sampling_rate);
    const double bytes = frames * samples * static_cast<double>(value_size);
    if (frames * samples > echosieve::detail::most_values) {
        throw echosieve::InvalidInput(echosieve::detail::concatenate(
            frames, " frames of ", samples, " samples are more than ",
            echosieve::detail::most_values,
            " values: shorten --seconds or --depth-range, or lower a rate"));
    }
    if (bytes > large) {
        std::fprintf(stderr,
                     "make_recording: %.0f frames of %.0f samples, %.1f GB; Ctrl-C ends it\n",
                     frames, samples, 1e-9 * bytes);
    }
}

template <class S>
void make(const Orders& orders) {
    RecordingFiles files(orders.name);
    const echosieve::DrawnScene<S> drawn = scene_of<S>(orders);
    validate(drawn.options.settings);
    check_size(drawn.options, orders.as_float ? sizeof(float) : sizeof(std::int16_t));
    const S scene(drawn.options, drawn.seed);
    examples::Progress progress("rendering");
    const auto show = [&](std::size_t done, std::size_t all) { progress.show(done, all); };
    const echosieve::SyntheticRecording made =
        orders.as_float ? echosieve::render<float>(scene, drawn.seed, drawn.render, show)
                        : echosieve::render<std::int16_t>(scene, drawn.seed, drawn.render, show);
    progress.finish();
    echosieve::write_recording(made.recording, files.stage(".npy"));
    write_truth(made.truth, files);
    files.commit();
    std::printf(
        "%s: %zu frames of %zu samples, %zu echoes each, %zu beats, seed %llu\n"
        "Truth in %s, beats in %s.\n",
        files.shown(".npy").c_str(), made.recording.frame_count(), made.recording.sample_count(),
        scene.echo_count(), made.truth.onsets.size(), static_cast<unsigned long long>(drawn.seed),
        files.shown(".truth.csv").c_str(), files.shown(".beats.csv").c_str());
    if (made.truth.peak_lag > 0) {
        std::printf("Each echo's envelope peaks %.3f mm below the depth in the truth.\n",
                    1e3 * made.truth.peak_lag);
    }
    std::printf("Synthetic data. %s\n", examples::notice);
}

void add_events(CLI::App& app, echosieve::SceneOptions& scene) {
    echosieve::SceneEvents& events = scene.events;
    examples::add_number(app, "--contact-loss", events.contact_loss_decibels,
                         "Level of all echoes while contact is lost [dB], 0 or less");
    examples::add_number(app, "--contact-loss-start", events.contact_loss_start, "[s]");
    examples::add_number(app, "--contact-loss-length", events.contact_loss_length, "[s]");
    examples::add_number(app, "--near-strength", events.near_strength_modulation,
                         "Change of the near wall's echoes with the pulse, -1 to 1");
    examples::add_number(app, "--far-strength", events.far_strength_modulation,
                         "Change of the far wall's echoes with the pulse, -1 to 1");
    examples::add_number(app, "--far-lag", events.far_wall_lag,
                         "Far wall's pulse after the near wall's [s]");
    examples::add_number(app, "--tissue-lag", events.tissue_lag,
                         "Tissue's pulse after the near wall's [s]");
    examples::add_number(app, "--reverberation-depth", events.reverberation_depth,
                         "Extra path of a second echo of all [m]");
    examples::add_number(app, "--reverberation", events.reverberation_decibels,
                         "Level of that second echo [dB]");
    examples::add_number(app, "--trigger-jitter", events.trigger_jitter, "rms [s]");
    examples::add_number(app, "--sensor-step", events.sensor_step, "By which all depths grow [m]");
    examples::add_number(app, "--sensor-step-time", events.sensor_step_time, "[s]");
    examples::add_number(app, "--clipped", events.clipped_fraction,
                         "Chance that a frame's gain bursts");
    examples::add_number(app, "--ectopic", scene.pulse.ectopic_probability,
                         "Chance of an ectopic beat");
}

void add_scene(CLI::App& app, Orders& orders) {
    echosieve::SceneOptions& scene = orders.scene;
    examples::add_number(app, "--centre-frequency", scene.settings.sensor.centre_frequency, "[Hz]");
    examples::add_number(app, "--bandwidth", scene.settings.sensor.bandwidth,
                         "-6 dB, full width [Hz]");
    examples::add_number(app, "--sampling-rate", scene.settings.sampling_rate, "[Hz]");
    examples::add_number(app, "--frame-rate", scene.settings.frame_rate, "[Hz]");
    examples::add_number(app, "--start-depth", orders.start_depth, "Depth of the first sample [m]");
    examples::add_number(app, "--depth-range", scene.depth_range, "Recorded depth from there [m]");
    examples::add_number(app, "--centre-depth", scene.centre_depth,
                         "Depth of the artery's axis [m]");
    examples::add_number(app, "--diameter", scene.diameter, "Inner diameter [m]");
    examples::add_number(app, "--distension", scene.distension, "Of the inner diameter [m]");
    examples::add_number(app, "--near-share", scene.near_share,
                         "Part of the distension that the near wall takes");
    examples::add_number(app, "--heart-rate", orders.heart_rate, "[1/min]");
    examples::add_number(app, "--breathing", scene.breathing, "Peak to peak [m]");
    examples::add_number(app, "--clutter", scene.clutter_decibels,
                         "Tissue echoes, rms over the wall's peak [dB]");
    examples::add_number(app, "--snr", scene.snr_decibels,
                         "Wall's peak over the noise of a raw sample [dB]");
    examples::add_number(app, "--dropped", orders.render.dropped_fraction,
                         "Chance that a frame is dropped");
    app.add_option("--drop-kind", orders.drop_kind, "What a dropped frame holds")
        ->check(CLI::IsMember({"zeros", "noise", "repeat"}))
        ->capture_default_str();
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line(
        "make_recording",
        "Writes a synthetic recording of an artery between two layers of tissue, with known truth: "
        "NAME.npy, NAME.json, NAME.truth.csv and NAME.beats.csv.");
    Orders orders;
    CLI::App& app = line.app();
    app.add_option("NAME.npy", orders.name, "File to write")->required();
    examples::add_count(app, "--seed", orders.seed, {.least = 0}, "Seed of everything random");
    examples::add_number(app, "--seconds", orders.scene.duration, "Length [s]");
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
    examples::add_number(app, "--event-probability", orders.event_probability,
                         "That each kind of event happens in a drawn recording")
        ->needs(drawn);
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
    return line.run(argc, argv, [&] {
        orders.scene.settings.start_time = orders.scene.settings.arrival(orders.start_depth);
        orders.scene.pulse.heart_rate = orders.heart_rate / 60;
        orders.render.drop_kind = orders.drop_kind == "zeros"   ? echosieve::DropKind::zeros
                                  : orders.drop_kind == "noise" ? echosieve::DropKind::noise
                                                                : echosieve::DropKind::repeat;
        orders.simulator == "section" ? make<echosieve::Scene>(orders)
                                      : make<echosieve::VolumeScene>(orders);
        return 0;
    });
}
