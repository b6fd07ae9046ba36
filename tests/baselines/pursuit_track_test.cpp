#include "baselines/pursuit_track.hpp"

#include <cmath>

#include "baselines/on_lines.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "gates.hpp"
#include "support/check.hpp"
#include "support/moving_line.hpp"
#include "support/walls.hpp"

using namespace echosieve;
using namespace echosieve::baselines;
using test::quiet_scene;
using test::wall_line;

namespace {

// Outer layers alone, tissue 60 dB down: the pursuit's own scatter leaves 0.27 um.
constexpr double motion_tolerance = 1e-6;

PursuitTrackOptions lightly_smoothed() {
    PursuitTrackOptions options;
    options.smoothing = GaussianSmoothing{3e-3};
    return options;
}

}  // namespace

TEST_CASE("the echo picked at each wall recovers a known motion where nothing disturbs it") {
    const SyntheticRecording made = render<float>(Scene(quiet_scene(), 1), 1);
    const LineHistory line = wall_line(made);
    const WallGates gates = test::first_frame_gates(made.truth);
    const auto track = track_echoes(line, gates, lightly_smoothed());
    REQUIRE(track.has_value());
    CHECK(track->valid_frames() == made.truth.walls.size());
    CHECK_WITHIN(test::distension_error(*track, made.truth), 0.0, motion_tolerance);
    constexpr double depth_tolerance = 0.3e-3;  // the pieces of a curved wall lie about its axis
    CHECK_WITHIN(track->near_wall[0], gates.near.depth, depth_tolerance);
    CHECK_WITHIN(track->far_wall[0], gates.far.depth, depth_tolerance);
}

TEST_CASE("frames that are not usable are bridged and the echo is found again after them") {
    RenderOptions render_options;
    render_options.dropped_fraction = 0.03;
    const SyntheticRecording made = render<float>(Scene(quiet_scene(), 2), 2, render_options);
    const auto track =
        track_echoes(wall_line(made), test::first_frame_gates(made.truth), lightly_smoothed());
    REQUIRE(track.has_value());
    for (std::size_t i = 0; i < track->valid.size(); ++i) {
        if (made.truth.dropped[i]) {
            CHECK(!track->valid[i]);
        }
    }
    CHECK_WITHIN(test::distension_error(*track, made.truth), 0.0, motion_tolerance);
}

TEST_CASE("an echo too far from where the wall's is expected is not taken for it") {
    LineHistory line = test::moving_line(30, 0, 1, [](double, Eigen::Index) { return 0.0; });
    line.samples.setZero();
    // For ten frames the wall's echo is gone, and another one as strong 1.2 mm below it: more than
    // a pulse away, of which half is allowed.
    test::add_moving_echo(line, 1, [](Eigen::Index i) {
        const bool gone = i >= 10 && i < 20;
        return 12e-3 + (gone ? 1.2e-3 : 0.0);
    });
    const WallGate gate{12e-3, 2.5e-3};
    const EchoTrack wall = follow_echo(line, gate, 12e-3, {});
    REQUIRE(wall.found);
    for (std::size_t i = 0; i < 30; ++i) {
        CAPTURE(i);
        CHECK(wall.track.valid[i] == (i < 10 || i >= 20));
        CHECK_WITHIN(wall.track.displacement[static_cast<Eigen::Index>(i)], 0.0, 1e-9);
    }
    PursuitTrackOptions far;
    far.association = 5;
    CHECK(follow_echo(line, gate, 12e-3, far).track.valid[15]);
}

TEST_CASE("silence has no echo to follow") {
    SceneOptions scene = quiet_scene();
    scene.duration = 0.1;
    const SyntheticRecording made = render<float>(Scene(scene, 1), 1);
    LineHistory line = wall_line(made);
    line.samples.setZero();
    CHECK(!track_echoes(line, test::first_frame_gates(made.truth)).has_value());
    line.usable.assign(line.usable.size(), false);
    CHECK(!track_echoes(line, test::first_frame_gates(made.truth)).has_value());
}

TEST_CASE("pursuit options outside their domain are refused by name and value") {
    PursuitTrackOptions options;
    options.atoms = 0;
    CHECK_THROWS_WITH_AS(validate(options), "atoms = 0: must be at least 1", InvalidInput);
    options = {};
    options.spread = 1;
    CHECK_THROWS_AS(validate(options), InvalidInput);
    options = {};
    options.least_energy = 1;
    CHECK_THROWS_AS(validate(options), InvalidInput);
    options = {};
    options.association = std::nan("");
    CHECK_THROWS_AS(validate(options), InvalidInput);
    options = {};
    options.least_amplitude = -0.1;
    CHECK_THROWS_AS(validate(options), InvalidInput);
    options = {};
    options.smoothing = MovingAverage{-1};
    CHECK_THROWS_AS(validate(options), InvalidInput);

    SceneOptions scene = quiet_scene();
    scene.duration = 0.05;
    const LineHistory line = wall_line(render<float>(Scene(scene, 1), 1));
    CHECK_THROWS_AS(static_cast<void>(follow_echo(line, {1, 1e-3}, 1)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(follow_echo(line, {1e-2, 1e-3}, std::nan(""))), InvalidInput);
}
