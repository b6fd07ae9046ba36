#include "support/tracking.hpp"

#include <algorithm>
#include <cstdio>
#include <system_error>

#include "echosieve/core/error.hpp"
#include "echosieve/core/recorded_lines.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/io/files.hpp"
#include "echosieve/io/recording_file.hpp"
#include "support/command_line.hpp"
#include "support/input_size.hpp"
#include "support/lines_picture.hpp"
#include "support/lines_report.hpp"
#include "support/motion_pictures.hpp"
#include "support/plot.hpp"
#include "support/result_tables.hpp"
#include "support/text.hpp"
#include "support/tracking_options.hpp"
#include "support/wall_words.hpp"

namespace examples {
namespace {

using echosieve::printable;
using echosieve::RecordingSettings;
using nlohmann::ordered_json;

// Of every run in that folder, this program's: the last one tells that the set is whole.
const std::vector<std::string> result_names = {
    "motion.csv",        "blocks.csv",          "wall_echoes.npy", "measured_m_mode.png",
    "wall_m_mode.png",   "frame_echoes.png",    "motion.png",      lines_picture,
    "failed_m_mode.png", "summary_failed.json", "summary.json"};

// What is known before the samples are read.
struct Outline {
    RecordingSettings settings;
    echosieve::RecordingShape shape;
    bool several = false;  // lines

