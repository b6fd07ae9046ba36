#include "echosieve/motion/frame_follower.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <variant>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "echosieve/synthesis/volume_scene.hpp"
#include "support/allocations.hpp"
#include "support/check.hpp"
#include "support/following.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

using Frames = FrameMatrix<std::int16_t>;

constexpr double learned_seconds = 2.5;

// Coarse in both times, to render quickly; the band is kept whole.
template <class S>
SyntheticRecording recording_of(std::uint64_t seed, double seconds) {
    typename S::Options options;
    options.duration = seconds;
    options.settings.sampling_rate = 40e6;
    options.settings.frame_rate = 500;
    return render<std::int16_t>(S(options, seed), seed);
}

const Frames& frames_of(const SyntheticRecording& made) {
    return std::get<Frames>(made.recording.samples);
}

std::size_t learned_frames(const SyntheticRecording& made) {
    return static_cast<std::size_t>(learned_seconds * made.recording.settings.frame_rate);
}

LearnedWalls learned(const SyntheticRecording& made) {
    const auto walls = learn_walls(first_part(made.recording, learned_frames(made)));
    REQUIRE(walls.has_value());
    return *walls;
}

double diameter(const WallDepths& w) {
    return w.far_outer - w.near_outer;
}

// use(i, a copy of frame i, what a follower that nothing disturbs says of it), frame by frame after
// those that the walls are learned from.
template <class Use>
void for_each_after_learning(const SyntheticRecording& made, const LearnedWalls& walls, Use use) {
    const Frames& frames = frames_of(made);
    FrameFollower<float> undisturbed(walls);
    std::vector<float> frame(frames.samples());
    for (std::size_t i = learned_frames(made); i < frames.frames(); ++i) {
        const auto row = frames.view()[i];
        std::copy(row.begin(), row.end(), frame.begin());
        const FollowedFrame expected = undisturbed.push(frame);
        use(i, frame, expected);
    }
}

}  // namespace

TEST_CASE_TEMPLATE("walls in tissue 6 dB below them are followed as the frames come", S, Scene,
                   VolumeScene) {
    // Seeds 1 to 6 of both scenes have 1.5 to 4.1 um.
    constexpr double limit = 6e-6;
    const SyntheticRecording made = recording_of<S>(3, 6);
    const Frames& frames = frames_of(made);
    FrameFollower<std::int16_t> follower(learned(made));
    const std::size_t first = learned_frames(made);
    Spread near, far, both;
    double variance = 0;
    for (std::size_t i = first; i < frames.frames(); ++i) {
        const FollowedFrame& out = follower.push(frames.view()[i]);
        REQUIRE(out.motion.valid);
        CHECK(out.searched == (i == first));
        const WallDepths& truth = made.truth.walls[i];
        near.add(out.motion.near_wall - truth.near_outer);
        far.add(out.motion.far_wall - truth.far_outer);
        both.add(out.motion.diameter - diameter(truth));
        variance += out.motion.diameter_std * out.motion.diameter_std;
        CHECK(out.motion.diameter == out.motion.far_wall - out.motion.near_wall);
    }
    MESSAGE("diameter ", 1e6 * both.deviation(), " um");
    CHECK(near.deviation() < limit);
    CHECK(far.deviation() < limit);
    CHECK(both.deviation() < limit);
    // The deviation given is that of the errors, to a factor of 3.
    const double given = std::sqrt(variance / static_cast<double>(both.count()));
    CHECK(given > both.deviation() / 3);
    CHECK(given < both.deviation() * 3);
}

