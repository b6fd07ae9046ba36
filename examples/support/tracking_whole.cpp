#include <algorithm>
#include <chrono>

#include "echosieve/io/recording_file.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "support/motion_pictures.hpp"
#include "support/motion_report.hpp"
#include "support/text.hpp"
#include "support/tracking.hpp"
#include "support/tracking_options.hpp"

namespace examples {
namespace {

using echosieve::ArteryMotion;

// All of the motion, or why there is none.
std::vector<std::string> draw(const echosieve::Recording& recording, const ArteryMotion& motion,
                              const echosieve::TrackOptions& options, const Results& results) {
    if (!motion.frames.empty()) {
        return draw_pictures(recording, motion, options, results);
    }
    return draw_failure(image_of(recording), failure_of(motion), options, results);
}

Findings findings_of(const ArteryMotion& motion, const echosieve::Recording& recording) {
    Findings found;
    found.settings = recording.settings;
    found.status = motion.status;
    found.walls = !motion.frames.empty();
    found.pulse_delay = motion.pulse_delay;
    found.warnings = motion.warnings;
    found.trust = motion.trust;
    std::ranges::for_each(motion, [&](const auto& m) { found.totals.add(m); });
    found.totals.frames = recording.frame_count();
    found.flaws = text_of("; %zu dropped, %zu clipped, %zu without the walls' echoes",
                          motion.dropped, motion.clipped, motion.unassociated);
    found.details = flaws_json(motion);
    if (found.walls) {
        found.remarks = remarks_on(motion);
        found.details.update(walls_json(motion));
    }
    return found;
}

}  // namespace

Findings track_whole(const TrackingJob& job, Results& results, Warnings& warnings) {
    echosieve::Recording recording = echosieve::read_recording(job.samples, job.meta);
    recording.settings = with_pulse_delay(recording.settings, job.run.pulse_delay);
    const auto start = std::chrono::steady_clock::now();
    const ArteryMotion motion = echosieve::track_artery(recording, job.run.options.track);
    const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
    Findings found = findings_of(motion, recording);
    found.seconds = took.count();
    warnings.tell(found.warnings);
    if (found.walls) {
        write_motion(motion.frames, results.stage("motion.csv"));
        if (job.wall_echoes) {
            write_wall_echoes(motion, recording, results.stage("wall_echoes.npy"));
        }
    }
    if (wants_pictures(job)) {
        found.pictures = draw(recording, motion, job.run.options.track, results);
    }
    return found;
}

}  // namespace examples