    [[nodiscard]] double duration() const {
        return static_cast<double>(shape.frames) / settings.frame_rate;
    }
};

Outline outline_of(const TrackingJob& job) {
    Outline outline;
    outline.shape = echosieve::recording_shape(job.samples);
    outline.settings = echosieve::read_settings(job.meta);
    outline.several = outline.shape.lines.has_value() || !job.more.empty();
    return outline;
}

// The results' names, with a table for each line that there may be. What stands under such a name
// and is no table of ours stays as it is.
std::vector<std::string> names_in(const TrackingJob& job, const Outline& outline) {
    const std::size_t written =
        outline.several ? std::max(outline.shape.lines.value_or(1), job.more.size() + 1) : 0;
    std::vector<std::string> names;
    for (std::size_t k = 0; k < echosieve::most_lines; ++k) {
        const std::filesystem::path file = job.folder / line_file(k);
        std::error_code ignored;
        const bool foreign = exists(symlink_status(file, ignored)) && !is_motion_table(file);
        if (foreign && k < written) {
            throw echosieve::FileError(
                file, "is there, and no table of this program's: choose another folder");
        }
        if (!foreign) {
            names.push_back(line_file(k));
        }
    }
    names.insert(names.end(), result_names.begin(), result_names.end());
    return names;
}

std::vector<std::filesystem::path> inputs_of(const TrackingJob& job) {
    std::vector<std::filesystem::path> inputs = {job.meta};
    for (const std::filesystem::path& file : files_of(job)) {
        inputs.push_back(file);
        inputs.push_back(echosieve::settings_path(file));
    }
    if (!job.settings.empty()) {
        inputs.push_back(job.settings);
    }
    return inputs;
}

echosieve::WallLayer layer_of(const TrackingJob& job) {
    return job.run.options.track.separation.reference.layer;
}

std::string described(echosieve::TrackStatus status) {
    return std::string(describe(status));
}

ordered_json settings_json(const RecordingSettings& s) {
    ordered_json settings = {
        {"sampling_rate", s.sampling_rate}, {"frame_rate", s.frame_rate},
        {"start_time", s.start_time},       {"centre_frequency", s.sensor.centre_frequency},
        {"bandwidth", s.sensor.bandwidth},  {"sound_speed", s.sound_speed}};
    if (s.sensor.pulse_delay) {
        settings["pulse_delay"] = *s.sensor.pulse_delay;
    }
    if (s.sensor.width != 0) {
        settings["sensor_width"] = s.sensor.width;
    }
    if (s.sensor.length != 0) {
        settings["sensor_length"] = s.sensor.length;
    }
    return settings;
}

// What has been taken off all depths.
ordered_json pulse_delay_json(const echosieve::PulseDelay& pulse) {
    ordered_json json = {{"source", std::string(describe(pulse.source))}, {"delay_s", pulse.delay}};
    if (pulse.source == echosieve::DelaySource::estimated) {
        json["delay_std_s"] = pulse.deviation;
        json["zero_phase_probability"] = pulse.zero_phase;
    }
    return json;
}

ordered_json summary_of(const TrackingJob& job, const Findings& found) {
    ordered_json summary;
    summary["notice"] = notice;
    write_run(job.run, summary);
    summary["recording"] = printable(job.samples.string());
    if (!job.more.empty()) {
        summary["recording"] = ordered_json::array();
        for (const std::filesystem::path& file : files_of(job)) {
            summary["recording"].push_back(printable(file.string()));
        }
    }
    summary["settings"] = settings_json(found.settings);
    summary["status"] = described(found.status);
    summary["both_walls_followed"] = found.usable();
    summary["frames"] = found.totals.frames;
    summary["valid_frames"] = found.totals.valid;
    summary["warnings"] = found.warnings;
    summary["trust"] = found.trust;
    if (found.walls) {
        summary["pulse_delay"] = pulse_delay_json(found.pulse_delay);
    }
    if (found.totals.valid > 0) {
        summary["diameter_mean_m"] = found.totals.mean(found.totals.diameter);
        summary["diameter_smallest_m"] = found.totals.smallest;
        summary["diameter_largest_m"] = found.totals.largest;
    }
    if (found.walls) {
        summary["diameter_from"] = diameter_words(layer_of(job));
    }
    summary.update(found.details);
    summary["pictures"] = found.pictures;
    summary["seed"] = nullptr;  // the tracking draws no random numbers
    summary["tracking_seconds"] = found.seconds;
    return summary;
}

void write_json(const ordered_json& object, const std::filesystem::path& file) {
    echosieve::AtomicFile out(file);
    out.stream() << object.dump(2) << '\n';
    out.commit();
}

void put_in_place(const TrackingJob& job, const Findings& found, Results& results) {
    const ordered_json summary = summary_of(job, found);
    if (found.walls || !results.stands("motion.csv")) {
        write_json(summary, results.stage("summary.json"));
        results.commit();
        return;
    }
    write_json(summary, results.stage("summary_failed.json"));
    results.put_beside({failed_picture, "summary_failed.json"});
    const std::filesystem::path file = job.folder / "summary_failed.json";
    std::fprintf(stderr,
                 "track_artery: the results in %s are those of an earlier run, and stay as they "
                 "are; this run's summary is %s\n",
                 printable(job.folder.string()).c_str(), printable(file.string()).c_str());
}

void print(const TrackingJob& job, const Findings& found, double recorded) {
    const FrameTotals& totals = found.totals;
    std::fputs(found.remarks.c_str(), stdout);
    if (totals.valid > 0) {
        std::printf(
            "Taken off both for the pulse's delay, %s: %.2f mm, standard deviation %.2f mm.\n",
            std::string(describe(found.pulse_delay.source)).c_str(),
            1e3 * found.settings.depth(found.pulse_delay.delay),
            1e3 * found.settings.depth(found.pulse_delay.deviation));
        std::printf("Diameter (%s) %.3f to %.3f mm, mean %.3f mm.\n",
                    std::string(diameter_words(layer_of(job))).c_str(), 1e3 * totals.smallest,
                    1e3 * totals.largest, 1e3 * totals.mean(totals.diameter));
        std::printf("Standard deviation of a frame: near wall %.1f um, far wall %.1f um.\n",
                    1e6 * totals.mean(totals.near_std), 1e6 * totals.mean(totals.far_std));
    }
    std::printf("%zu of %zu frames valid%s.\n", totals.valid, totals.frames, found.flaws.c_str());
    std::printf("Tracked %.2f s of recording in %.2f s. Results in %s.\n", recorded, found.seconds,
                printable(job.folder.string()).c_str());
    if (!found.usable()) {
        std::fprintf(stderr, "track_artery: %s: %s\n", printable(job.samples.string()).c_str(),
                     described(found.status).c_str());
    }
    std::printf("%s\n", notice);
}

// Depths that the recording does not reach can only be a slip.
void check_depths(const echosieve::WallFinderOptions& walls, const Outline& outline) {
    const RecordingSettings& settings = outline.settings;
    const echosieve::SamplingGrid grid = settings.grid(outline.shape.samples);
    const double first = settings.depth(grid.time(0));
    const double last = settings.depth(grid.time(static_cast<double>(grid.count - 1)));
    for (const bool far : {false, true}) {
        const echosieve::DepthRange& range = far ? walls.far_range : walls.near_range;
        if (range.from > last || range.to < first) {
            throw echosieve::InvalidInput(text_of(
                "the %s wall's depths, %g to %g m, lie outside the recording, %.3g to %.3g mm; "
                "depths are given in metres",
                far ? "far" : "near", range.from, range.to, 1e3 * first, 1e3 * last));
        }
    }
    echosieve::require(
        walls.dead_zone < last - first, "--dead-zone", walls.dead_zone,
        echosieve::detail::concatenate("must be shorter than the line, ", last - first, " m"));
}

// What is said, and what is refused, before the samples are read.
void check(const TrackingJob& job, const Outline& outline, Warnings& warnings) {
    const std::size_t samples = outline.shape.samples;
    tell_unknown_settings(job.meta);
    for (const std::filesystem::path& file : job.more) {
        tell_unknown_settings(echosieve::settings_path(file));
    }
    warnings.tell(echosieve::settings_warnings(
        with_pulse_delay(outline.settings, job.run.pulse_delay), samples));
    validate(job.run.options.track);
    echosieve::require(samples <= longest_frame, "samples a frame", samples,
                       echosieve::detail::concatenate("must not exceed ", longest_frame));
    check_depths(job.run.options.track.walls, outline);
    if (outline.several) {
        echosieve::require(!job.run.in_blocks.value_or(false), "--block", job.run.options.length,
                           "blocks follow one line: several are followed as a whole");
        echosieve::require(outline.duration() <= longest_whole, "seconds of recording",
                           outline.duration(),
                           echosieve::detail::concatenate(
                               "several lines must not be longer than ", longest_whole,
                               ", for they are followed as a whole; follow one line, or cut them"));
    }
}

// Followed as a whole, or in blocks.
Findings follow(const TrackingJob& job, const Outline& outline, Results& results,
                Warnings& warnings) {
    constexpr double memory_over_file = 3;
    if (*job.run.in_blocks) {
        echosieve::RecordingReader reader(job.samples, job.meta);
        return track_by_blocks(job, reader, results, warnings);
    }
    if (!outline.several) {
        require_memory(job.samples, memory_over_file, ": follow it in blocks (--block 4)");
        return track_whole(job, results, warnings);
    }
    const auto files = static_cast<double>(job.more.size() + 1);  // of one size
    require_memory(job.samples, memory_over_file * files, " for all lines: follow fewer of them");
    return track_several(job, results, warnings);
}

}  // namespace

std::vector<std::filesystem::path> files_of(const TrackingJob& job) {
    std::vector<std::filesystem::path> files = {job.samples};
    files.insert(files.end(), job.more.begin(), job.more.end());
    return files;
}

void FrameTotals::add(const echosieve::FrameMotion& motion) {
    ++frames;
    if (motion.valid) {
        ++valid;
        diameter += motion.diameter;
        smallest = std::min(smallest, motion.diameter);
        largest = std::max(largest, motion.diameter);
        near_std += motion.near_wall_std;
        far_std += motion.far_wall_std;
    }
}

bool wants_pictures(const TrackingJob& job) {
    if (job.pictures && !has_gnuplot()) {
        std::fprintf(stderr,
                     "track_artery: no pictures: gnuplot was not found; install it (package "
                     "gnuplot-nox), or pass --no-pictures\n");
        return false;
    }
    return job.pictures;
}

int track(const TrackingJob& job) {
    const Outline outline = outline_of(job);
    Warnings warnings("track_artery");
    check(job, outline, warnings);
    Results results({job.folder, "track_artery", names_in(job, outline), inputs_of(job)});
    TrackingJob known = job;
    known.run.in_blocks =
        job.run.in_blocks.value_or(!outline.several && outline.duration() > longest_whole);
    const Findings found = follow(known, outline, results, warnings);
    put_in_place(known, found, results);
    print(known, found, outline.duration());
    return found.usable() ? 0 : not_followed;
}

}  // namespace examples
