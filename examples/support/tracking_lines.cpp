#include <algorithm>
#include <chrono>
#include <filesystem>
#include <vector>

#include "echosieve/core/recorded_lines.hpp"
#include "echosieve/io/recording_file.hpp"
#include "echosieve/motion/track_lines.hpp"
#include "support/lines_picture.hpp"
#include "support/lines_report.hpp"
#include "support/motion_pictures.hpp"
#include "support/motion_report.hpp"
#include "support/text.hpp"
#include "support/tracking.hpp"
#include "support/tracking_options.hpp"

namespace examples {
namespace {

using echosieve::LinesMotion;
using echosieve::RecordedLines;

RecordedLines read(const TrackingJob& job) {
    RecordedLines recorded = job.more.empty() ? echosieve::read_lines(job.samples, job.meta)
                                              : echosieve::read_lines(files_of(job));
    for (echosieve::Recording& line : recorded.lines) {
        line.settings = with_pulse_delay(line.settings, job.run.pulse_delay);
    }
    return recorded;
}

// The usual pictures show one line; where no line was followed, why.
std::vector<std::string> draw(const RecordedLines& recorded, const LinesMotion& motion,
                              const echosieve::TrackOptions& options, const Results& results) {
    const std::size_t shown = shown_line(motion);
    const echosieve::ArteryMotion& its = motion.lines[shown].motion;
    const std::string of = of_lines(shown, motion);
    if (motion.frames.empty()) {
        Failure failure = failure_of(its);
        failure.reason = std::string(describe(motion.status));
        if (motion.lines.size() > 1) {
            failure.details =
                text_of("Line %zu of %zu is shown. ", shown + 1, motion.lines.size()) +
                failure.details;
        }
        return draw_failure(image_of(recorded.lines[shown]), failure, options, results);
    }
    std::vector<std::string> names =
        draw_pictures(recorded.lines[shown], its, options, results, of);
    if (motion.lines.size() > 1) {
        draw_lines(motion, recorded.positions, results);
        names.emplace_back(lines_picture);
    }
    return names;
}

void write_lines_motion(const LinesMotion& motion, Results& results) {
    write_motion(motion.frames, results.stage("motion.csv"));
    for (std::size_t k = 0; k < motion.lines.size(); ++k) {
        if (motion.lines[k].weight > 0) {
            write_motion(motion.lines[k].motion.frames, results.stage(line_file(k)));
        }
    }
}

Findings findings_of(const LinesMotion& motion, const RecordedLines& recorded) {
    const std::size_t shown = shown_line(motion);
    Findings found;
    found.settings = recorded.lines[shown].settings;
    found.status = motion.status;
    found.walls = !motion.frames.empty();
    found.pulse_delay = motion.lines[shown].motion.pulse_delay;
    found.warnings = warnings_of(motion);
    for (const echosieve::LineMotion& line : motion.lines) {
        if (line.weight > 0 || !found.walls) {
            found.trust = std::min(found.trust, line.motion.trust);
        }
    }
    for (const echosieve::FrameMotion& frame : motion.frames) {
        found.totals.add(frame);
    }
    found.totals.frames = recorded.lines.front().frame_count();
    found.remarks = remarks_on(motion);
    found.details = lines_json(motion, recorded);
    return found;
}

}  // namespace

Findings track_several(const TrackingJob& job, Results& results, Warnings& warnings) {
    const RecordedLines recorded = read(job);
    echosieve::LinesOptions options;
    options.track = job.run.options.track;
    options.threads = job.threads;
    const auto start = std::chrono::steady_clock::now();
    const LinesMotion motion = echosieve::track_lines(recorded, options);
    const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
    Findings found = findings_of(motion, recorded);
    found.seconds = took.count();
    warnings.tell(found.warnings);
    if (found.walls) {
        write_lines_motion(motion, results);
        if (job.wall_echoes) {
            const std::size_t shown = shown_line(motion);
            write_wall_echoes(motion.lines[shown].motion, recorded.lines[shown],
                              results.stage("wall_echoes.npy"));
        }
    }
    if (wants_pictures(job)) {
        found.pictures = draw(recorded, motion, options.track, results);
    }
    return found;
}

}  // namespace examples
