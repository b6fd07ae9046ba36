#include "outputs.hpp"

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <complex>
#include <cstdio>
#include <nlohmann/json.hpp>
#include <span>
#include <string>
#include <vector>

#include "blocks.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/settings_warnings.hpp"
#include "echosieve/io/csv.hpp"
#include "echosieve/io/file_error.hpp"
#include "echosieve/io/npy.hpp"
#include "echosieve/io/recording_file.hpp"
#include "echosieve/io/recording_reader.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/pulse_delay.hpp"
#include "pictures.hpp"
#include "support/command_line.hpp"
#include "support/input_size.hpp"
#include "support/plot.hpp"
#include "support/results.hpp"
#include "support/tracking_options.hpp"
#include "tables.hpp"

namespace track_artery {
namespace {

namespace fs = std::filesystem;
using echosieve::ArteryMotion;
using echosieve::Echo;
using echosieve::Gabor;
using echosieve::RecordingSettings;
using echosieve::SamplingGrid;
using echosieve::WallReport;

// Of every run in that folder, this program's: the last one tells that the set is whole.
const std::vector<std::string> result_names = {
    "motion.csv",          "blocks.csv",          "wall_echoes.npy",
    "measured_m_mode.png", "wall_m_mode.png",     "frame_echoes.png",
    "motion.png",          "summary_failed.json", "summary.json"};

void write_motion(const ArteryMotion& motion, const fs::path& file) {
    echosieve::CsvWriter table = motion_table(file);
    for (const auto& m : motion) {
        write_frame(m, table);
    }
    table.commit();
}

// The echoes of a wall in one frame; none where it was not seen.
std::vector<Echo<Gabor<double>>> frame_echoes(const WallReport& wall, std::size_t frame,
                                              const RecordingSettings& settings) {
    if (wall.strength[frame] == 0) {
        return {};
    }
    return echosieve::moved_echoes(wall.reference, wall.displacement[frame], wall.strength[frame],
                                   settings);
}

// The wall echoes alone, as real samples on the recording's own grid.
void write_wall_echoes(const ArteryMotion& motion, const RecordingSettings& settings,
                       const SamplingGrid& grid, const fs::path& file) {
    echosieve::NpyWriter out(file, motion.frames.size(), grid.count);
    std::vector<float> row(grid.count);
    for (std::size_t i = 0; i < motion.frames.size(); ++i) {
        std::ranges::fill(row, 0.0F);
        for (const WallReport* wall : {&motion.near, &motion.far}) {
            if (wall->strength[i] != 0) {  // 0: not seen
                echosieve::add_moved_echoes(wall->reference, wall->displacement[i],
                                            wall->strength[i], settings, grid, row);
            }
        }
        out.write(row);
    }
    out.commit();
}

nlohmann::ordered_json wall_json(const WallReport& wall) {
    nlohmann::ordered_json echoes = nlohmann::ordered_json::array();
    for (const auto& echo : wall.reference) {
        echoes.push_back({{"arrival_s", echo.atom.arrival},
                          {"centre_frequency_hz", echo.atom.centre_frequency},
                          {"bandwidth_hz", echo.atom.bandwidth},
                          {"amplitude", std::abs(echo.amplitude)},
                          {"phase_rad", std::arg(echo.amplitude)}});
    }
    return {{"depth_m", wall.depth},
            {"pulse_displacement_m", wall.pulse_share},
            {"bulk_motion_share", wall.bulk_share},
            {"overlapping_tissue_pulse_displacement_m", wall.tissue_pulse_share},
            {"unexplained_power", wall.residual},
            {"own_motion_rms_m", wall.own_motion},
            {"confidence", wall.confidence},
            {"reference_echoes", echoes}};
}

struct Extent {
    double mean = 0, low = INFINITY, high = -INFINITY;
};

Extent diameter_extent(const ArteryMotion& motion) {
    Extent extent;
    const auto count = static_cast<double>(motion.valid_frames());
    for (const auto& m : motion) {
        if (m.valid) {
            extent.mean += m.diameter / count;
            extent.low = std::min(extent.low, m.diameter);
            extent.high = std::max(extent.high, m.diameter);
        }
    }
    return extent;
}

nlohmann::ordered_json summary_of(const Job& job, const echosieve::Recording& recording,
                                  const ArteryMotion& motion,
                                  const std::vector<std::string>& pictures) {
    nlohmann::ordered_json summary = summary_head(job, recording.settings);
    summary["status"] = std::string(echosieve::describe(motion.status));
    summary["both_walls_followed"] = motion.usable();
    summary["frames"] = recording.frame_count();
    summary["valid_frames"] = motion.valid_frames();
    summary["dropped_frames"] = motion.dropped;
    summary["clipped_frames"] = motion.clipped;
    summary["frames_without_contact"] = motion.without_contact;
    summary["unassociated_frames"] = motion.unassociated;
    summary["tissue_coherence"] = motion.coherence;
    summary["warnings"] = motion.warnings;
    summary["trust"] = motion.trust;
    if (!motion.frames.empty()) {
        const Extent diameter = diameter_extent(motion);
        summary["pulse_delay"] = pulse_delay_json(motion.pulse_delay);
        summary["near_wall"] = wall_json(motion.near);
        summary["far_wall"] = wall_json(motion.far);
        if (motion.valid_frames() > 0) {
            summary["diameter_mean_m"] = diameter.mean;
            summary["diameter_smallest_m"] = diameter.low;
            summary["diameter_largest_m"] = diameter.high;
        }
    }
    summary["seed"] = nullptr;  // the tracking draws no random numbers
    summary["pictures"] = pictures;
    return summary;
}

// Finer in depth than the tracking needs, for the eye.
echosieve::Baseband<float> picture_baseband(const echosieve::Recording& recording) {
    return std::visit(
        [&](const auto& frames) {
            return echosieve::to_baseband<float>(frames.view(), recording.settings,
                                                 {.cutoff = 1.1, .rate = 12});
        },
        recording.samples);
}

Eigen::ArrayXd real_samples(const Eigen::ArrayXcf& baseband, const SamplingGrid& from,
                            const SamplingGrid& to) {
    // Linear interpolation of the slowly varying baseband, then back up to the carrier.
    Eigen::ArrayXd x(static_cast<Eigen::Index>(to.count));
    for (Eigen::Index i = 0; i < x.size(); ++i) {
        const double time = to.time(static_cast<double>(i));
        const double place =
            std::clamp(from.index(time), 0.0, static_cast<double>(from.count) - 1.001);
        const auto k = static_cast<Eigen::Index>(place);
        const double part = place - static_cast<double>(k);
        const std::complex<double> y = (1 - part) * std::complex<double>(baseband[k]) +
                                       part * std::complex<double>(baseband[k + 1]);
        x[i] = (y * echosieve::unit_phasor(from.mixing_frequency * time)).real();
    }
    return x;
}

PictureData picture_data(const echosieve::Recording& recording, const ArteryMotion& motion) {
    PictureData data;
    data.settings = &recording.settings;
    data.motion = &motion;
    const echosieve::Baseband<float> baseband = picture_baseband(recording);
    data.grid = baseband.grid;
    data.measured = baseband.samples.abs();
    data.isolated.setZero(baseband.samples.rows(), baseband.samples.cols());
    std::vector<std::complex<double>> row(data.grid.count);
    std::size_t best = 0;
    for (std::size_t i = 0; i < motion.frames.size(); ++i) {
        std::fill(row.begin(), row.end(), 0);
        for (const WallReport* wall : {&motion.near, &motion.far}) {
            for (const auto& echo : frame_echoes(*wall, i, recording.settings)) {
                echosieve::add(echo, data.grid, std::span(row));
            }
        }
        for (std::size_t k = 0; k < row.size(); ++k) {
            data.isolated(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(k)) =
                static_cast<float>(std::abs(row[k]));
        }
        best = motion.frames[i].quality > motion.frames[best].quality ? i : best;
    }
    data.frame_index = best;
    data.frame_grid = recording.settings.grid(recording.sample_count());
    data.frame = real_samples(baseband.samples.row(static_cast<Eigen::Index>(best)), data.grid,
                              data.frame_grid);
    data.frame_walls.setZero(data.frame.size());
    for (const WallReport* wall : {&motion.near, &motion.far}) {
        for (const auto& echo : frame_echoes(*wall, best, recording.settings)) {
            echosieve::add(echo, data.frame_grid,
                           std::span<double>(data.frame_walls.data(), data.frame_grid.count));
        }
    }
    return data;
}

void print_findings(const Job& job, const RecordingSettings& settings, const ArteryMotion& motion,
                    double seconds, double recorded) {
    const Extent diameter = diameter_extent(motion);
    double near_std = 0;
    double far_std = 0;
    const auto count = static_cast<double>(motion.valid_frames());
    for (const auto& m : motion) {
        if (m.valid) {
            near_std += m.near_wall_std / count;
            far_std += m.far_wall_std / count;
        }
    }
    std::printf("Near wall at %.2f mm, far wall at %.2f mm.\n", 1e3 * motion.near.depth,
                1e3 * motion.far.depth);
    print_pulse_delay(motion.pulse_delay, settings);
    std::printf("Diameter %.3f to %.3f mm, mean %.3f mm.\n", 1e3 * diameter.low,
                1e3 * diameter.high, 1e3 * diameter.mean);
    std::printf("Standard deviation of a frame: near wall %.1f um, far wall %.1f um.\n",
                1e6 * near_std, 1e6 * far_std);
    constexpr double doubtful = 0.8;
    for (const bool far : {false, true}) {
        const double confidence = (far ? motion.far : motion.near).confidence;
        if (confidence < doubtful) {
            std::printf(
                "Doubtful: the %s wall may not be the wall, or have lost a cycle (confidence "
                "%.2f).\n",
                far ? "far" : "near", confidence);
        }
    }
    std::printf(
        "%zu of %zu frames valid; %zu dropped, %zu clipped, %zu without the walls' echoes.\n",
        motion.valid_frames(), motion.frames.size(), motion.dropped, motion.clipped,
        motion.unassociated);
    std::printf("Tracked %.2f s of recording in %.2f s. Results in %s.\n", recorded, seconds,
                echosieve::printable(job.folder.string()).c_str());
}

std::vector<std::string> draw(const Job& job, const echosieve::Recording& recording,
                              const ArteryMotion& motion, examples::Results& results) {
    if (!job.pictures) {
        return {};
    }
    if (!examples::has_gnuplot()) {
        std::fprintf(stderr,
                     "track_artery: no pictures: gnuplot was not found; install it (package "
                     "gnuplot-nox), or pass --no-pictures\n");
        return {};
    }
    return draw_pictures(picture_data(recording, motion), results);
}

int follow_whole(const Job& job, examples::Results& results, examples::Warnings& warnings) {
    echosieve::Recording recording = echosieve::read_recording(job.samples, job.meta);
    recording.settings = examples::with_pulse_delay(recording.settings, job.run.pulse_delay);
    const auto start = std::chrono::steady_clock::now();
    const ArteryMotion motion = echosieve::track_artery(recording, job.run.options.track);
    const double seconds =
        std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    warnings.tell(motion.warnings);
    std::vector<std::string> pictures;
    if (!motion.frames.empty()) {
        write_motion(motion, results.stage("motion.csv"));
        if (job.wall_echoes) {
            write_wall_echoes(motion, recording.settings,
                              recording.settings.grid(recording.sample_count()),
                              results.stage("wall_echoes.npy"));
        }
        pictures = draw(job, recording, motion, results);
    }
    nlohmann::ordered_json summary = summary_of(job, recording, motion, pictures);
    summary["tracking_seconds"] = seconds;
    put_in_place(job, results, summary, !motion.frames.empty());
    if (motion.frames.empty()) {
        std::fprintf(stderr, "track_artery: %s: %s (%zu frames, %zu dropped, %zu clipped)\n",
                     echosieve::printable(job.samples.string()).c_str(),
                     std::string(echosieve::describe(motion.status)).c_str(),
                     recording.frame_count(), motion.dropped, motion.clipped);
        return examples::not_followed;
    }
    print_findings(job, recording.settings, motion, seconds,
                   static_cast<double>(recording.frame_count()) / recording.settings.frame_rate);
    if (!motion.usable()) {
        std::fprintf(stderr, "track_artery: %s\n",
                     std::string(echosieve::describe(motion.status)).c_str());
    }
    std::printf("%s\n", examples::notice);
    return motion.usable() ? 0 : examples::not_followed;
}

// Depths that the recording does not reach can only be a slip.
void check_depths(const Job& job, const echosieve::RecordingReader& reader) {
    const RecordingSettings& settings = reader.settings();
    const SamplingGrid grid = settings.grid(reader.samples());
    const double first = settings.depth(grid.time(0));
    const double last = settings.depth(grid.time(static_cast<double>(grid.count - 1)));
    std::array<char, 100> recorded{};
    std::snprintf(recorded.data(), recorded.size(),
                  "lie outside the recording, %.3g to %.3g mm; depths are given in metres",
                  1e3 * first, 1e3 * last);
    const echosieve::WallFinderOptions& walls = job.run.options.track.walls;
    for (const bool far : {false, true}) {
        const echosieve::DepthRange& range = far ? walls.far_range : walls.near_range;
        if (range.from > last || range.to < first) {
            throw echosieve::InvalidInput(echosieve::detail::concatenate(
                far ? "the far" : "the near", " wall's depths, ", range.from, " to ", range.to,
                " m, ", recorded.data()));
        }
    }
    echosieve::require(
        walls.dead_zone < last - first, "--dead-zone", walls.dead_zone,
        echosieve::detail::concatenate("must be shorter than the line, ", last - first, " m"));
}

}  // namespace

int run(const Job& job) {
    constexpr double memory_over_file = 3;  // followed as a whole
    echosieve::RecordingReader reader(job.samples, job.meta);
    examples::tell_unknown_settings(job.meta);
    examples::Warnings warnings("track_artery");
    warnings.tell(echosieve::settings_warnings(
        examples::with_pulse_delay(reader.settings(), job.run.pulse_delay), reader.samples()));
    validate(job.run.options.track);
    echosieve::require(reader.samples() <= examples::longest_frame, "samples a frame",
                       reader.samples(),
                       echosieve::detail::concatenate("must not exceed ", examples::longest_frame));
    check_depths(job, reader);
    std::vector<fs::path> inputs = {job.samples, job.meta, echosieve::settings_path(job.samples)};
    if (!job.settings.empty()) {
        inputs.push_back(job.settings);
    }
    examples::Results results({job.folder, "track_artery", result_names, inputs});
    Job known = job;
    known.run.in_blocks = job.run.in_blocks.value_or(reader.duration() > longest_whole);
    if (!*known.run.in_blocks) {
        examples::require_memory(job.samples, memory_over_file,
                                 ": follow it in blocks (--block 4)");
    }
    return *known.run.in_blocks ? run_in_blocks(known, reader, results, warnings)
                                : follow_whole(known, results, warnings);
}

}  // namespace track_artery
