#include <doctest/doctest.h>

#include <cstddef>
#include <cstdint>
#include <variant>

#include "baselines/gated_track.hpp"
#include "baselines/on_lines.hpp"
#include "echosieve/motion/frame_follower.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "echosieve/synthesis/volume_scene.hpp"
#include "gates.hpp"
#include "support/following.hpp"
#include "support/walls.hpp"

using namespace echosieve;
using namespace echosieve::baselines;
using namespace echosieve::test;

TEST_CASE_TEMPLATE("gated correlation errs three times as far as the follower of frames", S, Scene,
                   VolumeScene) {
    // Seeds 1 to 6 of both scenes, tissue 6 dB below the walls: 9 to 37 um beside 1.5 to 4.1.
    typename S::Options options;
    options.duration = 6;
    options.settings.sampling_rate = 40e6;
    options.settings.frame_rate = 500;
    const SyntheticRecording made = render<std::int16_t>(S(options, 3), 3);
    const auto& frames = std::get<FrameMatrix<std::int16_t>>(made.recording.samples);
    constexpr std::size_t learned = 1250;
    const auto walls = learn_walls(first_part(made.recording, learned));
    REQUIRE(walls.has_value());
    FrameFollower<std::int16_t> follower(*walls);
    const WallPairTrack gated = track_gates(wall_line(made), first_frame_gates(made.truth));
    Spread followed, plain;
    for (std::size_t i = learned; i < frames.frames(); ++i) {
        const WallDepths& w = made.truth.walls[i];
        const double truth = w.far_outer - w.near_outer;
        followed.add(follower.push(frames.view()[i]).motion.diameter - truth);
        plain.add(gated.far_wall[i] - gated.near_wall[i] - truth);
    }
    CAPTURE(1e6 * followed.deviation());
    CHECK(3 * followed.deviation() < plain.deviation());
}
