#include <algorithm>
#include <chrono>
#include <cstdint>
#include <optional>
#include <variant>

#include "echosieve/motion/block_tracker.hpp"
#include "support/motion_pictures.hpp"
#include "support/progress.hpp"
#include "support/result_tables.hpp"
#include "support/text.hpp"
#include "support/tracking.hpp"
#include "support/tracking_options.hpp"

namespace examples {
namespace {

using echosieve::BlockRecord;
using echosieve::RecordingReader;

bool has_walls(const BlockRecord& block) {
    return block.fitted_count > 0;
}
bool is_acquired(const BlockRecord& block) {
    return block.origin == echosieve::BlockOrigin::acquired;
}
bool is_broken(const BlockRecord& block) {
    return block.seam == echosieve::Seam::broken;
}

std::size_t count_if(const std::vector<BlockRecord>& blocks, bool (*wanted)(const BlockRecord&)) {
    return static_cast<std::size_t>(std::count_if(blocks.begin(), blocks.end(), wanted));
}

// Where the frames go to.
struct BlockCourse {
    const echosieve::BlockOptions& options;
    std::filesystem::path file;  // motion.csv
    BlockPictures* pictures;     // none wanted: nullptr
};

template <class T>
void show(const echosieve::FrameView<T>& frames, std::size_t first, BlockPictures* pictures) {
    for (std::size_t i = 0; pictures != nullptr && i < frames.frames(); ++i) {
        pictures->image.add(first + i, frames[i]);
    }
}

// All frames through the tracker, each written once it is finished; motion.csv is there if any
// block has walls.
template <class T>
std::vector<BlockRecord> follow(RecordingReader& reader, const BlockCourse& course,
                                Findings& found) {
    echosieve::CsvWriter table = motion_table(course.file);
    Progress progress("tracking");
    echosieve::BlockTracker<T> tracker(found.settings, reader.samples(), course.options);
    const auto write_finished = [&] {
        for (const echosieve::FrameMotion& motion : tracker.take()) {
            write_frame(motion, table);
            found.totals.add(motion);
            if (course.pictures != nullptr) {
                course.pictures->motion.add(motion);
            }
        }
    };
    // A tenth of a second, unless that is much.
    constexpr std::size_t most_values = std::size_t{1} << 24;
    const std::size_t piece =
        std::clamp<std::size_t>(static_cast<std::size_t>(found.settings.frame_rate / 10), 1,
                                std::max<std::size_t>(1, most_values / reader.samples()));
    while (reader.position() < reader.frames()) {
        const std::size_t first = reader.position();
        const auto frames = reader.read(piece);
        const auto view = std::get<echosieve::FrameMatrix<T>>(frames).view();
        tracker.push(view);
        show(view, first, course.pictures);
        write_finished();
        progress.show(reader.position(), reader.frames());
    }
    tracker.finish();
    write_finished();
    progress.finish();
    found.pulse_delay = tracker.pulse_delay();
    found.warnings = tracker.warnings();
    found.trust = tracker.trust();
    found.walls = count_if(tracker.blocks(), has_walls) > 0;
    if (found.walls) {
        table.commit();
    }
    return tracker.blocks();
}

Failure block_failure(const Findings& found, const std::vector<BlockRecord>& blocks) {
    std::size_t usable = 0;
    std::size_t frames = 0;
    for (const BlockRecord& block : blocks) {
        usable += block.usable;
        frames += block.count;
    }
    return {std::string(describe(found.status)),
            text_of("Looked for in each of %zu blocks; %.0f %% of their frames are usable",
                    blocks.size(),
                    100 * static_cast<double>(usable) /
                        static_cast<double>(std::max<std::size_t>(1, frames))),
            {}};
}

}  // namespace

Findings track_by_blocks(const TrackingJob& job, RecordingReader& reader, Results& results,
                         Warnings& warnings) {
    const echosieve::BlockOptions& options = job.run.options;
    validate(options);
    Findings found;
    found.settings = with_pulse_delay(reader.settings(), job.run.pulse_delay);
    const auto start = std::chrono::steady_clock::now();
    std::optional<BlockPictures> pictures;
    if (wants_pictures(job)) {
        pictures.emplace(MModeImage(reader.frames(), reader.samples(), found.settings),
                         MotionColumns(reader.frames()));
    }
    const BlockCourse course{options, results.stage("motion.csv"), pictures ? &*pictures : nullptr};
    const std::vector<BlockRecord> blocks = reader.stores_float()
                                                ? follow<float>(reader, course, found)
                                                : follow<std::int16_t>(reader, course, found);
    found.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    found.status = echosieve::status_of(found.totals.valid, found.totals.frames, blocks);
    warnings.tell(found.warnings);
    write_blocks(blocks, results.stage("blocks.csv"));
    const std::size_t with_walls = count_if(blocks, has_walls);
    found.details = {{"blocks", blocks.size()},
                     {"blocks_with_walls", with_walls},
                     {"blocks_acquired", count_if(blocks, is_acquired)},
                     {"broken_seams", count_if(blocks, is_broken)}};
    found.remarks = text_of("Followed in %zu blocks of %g s; walls in %zu of them.\n",
                            blocks.size(), options.length, with_walls);
    if (job.wall_echoes) {
        found.remarks += "No wall_echoes.npy: that is made of a whole (--block 0).\n";
    }
    if (pictures) {
        found.pictures = found.walls
                             ? draw_block_pictures(*pictures, blocks, options.track, results)
                             : draw_failure(pictures->image, block_failure(found, blocks),
                                            options.track, results);
    }
    return found;
}

}  // namespace examples
