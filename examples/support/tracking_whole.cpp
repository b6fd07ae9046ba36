#include <algorithm>
#include <chrono>
#include <cmath>
#include <complex>
#include <cstdio>

#include "echosieve/io/npy.hpp"
#include "echosieve/io/recording_file.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "support/motion_pictures.hpp"
#include "support/result_tables.hpp"
#include "support/text.hpp"
#include "support/tracking.hpp"
#include "support/tracking_options.hpp"
#include "support/wall_words.hpp"

namespace examples {
namespace {

using echosieve::ArteryMotion;
using echosieve::RecordingSettings;
using echosieve::WallReport;
using nlohmann::ordered_json;

void write_motion(const ArteryMotion& motion, const std::filesystem::path& file) {
    echosieve::CsvWriter table = motion_table(file);
    for (const auto& m : motion) {
        write_frame(m, table);
    }
    table.commit();
}

// The wall echoes alone, as real samples on the recording's own grid.
void write_wall_echoes(const ArteryMotion& motion, const echosieve::Recording& recording,
                       const std::filesystem::path& file) {
    const echosieve::SamplingGrid grid = recording.settings.grid(recording.sample_count());
    echosieve::NpyWriter out(file, motion.frames.size(), grid.count);
    std::vector<float> row(grid.count);
    for (std::size_t i = 0; i < motion.frames.size(); ++i) {
        std::ranges::fill(row, 0.0F);
        for (const WallReport* wall : {&motion.near, &motion.far}) {
            if (wall->strength[i] != 0) {  // 0: not seen
                echosieve::add_moved_echoes(wall->reference, wall->displacement[i],
                                            wall->strength[i], recording.settings, grid, row);
            }
        }
        out.write(row);
    }
    out.commit();
}

ordered_json wall_json(const WallReport& wall) {
    ordered_json echoes = ordered_json::array();
    for (const auto& echo : wall.reference) {
        echoes.push_back({{"arrival_s", echo.atom.arrival},
                          {"centre_frequency_hz", echo.atom.centre_frequency},
                          {"bandwidth_hz", echo.atom.bandwidth},
                          {"amplitude", std::abs(echo.amplitude)},
                          {"phase_rad", std::arg(echo.amplitude)}});
    }
    return {{"depth_m", wall.depth},
            {"depth_std_m", wall.depth_std},
            {"pulse_displacement_m", wall.pulse_share},
            {"bulk_motion_share", wall.bulk_share},
            {"overlapping_tissue_pulse_displacement_m", wall.tissue_pulse_share},
            {"unexplained_power", wall.residual},
            {"own_motion_rms_m", wall.own_motion},
            {"confidence", wall.confidence},
            {"presence", wall.presence},
            {"separability_rad", wall.separability},
            {"separable", wall.separable},
            {"noise_std_m", wall.noise_std},
            {"gain_std", wall.gain_std},
            {"model_std_m", wall.model_std},
            {"limited_by", describe(wall.limit)},
            {"reference_echoes", echoes}};
}

ordered_json less_sure_json(LessSure wall) {
    return wall == LessSure::neither ? ordered_json()
                                     : ordered_json(wall == LessSure::near ? "near" : "far");
}

// All of the motion, or why there is none.
std::vector<std::string> draw(const echosieve::Recording& recording, const ArteryMotion& motion,
                              const echosieve::TrackOptions& options, const Results& results) {
    if (!motion.frames.empty()) {
        return draw_pictures(recording, motion, options, results);
    }
    return draw_failure(image_of(recording), failure_of(motion), options, results);
}

std::string remarks_on(const WallReport& wall, const char* name) {
    return text_of(
        "%s wall: gain to within %.1f %%, besides %.1f um in a frame (standard deviations); %s.\n",
        name, 100 * wall.gain_std, 1e6 * std::hypot(wall.noise_std, wall.model_std),
        limit_words(wall.limit).c_str());
}

std::string depths_in_words(const ArteryMotion& motion) {
    std::string text = text_of(
        "Near wall at %.2f mm, far wall at %.2f mm, standard deviations %.2f and %.2f mm.\n",
        1e3 * motion.near.depth, 1e3 * motion.far.depth, 1e3 * motion.near.depth_std,
        1e3 * motion.far.depth_std);
    const echosieve::DepthCorrection& by = motion.depth_correction;
    if (by.near != 0 || by.far != 0) {
        text +=
            text_of("Corrected for the sensor's width: near wall %+.3f mm, far wall %+.3f mm.\n",
                    1e3 * by.near, 1e3 * by.far);
    }
    return text + "The diameter is from " + std::string(diameter_words(motion.layer)) +
           text_of(", its level sure to %.2f mm.\n", 1e3 * motion.diameter_level_std);
}

// Each wall, what speaks against it, and which one is the likelier to be wrong.
std::string remarks_on(const ArteryMotion& motion) {
    std::string remarks = depths_in_words(motion);
    for (const bool far : {false, true}) {
        const WallReport& wall = far ? motion.far : motion.near;
        const WallReport& partner = far ? motion.near : motion.far;
        remarks += remarks_on(wall, far ? "Far" : "Near");
        for (const std::string& doubt : doubts_of(wall, partner)) {
            remarks += text_of("Doubtful, the %s wall: %s.\n", far ? "far" : "near", doubt.c_str());
        }
    }
    const LessSure lesser = less_sure_wall(motion);
    if (lesser != LessSure::neither) {
        remarks += text_of("If one of the walls is wrong, it is rather the %s wall.\n",
                           lesser == LessSure::near ? "near" : "far");
    }
    return remarks;
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
    found.details = {{"dropped_frames", motion.dropped},
                     {"clipped_frames", motion.clipped},
                     {"frames_without_contact", motion.without_contact},
                     {"unassociated_frames", motion.unassociated},
                     {"tissue_coherence", motion.coherence}};
    if (found.walls) {
        found.remarks = remarks_on(motion);
        const echosieve::DepthCorrection& by = motion.depth_correction;
        found.details["depth_correction"] = {{"near_m", by.near}, {"far_m", by.far}};
        found.details["diameter_level_std_m"] = motion.diameter_level_std;
        found.details["near_wall"] = wall_json(motion.near);
        found.details["far_wall"] = wall_json(motion.far);
        found.details["near_wall"]["doubts"] = doubts_of(motion.near, motion.far);
        found.details["far_wall"]["doubts"] = doubts_of(motion.far, motion.near);
        found.details["less_sure_wall"] = less_sure_json(less_sure_wall(motion));
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
        write_motion(motion, results.stage("motion.csv"));
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
