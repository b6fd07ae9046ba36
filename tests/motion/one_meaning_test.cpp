// Whichever way the frames come, all at once, in blocks or one by one: the pulse's delay, an offset
// of the samples and settings that they contradict mean the same.
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "echosieve/motion/block_tracker.hpp"
#include "echosieve/motion/frame_follower.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/volume_scene.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

using Frames = FrameMatrix<std::int16_t>;

constexpr double learned_seconds = 2.5;

// Gamma pulses: their envelopes peak 0.24 mm below the depth that they arrive from.
const SyntheticRecording& volume() {
    static const SyntheticRecording made = [] {
        VolumeSceneOptions options;
        options.duration = 5;
        options.settings.sampling_rate = 40e6;
        options.settings.frame_rate = 250;
        return render<std::int16_t>(VolumeScene(options, 3), 3);
    }();
    return made;
}

struct Depths {
    double near = 0;
    double far = 0;
    double quality = 0;
    std::size_t frames = 0;

    void add(const FrameMotion& frame) {
        if (frame.valid) {
            near += frame.near_wall;
            far += frame.far_wall;
            quality += frame.quality;
            ++frames;
        }
    }
    [[nodiscard]] Depths mean() const {
        const auto n = static_cast<double>(frames);
        return {near / n, far / n, quality / n, frames};
    }
};

// What the three ways make of the recording's frames from `learned_seconds` on.
struct Ways {
    ArteryMotion whole;
    BlockMotion blocks;
    LearnedWalls walls;
    Depths of_whole, of_blocks, of_follower;
};

template <class T>
Ways ways(const Recording& recording, const TrackOptions& track) {
    const auto& frames = std::get<FrameMatrix<T>>(recording.samples);
    BlockOptions in_blocks;
    in_blocks.length = 2.5;
    in_blocks.overlap = 1.25;
    in_blocks.track = track;
    const auto learned = static_cast<std::size_t>(learned_seconds * recording.settings.frame_rate);
    FrameMatrix<T> first(learned, frames.samples());
    for (std::size_t i = 0; i < learned; ++i) {
        std::ranges::copy(frames[i], first[i].begin());
    }
    LearnOptions learn;
    learn.track = track;
    const auto walls = learn_walls({recording.settings, std::move(first)}, learn);
    REQUIRE(walls.has_value());
    Ways out{
        track_artery(recording, track), track_in_blocks(recording, in_blocks), *walls, {}, {}, {}};
    REQUIRE(out.whole.usable());
    REQUIRE(out.blocks.usable());
    FrameFollower<T> follower(*walls);
    for (std::size_t i = learned; i < frames.frames(); ++i) {
        out.of_whole.add(out.whole.frames[i]);
        out.of_blocks.add(out.blocks.frames[i]);
        out.of_follower.add(follower.push(frames[i]).motion);
    }
    out.of_whole = out.of_whole.mean();
    out.of_blocks = out.of_blocks.mean();
    out.of_follower = out.of_follower.mean();
    return out;
}

double apart(const Depths& a, const Depths& b) {
    return std::max(std::abs(a.near - b.near), std::abs(a.far - b.far));
}

bool holds(const std::vector<std::string>& warnings, const std::string& text) {
    return std::ranges::any_of(warnings, [&](const std::string& warning) {
        return warning.find(text) != std::string::npos;
    });
}

TrackOptions no_estimate() {
    TrackOptions options;
    options.pulse.estimate = false;
    return options;
}

// Each way finds each wall's layer by itself, from other frames: 15 um and 26 um here, a tenth of
// the delay.
constexpr double layers_apart = 50e-6;  // [m]

}  // namespace

TEST_CASE("a pulse's delay that is given is taken off all depths in each way") {
    Recording recording = volume().recording;
    const double delay = recording.settings.arrival(volume().truth.peak_lag);
    const Ways without = ways<std::int16_t>(recording, no_estimate());
    recording.settings.sensor.pulse_delay = delay;
    const Ways with = ways<std::int16_t>(recording, {});
    CHECK(apart(with.of_whole, with.of_blocks) < layers_apart);
    CHECK(apart(with.of_whole, with.of_follower) < layers_apart);
    const double lag = volume().truth.peak_lag;
    REQUIRE(lag > 4 * layers_apart);
    constexpr double rounding = 1e-9;  // [m]
    for (const auto& [less, more] :
         {std::pair(with.of_whole, without.of_whole), std::pair(with.of_blocks, without.of_blocks),
          std::pair(with.of_follower, without.of_follower)}) {
        CHECK_WITHIN(more.near - less.near, lag, rounding);
        CHECK_WITHIN(more.far - less.far, lag, rounding);
    }
    for (const PulseDelay& found :
         {with.whole.pulse_delay, with.blocks.pulse_delay, with.walls.pulse_delay}) {
        CHECK(found.source == DelaySource::given);
        CHECK(found.delay == delay);
        CHECK(found.deviation == 0);
    }
    for (const PulseDelay& none :
         {without.whole.pulse_delay, without.blocks.pulse_delay, without.walls.pulse_delay}) {
        CHECK(none.source == DelaySource::unknown);
        CHECK(none.delay == 0);
    }
}

