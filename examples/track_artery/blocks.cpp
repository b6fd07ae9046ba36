#include "blocks.hpp"

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>
#include <string>
#include <variant>

#include "echosieve/io/csv.hpp"
#include "echosieve/io/files.hpp"
#include "echosieve/motion/block_tracker.hpp"
#include "support/command_line.hpp"
#include "support/progress.hpp"
#include "support/tracking_options.hpp"
#include "tables.hpp"

namespace track_artery {
namespace {

using echosieve::BlockRecord;
using echosieve::RecordingReader;

// What is known of all frames without keeping them.
struct Totals {
    std::size_t frames = 0;
    std::size_t valid = 0;
    double sum = 0;
    double low = INFINITY;
    double high = -INFINITY;

    void add(const echosieve::FrameMotion& motion) {
        ++frames;
        if (motion.valid) {
            ++valid;
            sum += motion.diameter;
            low = std::min(low, motion.diameter);
            high = std::max(high, motion.diameter);
        }
    }
};

struct Outcome {
    Totals totals;
    std::vector<BlockRecord> blocks;
    echosieve::TrackStatus status = echosieve::TrackStatus::not_run;
    echosieve::PulseDelay pulse_delay;
    std::vector<std::string> warnings;
    double trust = 1;
};

bool has_walls(const BlockRecord& block) {
    return block.fitted_count > 0;
}

template <class T>
Outcome follow(RecordingReader& reader, const echosieve::RecordingSettings& settings,
               const echosieve::BlockOptions& options, const std::filesystem::path& file) {
    echosieve::CsvWriter table = motion_table(file);
    examples::Progress progress("tracking");
    echosieve::BlockTracker<T> tracker(settings, reader.samples(), options);
    Outcome out;
    const auto write_finished = [&] {
        for (const echosieve::FrameMotion& motion : tracker.take()) {
            write_frame(motion, table);
            out.totals.add(motion);
        }
    };
    // A tenth of a second, unless that is much.
    constexpr std::size_t most_values = std::size_t{1} << 24;
    const std::size_t piece =
        std::clamp<std::size_t>(static_cast<std::size_t>(settings.frame_rate / 10), 1,
                                std::max<std::size_t>(1, most_values / reader.samples()));
    while (reader.position() < reader.frames()) {
        const auto frames = reader.read(piece);
        tracker.push(std::get<echosieve::FrameMatrix<T>>(frames).view());
        write_finished();
        progress.show(reader.position(), reader.frames());
    }
    tracker.finish();
    write_finished();
    progress.finish();
    out.blocks = tracker.blocks();
    out.pulse_delay = tracker.pulse_delay();
    out.warnings = tracker.warnings();
    out.trust = tracker.trust();
    out.status = echosieve::status_of(out.totals.valid, out.totals.frames, out.blocks);
    if (std::any_of(out.blocks.begin(), out.blocks.end(), has_walls)) {
        table.commit();
    }
    return out;
}

void write_blocks(const std::vector<BlockRecord>& blocks, const std::filesystem::path& file) {
    echosieve::AtomicFile out(file);
    out.stream() << "start_s,end_s,status,origin,seam,fitted_first,fitted_frames,usable_frames,"
                    "valid_frames,quality,near_depth_m,far_depth_m,near_offset_m,far_offset_m,"
                    "near_jump_m,far_jump_m,misfit_m\n";
    for (const BlockRecord& b : blocks) {
        std::array<char, 512> line{};
        std::snprintf(line.data(), line.size(),
                      "%.6f,%.6f,\"%s\",%s,%s,%zu,%zu,%zu,%zu,%.4f,%.9f,%.9f,%.9f,%.9f,%.9f,%.9f,"
                      "%.9f\n",
                      b.start, b.end, std::string(describe(b.status)).c_str(),
                      std::string(describe(b.origin)).c_str(),
                      std::string(describe(b.seam)).c_str(), b.fitted_first, b.fitted_count,
                      b.usable, b.valid, b.quality, b.near_depth, b.far_depth, b.near_offset,
                      b.far_offset, b.near_jump, b.far_jump, b.misfit);
        out.stream() << line.data();
    }
    out.commit();
}

std::size_t count_if(const std::vector<BlockRecord>& blocks, bool (*wanted)(const BlockRecord&)) {
    return static_cast<std::size_t>(std::count_if(blocks.begin(), blocks.end(), wanted));
}

nlohmann::ordered_json summary_of(const Job& job, const echosieve::RecordingSettings& settings,
                                  const Outcome& outcome, double seconds) {
    nlohmann::ordered_json summary = summary_head(job, settings);
    summary["status"] = std::string(echosieve::describe(outcome.status));
    summary["both_walls_followed"] = outcome.status == echosieve::TrackStatus::tracked;
    summary["frames"] = outcome.totals.frames;
    summary["valid_frames"] = outcome.totals.valid;
    summary["blocks"] = outcome.blocks.size();
    summary["blocks_with_walls"] = count_if(outcome.blocks, has_walls);
    summary["blocks_acquired"] = count_if(outcome.blocks, [](const BlockRecord& b) {
        return b.origin == echosieve::BlockOrigin::acquired;
    });
    summary["broken_seams"] = count_if(
        outcome.blocks, [](const BlockRecord& b) { return b.seam == echosieve::Seam::broken; });
    if (outcome.totals.valid > 0) {
        summary["diameter_mean_m"] = outcome.totals.sum / static_cast<double>(outcome.totals.valid);
        summary["diameter_smallest_m"] = outcome.totals.low;
        summary["diameter_largest_m"] = outcome.totals.high;
    }
    summary["warnings"] = outcome.warnings;
    summary["trust"] = outcome.trust;
    summary["pulse_delay"] = pulse_delay_json(outcome.pulse_delay);
    summary["seed"] = nullptr;
    summary["tracking_seconds"] = seconds;
    return summary;
}

}  // namespace

int run_in_blocks(const Job& job, RecordingReader& reader, examples::Results& results,
                  examples::Warnings& warnings) {
    const echosieve::BlockOptions& options = job.run.options;
    validate(options);
    const echosieve::RecordingSettings settings =
        examples::with_pulse_delay(reader.settings(), job.run.pulse_delay);
    const auto start = std::chrono::steady_clock::now();
    const std::filesystem::path table = results.stage("motion.csv");
    const Outcome outcome = reader.stores_float()
                                ? follow<float>(reader, settings, options, table)
                                : follow<std::int16_t>(reader, settings, options, table);
    const double seconds =
        std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    warnings.tell(outcome.warnings);
    write_blocks(outcome.blocks, results.stage("blocks.csv"));
    const std::size_t found = count_if(outcome.blocks, has_walls);
    put_in_place(job, results, summary_of(job, settings, outcome, seconds), found > 0);
    std::printf("Followed in %zu blocks of %g s; walls in %zu of them.\n", outcome.blocks.size(),
                options.length, found);
    if (outcome.totals.valid > 0) {
        print_pulse_delay(outcome.pulse_delay, settings);
        std::printf("Diameter %.3f to %.3f mm, mean %.3f mm.\n", 1e3 * outcome.totals.low,
                    1e3 * outcome.totals.high,
                    1e3 * outcome.totals.sum / static_cast<double>(outcome.totals.valid));
    }
    std::printf("%zu of %zu frames valid.\n", outcome.totals.valid, outcome.totals.frames);
    std::printf("Tracked %.2f s of recording in %.2f s. Results in %s.\n", reader.duration(),
                seconds, echosieve::printable(job.folder.string()).c_str());
    if (job.wall_echoes || job.pictures) {
        std::printf("No wall_echoes.npy and no pictures: those are made of a whole (--block 0).\n");
    }
    const bool usable = outcome.status == echosieve::TrackStatus::tracked;
    if (!usable) {
        std::fprintf(stderr, "track_artery: %s: %s\n",
                     echosieve::printable(job.samples.string()).c_str(),
                     std::string(echosieve::describe(outcome.status)).c_str());
    }
    std::printf("%s\n", examples::notice);
    return usable ? 0 : examples::not_followed;
}

}  // namespace track_artery
