#include "echosieve/motion/block_tracker.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>
#include <variant>
#include <vector>

#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "support/check.hpp"
#include "support/following.hpp"

using namespace echosieve;

namespace {

// Coarse in both times, to render and follow quickly; the band is kept whole.
SceneOptions scene_of(double seconds) {
    SceneOptions options;
    options.duration = seconds;
    options.settings.sampling_rate = 40e6;
    options.settings.frame_rate = 250;
    return options;
}

const FrameMatrix<std::int16_t>& samples_of(const SyntheticRecording& made) {
    return std::get<FrameMatrix<std::int16_t>>(made.recording.samples);
}

// rms, mean removed, of the diameter against the outer layer, over frames with a value from `from`
// on [m].
double diameter_error(const BlockMotion& motion, const Truth& truth, std::size_t from = 0) {
    test::Spread errors;
    for (std::size_t i = from; i < motion.frames.size(); ++i) {
        if (motion.frames[i].valid) {
            const WallDepths& w = truth.walls[i];
            errors.add(motion.frames[i].diameter - (w.far_outer - w.near_outer));
        }
    }
    return errors.deviation();
}

bool same_bits(double a, double b) {
    return std::memcmp(&a, &b, sizeof a) == 0;
}

}  // namespace

TEST_CASE("blocks follow a recording without steps at their seams, however it is pushed") {
    const SyntheticRecording made = render<std::int16_t>(Scene(scene_of(9), 1), 1);
    const BlockMotion motion = track_in_blocks(made.recording);
    REQUIRE(motion.usable());
    REQUIRE(motion.frames.size() == made.truth.walls.size());
    REQUIRE(motion.blocks.size() == 4);  // three of 4 s every 2 s, and one at the end
    CHECK(motion.valid_frames() == motion.frames.size());
    constexpr double error_limit = 5e-6;  // 3.2 um, and half as much for other compilers
    CHECK_WITHIN(diameter_error(motion, made.truth), 0.0, error_limit);
    constexpr double seam_limit = 10e-6;
    for (std::size_t k = 1; k < motion.blocks.size(); ++k) {
        CHECK(motion.blocks[k].seam == Seam::matched);
        CHECK_WITHIN(motion.blocks[k].misfit, 0.0, seam_limit);
    }
    // From frame to frame nothing jumps by more than the motion does.
    double jump = 0, moved = 0;
    for (std::size_t i = 1; i < motion.frames.size(); ++i) {
        jump = std::max(jump, std::abs(motion.frames[i].diameter - motion.frames[i - 1].diameter));
        const WallDepths& now = made.truth.walls[i];
        const WallDepths& before = made.truth.walls[i - 1];
        moved = std::max(
            moved, std::abs(now.far_inner - now.near_inner - before.far_inner + before.near_inner));
    }
    CHECK(jump < 1.3 * moved);
    // Pushed one by one, taken now and then: the same bits.
    const FrameMatrix<std::int16_t>& samples = samples_of(made);
    BlockTracker<std::int16_t> tracker(made.recording.settings, samples.samples());
    std::vector<FrameMotion> frames;
    const auto take = [&] {
        const std::vector<FrameMotion> taken = tracker.take();
        frames.insert(frames.end(), taken.begin(), taken.end());
    };
    for (std::size_t i = 0; i < samples.frames(); ++i) {
        tracker.push(samples[i]);
        CHECK(tracker.held() <= tracker.block_length());
        if (i % 173 == 0) {
            take();
        }
    }
    tracker.finish();
    take();
    REQUIRE(frames.size() == motion.frames.size());
    bool same = true;
    for (std::size_t i = 0; i < frames.size(); ++i) {
        same = same && same_bits(frames[i].near_wall, motion.frames[i].near_wall) &&
               same_bits(frames[i].far_wall, motion.frames[i].far_wall) &&
               same_bits(frames[i].diameter_std, motion.frames[i].diameter_std) &&
               frames[i].valid == motion.frames[i].valid;
    }
    CHECK(same);
}