TEST_CASE("an estimate is made once for a stream, and agrees with that of the whole") {
    const Recording& recording = volume().recording;
    const Ways found = ways<std::int16_t>(recording, {});
    const auto agrees = [&](const PulseDelay& part) {
        CHECK(part.source == DelaySource::estimated);
        CHECK(part.deviation > 0);
        const PulseDelay& whole = found.whole.pulse_delay;
        // Each from its own frames of the same echoes: within what the estimates are sure to.
        CHECK(std::abs(part.delay - whole.delay) <= part.deviation + whole.deviation);
    };
    agrees(found.blocks.pulse_delay);
    agrees(found.walls.pulse_delay);
    const auto depth = [&](const PulseDelay& part) {
        return recording.settings.depth(std::abs(part.delay - found.whole.pulse_delay.delay));
    };
    CHECK(apart(found.of_whole, found.of_blocks) < layers_apart + depth(found.blocks.pulse_delay));
    CHECK(apart(found.of_whole, found.of_follower) < layers_apart + depth(found.walls.pulse_delay));
    // All blocks hang on the first one's delay: none is moved by another estimate of its own.
    REQUIRE(found.blocks.blocks.size() >= 3);
    for (const BlockRecord& block : found.blocks.blocks) {
        CAPTURE(block.first);
        CHECK_WITHIN(block.near_jump, 0, layers_apart);
        CHECK_WITHIN(block.far_jump, 0, layers_apart);
    }
    // The delay of the first block's frames as a recording of its own is the stream's.
    const auto& frames = std::get<Frames>(recording.samples);
    BlockOptions options;
    options.length = 2.5;
    options.overlap = 1.25;
    BlockTracker<std::int16_t> tracker(recording.settings, frames.samples(), options);
    CHECK(tracker.pulse_delay().source == DelaySource::unknown);
    for (std::size_t i = 0; i < tracker.block_length(); ++i) {
        tracker.push(frames[i]);
    }
    CHECK(tracker.pulse_delay().delay == found.blocks.pulse_delay.delay);
    CHECK(tracker.pulse_delay().deviation == found.blocks.pulse_delay.deviation);
}

TEST_CASE("an offset is taken off in each way") {
    const auto& plain = std::get<Frames>(volume().recording.samples);
    const auto raised = [&](float offset) {
        FrameMatrix<float> frames(plain.frames(), plain.samples());
        for (std::size_t i = 0; i < frames.frames(); ++i) {
            std::ranges::transform(plain[i], frames[i].begin(),
                                   [&](std::int16_t x) { return static_cast<float>(x) + offset; });
        }
        return Recording{volume().recording.settings, std::move(frames)};
    };
    const Ways still = ways<float>(raised(0), no_estimate());
    const Ways moved = ways<float>(raised(8000), no_estimate());
    // What the plain samples have of a mean, 0.01 of their rms, is left on them.
    constexpr double fine = 0.5e-6;  // [m]
    CHECK(apart(still.of_whole, moved.of_whole) < fine);
    CHECK(apart(still.of_blocks, moved.of_blocks) < fine);
    CHECK(apart(still.of_follower, moved.of_follower) < fine);
    for (const auto& warnings :
         {moved.whole.warnings, moved.blocks.warnings, moved.walls.warnings}) {
        CHECK(holds(warnings, " counts off zero, which was taken off"));
    }
    for (const auto& warnings :
         {still.whole.warnings, still.blocks.warnings, still.walls.warnings}) {
        CHECK(warnings.empty());
    }
}

TEST_CASE("what the samples contradict lowers the quality in each way") {
    Recording wrong = volume().recording;
    wrong.settings.sensor.centre_frequency = 3.1e6;  // of 4
    TrackOptions options = no_estimate();
    options.settings_check.contradicted = 1;
    const Ways blind = ways<std::int16_t>(wrong, options);
    options.settings_check.contradicted = 0.25;
    const Ways seen = ways<std::int16_t>(wrong, options);
    constexpr double rounding = 1e-12;
    CHECK_WITHIN(seen.of_whole.quality, 0.25 * blind.of_whole.quality, rounding);
    CHECK_WITHIN(seen.of_blocks.quality, 0.25 * blind.of_blocks.quality, rounding);
    CHECK_WITHIN(seen.of_follower.quality, 0.25 * blind.of_follower.quality, rounding);
    CHECK(seen.whole.trust == 0.25);
    CHECK(seen.blocks.trust == 0.25);
    CHECK(apart(seen.of_blocks, blind.of_blocks) == 0);
    for (const auto& warnings : {seen.whole.warnings, seen.blocks.warnings, seen.walls.warnings}) {
        CHECK(holds(warnings, "centre_frequency = 3.1 MHz contradicts the recording"));
    }
}

TEST_CASE("what can't be followed is refused in each way") {
    Recording recording = volume().recording;
    TrackOptions options;
    options.walls.near_range = {6, 7};
    const auto refused = [&](const std::string& text) {
        const auto contains = doctest::Contains(text.c_str());
        CHECK_THROWS_WITH_AS(static_cast<void>(track_artery(recording, options)), contains,
                             InvalidInput);
        BlockOptions blocks;
        blocks.track = options;
        CHECK_THROWS_WITH_AS(
            BlockTracker<std::int16_t>(recording.settings, recording.sample_count(), blocks),
            contains, InvalidInput);
        LearnOptions learn;
        learn.track = options;
        CHECK_THROWS_WITH_AS(static_cast<void>(learn_walls(recording, learn)), contains,
                             InvalidInput);
    };
    refused("near_range = 6 to 7: must not lie outside the recording");
    options = {};
    recording.settings.sensor = {40e3, 20e3};
    refused("centre_frequency = 40000");
    recording.settings.sensor = {4e6, 0.3e6};
    refused("bandwidth = 300000: is too low for gates");
}