TEST_CASE("bad frames are marked, and the next good one is followed as if they had not been") {
    const SyntheticRecording made = recording_of<Scene>(3, 3.5);
    const Frames& frames = frames_of(made);
    const LearnedWalls walls = learned(made);
    FrameFollower<float> follower(walls);
    const std::size_t first = learned_frames(made);
    std::size_t bad = 0;
    for_each_after_learning(
        made, walls, [&](std::size_t i, std::vector<float>& frame, const FollowedFrame& expected) {
            const std::size_t kind = (i - first) % 25;
            FrameState state = FrameState::good;
            if (kind == 5) {
                frame[700] = std::numeric_limits<float>::quiet_NaN();
                state = FrameState::not_finite;
            } else if (kind == 10) {
                const auto before = frames.view()[i - 1];
                std::copy(before.begin(), before.end(), frame.begin());
                state = FrameState::frozen;
            } else if (kind == 15) {
                std::fill(frame.begin(), frame.end(), 0.0F);
                state = FrameState::dropped;
            } else if (kind == 20) {
                const auto top = static_cast<float>(walls.highest) / 2;
                for (float& x : frame) {
                    x = std::clamp(20 * x, -2 * top, 2 * top);
                }
                state = FrameState::clipped;
            }
            const bool noise = kind == 2;  // in the band as strong as the frame, or nearly
            if (noise) {
                double square = 0;
                for (const float x : frame) {
                    square += static_cast<double>(x) * static_cast<double>(x);
                }
                const double size = 4 * std::sqrt(square / static_cast<double>(frame.size()));
                RandomStream stream(11, i);
                for (float& x : frame) {
                    x = static_cast<float>(size * stream.normal());
                }
            }
            const FollowedFrame& out = follower.push(frame);
            if (!noise) {  // in the band noise has less energy, and may count as dropped
                REQUIRE(out.state == state);
            }
            REQUIRE(out.motion.valid == (state == FrameState::good && !noise));
            CHECK(out.motion.time == expected.motion.time);
            // One frame's own say is small beside that of all before it.
            CHECK_WITHIN(out.motion.diameter, expected.motion.diameter, 10e-6);
            if (state != FrameState::good || noise) {
                ++bad;
                CHECK(std::isnan(out.motion.diameter_std));
                CHECK(out.motion.quality == 0);
            }
        });
    CHECK(bad >= 5 * 19);
}

TEST_CASE("what frames of other echoes say is forgotten") {
    const SyntheticRecording made = recording_of<Scene>(3, 3.5);
    const LearnedWalls walls = learned(made);
    FrameFollower<float> follower(walls);
    const std::size_t first = learned_frames(made);
    double after = 0;
    for_each_after_learning(
        made, walls, [&](std::size_t i, std::vector<float>& frame, const FollowedFrame& expected) {
            const bool others = (i - first) % 40 >= 20 && (i - first) % 40 < 30;
            if (others) {  // of the same band and energy: the line upside down, its ring-down apart
                std::reverse(frame.begin() + 200, frame.end());
            }
            const FollowedFrame& out = follower.push(frame);
            CHECK(out.state == FrameState::good);
            REQUIRE(out.motion.valid == !others);
            if (!others) {
                after = std::max(after, std::abs(out.motion.diameter - expected.motion.diameter));
            }
        });
    // 20 ms later the first good frame finds the walls within 8.1 um of where they are; within 21
    // um if the course that the others drew were kept.
    CHECK(after < 14e-6);
}

TEST_CASE("tissue that is late is expected where the pulse was") {
    SceneOptions options;
    options.duration = 5;
    options.settings.sampling_rate = 40e6;
    options.settings.frame_rate = 500;
    options.events.tissue_lag = 15e-3;
    const SyntheticRecording made = render<std::int16_t>(Scene(options, 2), 2);
    LearnedWalls walls = learned(made);
    CHECK_WITHIN(walls.lag / options.settings.frame_rate, 15e-3, 4e-3);
    const auto near_error = [&] {
        FrameFollower<std::int16_t> follower(walls);
        Spread errors;
        for (std::size_t i = learned_frames(made); i < frames_of(made).frames(); ++i) {
            const FollowedFrame& out = follower.push(frames_of(made).view()[i]);
            errors.add(out.motion.near_wall - made.truth.walls[i].near_outer);
        }
        return errors.deviation();
    };
    // 2.7 um, and 4.5 um if the tissue were that much early.
    const double late = near_error();
    CHECK(late < 4e-6);
    walls.lag *= -1;
    CHECK(near_error() > 1.3 * late);
}

TEST_CASE("after a time without echoes the walls are found again") {
    const SyntheticRecording made = recording_of<Scene>(2, 5);
    const Frames& frames = frames_of(made);
    FrameFollower<std::int16_t> follower(learned(made));
    const std::size_t first = learned_frames(made);
    const std::vector<std::int16_t> silence(frames.samples(), 0);
    std::size_t searches = 0;
    Spread errors;
    for (std::size_t i = first; i < frames.frames(); ++i) {
        const bool gone = i >= first + 300 && i < first + 620;  // 0.64 s: most of a beat
        const FollowedFrame& out =
            follower.push(gone ? std::span<const std::int16_t>(silence) : frames.view()[i]);
        CHECK(out.motion.valid == !gone);
        // Silence upon silence holds no echo either: it is not merely frozen.
        CHECK(out.state == (gone ? FrameState::dropped : FrameState::good));
        searches += out.searched ? 1 : 0;
        if (!gone) {
            errors.add(out.motion.diameter - diameter(made.truth.walls[i]));
        }
    }
    CHECK(searches == 2);
    CHECK(errors.deviation() < 8e-6);
}