TEST_CASE(
    "every frame pushed comes out, once and in turn, and lies in a block, whatever their number") {
    // 100 frames a block. Frames of nothing: what is followed in them is none, and quick.
    RecordingSettings settings = scene_of(1).settings;
    settings.frame_rate = 100;
    const std::vector<float> frame(64, 0.0F);
    for (const double overlap : {0.5, 0.3, 0.01}) {
        CAPTURE(overlap);
        BlockOptions options;
        options.length = options.shortest_fit = 1;
        options.overlap = overlap;
        for (std::size_t count = 0; count <= 320; ++count) {
            CAPTURE(count);
            BlockTracker<float> tracker(settings, frame.size(), options);
            std::vector<FrameMotion> frames;
            for (std::size_t i = 0; i < count; ++i) {
                tracker.push(frame);
                const std::vector<FrameMotion> taken = tracker.take();
                frames.insert(frames.end(), taken.begin(), taken.end());
            }
            tracker.finish();
            tracker.finish();
            const std::vector<FrameMotion> rest = tracker.take();
            frames.insert(frames.end(), rest.begin(), rest.end());
            REQUIRE(frames.size() == count);
            for (std::size_t i = 0; i < count; ++i) {
                REQUIRE(frames[i].time == static_cast<double>(i) / settings.frame_rate);
            }
            std::size_t covered = 0;
            for (const BlockRecord& block : tracker.blocks()) {
                REQUIRE(block.first <= covered);
                REQUIRE(block.first + block.count > covered);
                covered = block.first + block.count;
            }
            REQUIRE(covered == count);
        }
    }
}

TEST_CASE("a recording as long as the overlap, and as a block, is followed") {
    const SyntheticRecording made = render<std::int16_t>(Scene(scene_of(4), 1), 1);
    for (const std::size_t count : {500U, 1000U}) {
        CAPTURE(count);
        const BlockMotion motion =
            track_in_blocks(samples_of(made).view().part(0, count), made.recording.settings);
        CHECK(motion.usable());
        CHECK(motion.frames.size() == count);
        CHECK(motion.blocks.size() == 1);
    }
}

TEST_CASE("a long loss of contact is marked, and the walls are found again (long)") {
    for (const double level : {-60.0, -40.0}) {
        CAPTURE(level);
        SceneOptions options = scene_of(16);
        options.events.contact_loss_decibels = level;
        options.events.contact_loss_start = 5;
        options.events.contact_loss_length = 5;
        const SyntheticRecording made = render<std::int16_t>(Scene(options, 2), 2);
        const BlockMotion motion = track_in_blocks(made.recording);
        REQUIRE(motion.usable());
        std::size_t before = 0, during = 0, after = 0;
        for (std::size_t i = 0; i < motion.frames.size(); ++i) {
            const double t = motion.frames[i].time;
            const bool valid = motion.frames[i].valid;
            before += valid && t < 4.9 ? 1 : 0;
            during += valid && t > 5.2 && t < 9.8 ? 1 : 0;
            after += valid && t > 12 ? 1 : 0;
        }
        CHECK(before > 0.95 * 4.9 * 250);
        CHECK(during == 0);
        CHECK(after > 0.95 * 4 * 250);
        constexpr double error_limit = 3e-6;  // 1.6 um
        CHECK_WITHIN(diameter_error(motion, made.truth, 12 * 250), 0.0, error_limit);
    }
}

TEST_CASE("where there is no artery blocks report none, and say why (long)") {
    SceneOptions options = scene_of(9);
    options.artery = false;
    const SyntheticRecording made = render<std::int16_t>(Scene(options, 3), 3);
    const BlockMotion motion = track_in_blocks(made.recording);
    CHECK(!motion.usable());
    CHECK(motion.valid_frames() == 0);
    REQUIRE(motion.frames.size() == made.truth.walls.size());
    for (const FrameMotion& frame : motion) {
        CHECK(std::isnan(frame.diameter));
        CHECK(frame.quality == 0);
    }
    for (const BlockRecord& block : motion.blocks) {
        CHECK(block.origin == BlockOrigin::none);
        CHECK(block.status != TrackStatus::tracked);
    }
}

TEST_CASE("blocks refuse what they can't use, and short recordings are no error") {
    const RecordingSettings settings = scene_of(1).settings;
    using Tracker = BlockTracker<float>;
    CHECK_THROWS_AS(Tracker(settings, 0), InvalidInput);
    const auto refused = [&](double length, double overlap) {
        BlockOptions options;
        options.length = length;
        options.overlap = overlap;
        CHECK_THROWS_AS(Tracker(settings, 400, options), InvalidInput);
    };
    refused(0.1, 0.05);  // too few frames
    refused(4, 3);       // more than half overlaps
    refused(std::nan(""), 2);
    refused(4, 0);
    Tracker tracker(settings, 400);
    const std::vector<float> frame(400, 0.0F);
    CHECK_THROWS_AS(tracker.push(std::span<const float>(frame).first(399)), InvalidInput);
    tracker.push(frame);
    tracker.finish();
    tracker.finish();
    REQUIRE(tracker.take().size() == 1);
    CHECK_THROWS_AS(tracker.push(frame), InvalidInput);
    Tracker empty(settings, 400);
    empty.finish();
    CHECK(empty.take().empty());
    CHECK(empty.blocks().empty());
}
