#include <cmath>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/recorded_lines.hpp"
#include "echosieve/io/files.hpp"
#include "echosieve/io/recording_file.hpp"
#include "echosieve/synthesis/layered_scene.hpp"
#include "echosieve/synthesis/lines.hpp"
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
#include "support/sensor_size.hpp"

namespace make_recording {
namespace {

// The files of one recording: NAME.json is the last, without it nobody reads the samples.
class RecordingFiles {
public:
    /// Throws FileError for a name that does not end in .npy, and for a recording that is there and
    /// is not this program's: it may be somebody's only one.
    explicit RecordingFiles(const std::filesystem::path& file)
        : file_(checked(file)), results_({folder(), "make_recording." + name(".npy"), names()}) {
        if (results_.stands(name(".truth.csv"))) {
            return;
        }
        if (results_.stands(name(".npy")) || results_.stands(name(".json"))) {
            throw echosieve::FileError(
                file, "a recording of that name is there, and no " + name(".truth.csv") +
                          " says that this program made it: choose another name");
        }
        for (std::size_t k = 1; k < echosieve::most_lines; ++k) {
            if (const std::string truth = name(truth_of(k)); results_.stands(truth)) {
                throw echosieve::FileError(
                    file, truth + " is there, and no " + name(".truth.csv") +
                              " says that this program made it: choose another name");
            }
        }
    }
    /// Of line k's truth; a recording under any name of its own has no such file.
    [[nodiscard]] static std::string truth_of(std::size_t k) {
        return k == 0 ? ".truth.csv" : ".truth_" + std::to_string(k + 1) + ".csv";
    }
    [[nodiscard]] std::filesystem::path stage(const std::string& ending) const {
        return results_.stage(name(ending));
    }
    /// As the user finds it.
    [[nodiscard]] std::string shown(const std::string& ending) const {
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
    [[nodiscard]] std::string name(const std::string& ending) const {
        return file_.filename().replace_extension(ending).string();
    }
    // All that any run makes: of an earlier one of more lines, nothing stays.
    [[nodiscard]] std::vector<std::string> names() const {
        std::vector<std::string> all = {name(".npy"), name(truth_of(0)), name(".beats.csv")};
        for (std::size_t k = 1; k < echosieve::most_lines; ++k) {
            all.push_back(name(truth_of(k)));
        }
        all.push_back(name(".json"));
        return all;
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
void check_size(const Options& options, std::size_t lines, std::size_t value_size) {
    constexpr double large = 500e6;  // [bytes]
    const double frames = std::round(options.duration * options.settings.frame_rate);
    const double samples =
        std::floor(options.settings.arrival(options.depth_range) * options.settings.sampling_rate);
    const double values = static_cast<double>(lines) * frames * samples;
    const double bytes = values * static_cast<double>(value_size);
    if (values > echosieve::detail::most_values) {
        throw echosieve::InvalidInput(echosieve::detail::concatenate(
            lines > 1 ? std::to_string(lines) + " lines of " : "", frames, " frames of ", samples,
            " samples are more than ", echosieve::detail::most_values,
            " values: shorten --seconds or --depth-range, or lower a rate"));
    }
    if (bytes > large) {
        std::fprintf(stderr,
                     "make_recording: %.0f frames of %.0f samples, %.1f GB; Ctrl-C ends it\n",
                     static_cast<double>(lines) * frames, samples, 1e-9 * bytes);
    }
}

// The lines, one after the other.
template <class S>
echosieve::SyntheticLines rendered(const Orders& orders,
                                   const std::vector<echosieve::DrawnScene<S>>& lines) {
    echosieve::SyntheticLines out;
    examples::Progress progress("rendering");
    for (const echosieve::DrawnScene<S>& line : lines) {
        const std::size_t before = out.truths.size();
        const auto show = [&](std::size_t done, std::size_t all) {
            progress.show(before * all + done, lines.size() * all);
        };
        const S scene(line.options, line.seed);
        echosieve::SyntheticRecording made =
            orders.as_float ? echosieve::render<float>(scene, line.seed, line.render, show)
                            : echosieve::render<std::int16_t>(scene, line.seed, line.render, show);
        examples::note_sensor_size(scene.options(), made.recording.settings.sensor);
        out.recorded.lines.push_back(std::move(made.recording));
        out.truths.push_back(std::move(made.truth));
        if (lines.size() > 1) {
            out.recorded.positions.push_back(orders.lines.position(before));
        }
    }
    progress.finish();
    return out;
}

void report(const RecordingFiles& files, const echosieve::SyntheticLines& made, std::size_t echoes,
            std::uint64_t seed) {
    const echosieve::Recording& first = made.recorded.lines.front();
    const std::size_t lines = made.recorded.line_count();
    const std::string several = lines > 1 ? std::to_string(lines) + " lines of " : "";
    const std::string last =
        lines > 1 ? " to " + files.shown(RecordingFiles::truth_of(lines - 1)) : "";
    std::printf(
        "%s: %s%zu frames of %zu samples, %zu echoes each, %zu beats, seed %llu\n"
        "Truth in %s%s, beats in %s.\n",
        files.shown(".npy").c_str(), several.c_str(), first.frame_count(), first.sample_count(),
        echoes, made.truths.front().onsets.size(), static_cast<unsigned long long>(seed),
        files.shown(".truth.csv").c_str(), last.c_str(), files.shown(".beats.csv").c_str());
    if (made.truths.front().peak_lag > 0) {
        std::printf("Each echo's envelope peaks %.3f mm below the depth in the truth.\n",
                    1e3 * made.truths.front().peak_lag);
    }
    std::printf("Synthetic data. %s\n", examples::notice);
}

template <class S>
void make_one(const Orders& orders) {
    RecordingFiles files(orders.name);
    const echosieve::DrawnScene<S> drawn = scene_of<S>(orders);
    validate(drawn.options.settings);
    check_size(drawn.options, orders.lines.count,
               orders.as_float ? sizeof(float) : sizeof(std::int16_t));
    const echosieve::SyntheticLines made =
        rendered(orders, echosieve::lines_of(drawn, orders.lines));
    echosieve::write_lines(made.recorded, files.stage(".npy"));
    for (std::size_t k = 0; k < made.truths.size(); ++k) {
        examples::write_truth(made.truths[k], files.stage(RecordingFiles::truth_of(k)));
    }
    examples::write_beats(made.truths.front(), files.stage(".beats.csv"));
    files.commit();
    report(files, made, S(drawn.options, drawn.seed).echo_count(), drawn.seed);
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