TEST_CASE("a follower allocates nothing once it is made, searches included") {
    const SyntheticRecording made = recording_of<Scene>(3, 3);
    const Frames& frames = frames_of(made);
    FrameFollower<std::int16_t> follower(learned(made));
    const std::vector<std::int16_t> silence(frames.samples(), 0);
    const std::size_t before = allocations;
    std::size_t valid = 0;
    for (std::size_t i = learned_frames(made); i < frames.frames(); ++i) {
        valid += follower.push(frames.view()[i]).motion.valid ? 1 : 0;
    }
    for (int k = 0; k < 100; ++k) {
        valid += follower.push(silence).motion.valid ? 1 : 0;
    }
    const bool searched = follower.push(frames.view()[frames.frames() - 1]).searched;
    const std::size_t allocated = allocations - before;
    CHECK(allocated == 0);
    CHECK(searched);
    CHECK(valid == frames.frames() - learned_frames(made));
    // The counter counts. By name: a compiler may leave out what nobody reads.
    const std::size_t now = allocations;
    void* const memory = ::operator new(100);
    const std::size_t one = allocations - now;
    ::operator delete(memory);
    CHECK(one == 1);
}

TEST_CASE("no walls are learned from tissue alone, and what makes no sense is refused") {
    SceneOptions options;
    options.duration = 2;
    options.settings.sampling_rate = 40e6;
    options.settings.frame_rate = 250;
    options.artery = false;
    CHECK(!learn_walls(render<std::int16_t>(Scene(options, 1), 1).recording).has_value());
    const SyntheticRecording made = recording_of<Scene>(3, 2.5);
    const LearnedWalls walls = learned(made);
    CHECK_THROWS_AS(FrameFollower<float>(walls, {.iterations = 0}), InvalidInput);
    CHECK_THROWS_AS(FrameFollower<float>(walls, {.least_correlation = 1}), InvalidInput);
    CHECK_THROWS_AS(FrameFollower<float>(walls, {.energy_range = 1}), InvalidInput);
    CHECK_THROWS_AS(FrameFollower<float>(walls, {.clipped_fraction = -1}), InvalidInput);
    CHECK_THROWS_AS(FrameFollower<float>(walls, {.agility = 0}), InvalidInput);
    CHECK_THROWS_AS(FrameFollower<float>(walls, {.longest_gap = -1}), InvalidInput);
    const double infinite = std::numeric_limits<double>::infinity();
    for (const double bad : {infinite, std::nan("")}) {
        CHECK_THROWS_AS(FrameFollower<float>(walls, {.largest_rest = bad}), InvalidInput);
        CHECK_THROWS_AS(FrameFollower<float>(walls, {.energy_range = bad}), InvalidInput);
        CHECK_THROWS_AS(FrameFollower<float>(walls, {.agility = bad}), InvalidInput);
        CHECK_THROWS_AS(FrameFollower<float>(walls, {.longest_gap = bad}), InvalidInput);
    }
    CHECK_NOTHROW(FrameFollower<float>(walls, {.longest_gap = 1e300}));
    const auto refused = [&](auto change, const char* message) {
        LearnedWalls broken = walls;
        change(broken);
        CHECK_THROWS_WITH_AS(FrameFollower<float>{broken}, doctest::Contains(message),
                             InvalidInput);
    };
    CHECK_THROWS_AS(FrameFollower<float>{LearnedWalls{}}, InvalidInput);
    refused([](auto& w) { w.bulk.resize(3); }, "bulk = 3: must have an entry a frame");
    refused([](auto& w) { w.usable.clear(); }, "usable = 0");
    refused([](auto& w) { w.far.own.resize(0); }, "far.own = 0");
    refused([](auto& w) { w.energy = 0; }, "energy = 0");
    refused([](auto& w) { w.near.gate.frequencies.resize(0); }, "gate's frequencies = 0");
    refused([](auto& w) { w.far.gate.shares.pop_back(); }, "spectra's values");
    refused([](auto& w) { w.near.gate.wall_layers = 99; }, "wall_layers = 99");
    REQUIRE(!walls.tissue.empty());
    refused([](auto& w) { w.tissue[0].noise = std::nan(""); }, "noise = nan");
    refused([](auto& w) { w.tissue[0].taper = 0; }, "taper = 0");
    FrameFollower<float> follower(walls);
    CHECK_THROWS_AS(follower.push(std::vector<float>(7)), InvalidInput);
    CHECK(follower.pushed() == 0);
}
