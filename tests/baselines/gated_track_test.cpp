#include "baselines/gated_track.hpp"

#include <cmath>

#include "baselines/gate_finder.hpp"
#include "baselines/on_lines.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "gates.hpp"
#include "motion/line/plain.hpp"
#include "motion/line/slow_time.hpp"
#include "support/check.hpp"
#include "support/walls.hpp"

using namespace echosieve;
using namespace echosieve::baselines;
using test::quiet_scene;
using test::wall_line;

namespace {

// Outer layers alone, tissue 60 dB down: the gate holds one moving echo. The phase of a wall of
// several pieces, and the averaging, leave 1.1 um.
constexpr double motion_tolerance = 3e-6;

}  // namespace

TEST_CASE("gates set by hand recover a known motion where nothing else is in them") {
    const Scene scene(quiet_scene(), 1);
    const SyntheticRecording made = render<float>(scene, 1);
    const LineHistory line = wall_line(made);
    const WallGates gates = test::true_gates(made.truth);
    GatedTrackOptions options;
    options.smoothing = GaussianSmoothing{3e-3};
    for (const bool follow : {true, false}) {
        CAPTURE(follow);
        options.follow = follow;
        const WallPairTrack track = track_gates(line, gates, options);
        CHECK(track.valid_frames() == made.truth.walls.size());
        CHECK_WITHIN(test::distension_error(track, made.truth), 0.0, motion_tolerance);
        CHECK_WITHIN(array_of(track.near_wall).mean(), gates.near.depth, 1e-9);
        CHECK(array_of(track.quality).minCoeff() > 0.9);
    }
}

TEST_CASE("the customary average rounds the upstroke and is the default") {
    const Scene scene(quiet_scene(), 1);
    const SyntheticRecording made = render<float>(scene, 1);
    const LineHistory line = wall_line(made);
    const WallGates gates = test::true_gates(made.truth);
    GatedTrackOptions raw;
    raw.smoothing = NoSmoothing{};
    const WallPairTrack averaged = track_gates(line, gates);
    const WallPairTrack plain = track_gates(line, gates, raw);
    const Eigen::ArrayXd expected = moving_average(array_of(plain.near_wall), 30);
    CHECK_WITHIN((array_of(averaged.near_wall) - expected).abs().maxCoeff(), 0.0, 1e-15);
    CHECK(test::distension_error(averaged, made.truth) >
          2 * test::distension_error(plain, made.truth));
}

TEST_CASE("frames that are not usable are bridged and the motion goes on") {
    const Scene scene(quiet_scene(), 2);
    for (const DropKind kind : {DropKind::zeros, DropKind::noise}) {
        RenderOptions render_options;
        render_options.dropped_fraction = 0.03;
        render_options.drop_kind = kind;
        const SyntheticRecording made = render<float>(scene, 2, render_options);
        const LineHistory line = wall_line(made);
        GatedTrackOptions options;
        options.smoothing = GaussianSmoothing{3e-3};
        const WallPairTrack track = track_gates(line, test::true_gates(made.truth), options);
        for (std::size_t i = 0; i < track.valid.size(); ++i) {
            if (made.truth.dropped[i]) {
                CHECK(!track.valid[i]);
                CHECK(track.quality[i] == 0);
            }
        }
        CHECK(array_of(track.near_wall).allFinite());
        CHECK_WITHIN(test::distension_error(track, made.truth), 0.0, motion_tolerance);
    }
}

TEST_CASE("gates are found by themselves on a clear recording, and only where walls move apart") {
    constexpr double gate_tolerance = 0.6e-3;  // the true wall lies in the gate found for it
    for (const std::uint64_t seed : {1U, 2U, 3U}) {
        CAPTURE(seed);
        const SyntheticRecording made = render<float>(Scene(quiet_scene(), seed), seed);
        const auto gates = find_wall_gates(wall_line(made));
        REQUIRE(gates.has_value());
        const WallGates truth = test::true_gates(made.truth);
        CHECK_WITHIN(gates->near.depth, truth.near.depth, gate_tolerance);
        CHECK_WITHIN(gates->far.depth, truth.far.depth, gate_tolerance);
    }
    SceneOptions still = quiet_scene();
    still.distension = 0;
    CHECK(!find_wall_gates(wall_line(render<float>(Scene(still, 1), 1))).has_value());
    LineHistory silent = wall_line(render<float>(Scene(quiet_scene(), 1), 1));
    silent.samples.setZero();
    CHECK(!find_wall_gates(silent).has_value());
}

TEST_CASE("gates and options outside their domain are refused by name and value") {
    CHECK_THROWS_WITH_AS(validate(WallGate{1e-2, 0}),
                         "gate half_length = 0: must be positive and finite [m]", InvalidInput);
    CHECK_THROWS_AS(validate(WallGates{{2e-2, 1e-3}, {1e-2, 1e-3}}), InvalidInput);
    GatedTrackOptions options;
    options.smoothing = MovingAverage{0};
    CHECK_THROWS_AS(validate(options), InvalidInput);
    GateSearchOptions search;
    search.candidates = 1;
    CHECK_THROWS_WITH_AS(validate(search), "candidates = 1: must be at least 2", InvalidInput);
    search = {};
    search.smallest_motion = std::nan("");
    CHECK_THROWS_AS(validate(search), InvalidInput);

    SceneOptions scene = quiet_scene();
    scene.duration = 0.05;
    const LineHistory line = wall_line(render<float>(Scene(scene, 1), 1));
    CHECK_THROWS_AS(static_cast<void>(follow_gate(line, {1e-3, 0.6e-3})), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(follow_gate(line, {line.last_depth(), 0.6e-3})),
                    InvalidInput);
    Baseband<double> baseband;
    baseband.samples.resize(3, 4);
    CHECK_THROWS_AS(static_cast<void>(line_history(baseband, {})), InvalidInput);
}
