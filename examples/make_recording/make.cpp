#include <cmath>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <string>

#include "echosieve/core/error.hpp"
#include "echosieve/io/files.hpp"
#include "echosieve/io/recording_file.hpp"
#include "echosieve/synthesis/layered_scene.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "echosieve/synthesis/volume_scene.hpp"
#include "make_recording/orders.hpp"
#include "support/command_line.hpp"
#include "support/event_kinds.hpp"
#include "support/progress.hpp"
#include "support/result_tables.hpp"
#include "support/results.hpp"

namespace make_recording {
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

// The same scene for another simulator, in all that both have.
template <class Options>
Options in_common(const echosieve::SceneOptions& scene) {
    if constexpr (std::same_as<Options, echosieve::SceneOptions>) {
        return scene;
    } else {
        Options other;
        other.settings = scene.settings;
        other.duration = scene.duration;
        other.depth_range = scene.depth_range;
        other.centre_depth = scene.centre_depth;
        other.diameter = scene.diameter;
        other.distension = scene.distension;
        other.near_share = scene.near_share;
        other.breathing = scene.breathing;
        other.clutter_decibels = scene.clutter_decibels;
        other.snr_decibels = scene.snr_decibels;
        other.pulse = scene.pulse;
        other.events = scene.events;
        return other;
    }
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
        const echosieve::LineKind kind = examples::line_kinds().at(orders.drawn);
        if (!echosieve::can_draw<S>(kind)) {
            throw echosieve::InvalidInput(echosieve::detail::concatenate(
                "--drawn = ", orders.drawn, ": --simulator layered alone can draw that"));
        }
        return echosieve::draw_scene<S>(orders.seed, kind, ranges);
    }
    echosieve::DrawnScene<S> scene;
    scene.seed = orders.seed;
    scene.render = orders.render;
    scene.options = in_common<typename S::Options>(orders.scene);
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

// What is known of the recording's sensor: the volume's has a face of some size.
template <class S>
void note_sensor(const S& scene, echosieve::Sensor& sensor) {
    if constexpr (std::same_as<S, echosieve::VolumeScene>) {
        sensor.width = 2 * scene.options().sensor_half_width;
        sensor.length = 2 * scene.options().sensor_half_length;
    }
}

template <class S>
void make_one(const Orders& orders) {
    RecordingFiles files(orders.name);
    const echosieve::DrawnScene<S> drawn = scene_of<S>(orders);
    validate(drawn.options.settings);
    check_size(drawn.options, orders.as_float ? sizeof(float) : sizeof(std::int16_t));
    const S scene(drawn.options, drawn.seed);
    examples::Progress progress("rendering");
    const auto show = [&](std::size_t done, std::size_t all) { progress.show(done, all); };
    echosieve::SyntheticRecording made =
        orders.as_float ? echosieve::render<float>(scene, drawn.seed, drawn.render, show)
                        : echosieve::render<std::int16_t>(scene, drawn.seed, drawn.render, show);
    progress.finish();
    note_sensor(scene, made.recording.settings.sensor);
    echosieve::write_recording(made.recording, files.stage(".npy"));
    examples::write_truth(made.truth, files.stage(".truth.csv"), files.stage(".beats.csv"));
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

}  // namespace

void make(Orders orders) {
    orders.scene.settings.start_time = orders.scene.settings.arrival(orders.start_depth);
    orders.scene.pulse.heart_rate = orders.heart_rate / 60;
    orders.render.drop_kind = orders.drop_kind == "zeros"   ? echosieve::DropKind::zeros
                              : orders.drop_kind == "noise" ? echosieve::DropKind::noise
                                                            : echosieve::DropKind::repeat;
    orders.simulator == "section"  ? make_one<echosieve::Scene>(orders)
    : orders.simulator == "volume" ? make_one<echosieve::VolumeScene>(orders)
                                   : make_one<echosieve::LayeredScene>(orders);
}

}  // namespace make_recording
