#include "support/motion_report.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>

#include "echosieve/io/npy.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "support/result_tables.hpp"
#include "support/text.hpp"
#include "support/wall_words.hpp"

namespace examples {
namespace {

using echosieve::ArteryMotion;
using echosieve::WallReport;
using nlohmann::ordered_json;

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

std::string wall_in_words(const WallReport& wall, const char* name) {
    return text_of(
        "%s wall: gain to within %.1f %%, besides %.1f um in a frame (standard deviations); %s.\n",
        name, 100 * wall.gain_std, 1e6 * std::hypot(wall.noise_std, wall.model_std),
        limit_words(wall.limit).c_str());
}

std::string wall_doubts(const ArteryMotion& motion, bool far, const std::string& where) {
    const WallReport& wall = far ? motion.far : motion.near;
    std::string text;
    for (const std::string& doubt : doubts_of(wall, far ? motion.near : motion.far)) {
        text += text_of("Doubtful, the %s wall%s: %s.\n", far ? "far" : "near", where.c_str(),
                        doubt.c_str());
    }
    return text;
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

}  // namespace

void write_motion(const std::vector<echosieve::FrameMotion>& frames,
                  const std::filesystem::path& file) {
    echosieve::CsvWriter table = motion_table(file);
    for (const echosieve::FrameMotion& m : frames) {
        write_frame(m, table);
    }
    table.commit();
}

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

ordered_json flaws_json(const ArteryMotion& motion) {
    return {{"dropped_frames", motion.dropped},
            {"clipped_frames", motion.clipped},
            {"frames_without_contact", motion.without_contact},
            {"unassociated_frames", motion.unassociated},
            {"tissue_coherence", motion.coherence}};
}

ordered_json walls_json(const ArteryMotion& motion) {
    const echosieve::DepthCorrection& by = motion.depth_correction;
    ordered_json json;
    json["depth_correction"] = {{"near_m", by.near}, {"far_m", by.far}};
    json["diameter_level_std_m"] = motion.diameter_level_std;
    json["near_wall"] = wall_json(motion.near);
    json["far_wall"] = wall_json(motion.far);
    json["near_wall"]["doubts"] = doubts_of(motion.near, motion.far);
    json["far_wall"]["doubts"] = doubts_of(motion.far, motion.near);
    json["less_sure_wall"] = less_sure_json(less_sure_wall(motion));
    return json;
}

std::string doubts_in_words(const ArteryMotion& motion, const std::string& where) {
    return wall_doubts(motion, false, where) + wall_doubts(motion, true, where);
}

std::string remarks_on(const ArteryMotion& motion) {
    std::string remarks = depths_in_words(motion);
    for (const bool far : {false, true}) {
        remarks += wall_in_words(far ? motion.far : motion.near, far ? "Far" : "Near") +
                   wall_doubts(motion, far, "");
    }
    const LessSure lesser = less_sure_wall(motion);
    if (lesser != LessSure::neither) {
        remarks += text_of("If one of the walls is wrong, it is rather the %s wall.\n",
                           lesser == LessSure::near ? "near" : "far");
    }
    return remarks;
}

}  // namespace examples
