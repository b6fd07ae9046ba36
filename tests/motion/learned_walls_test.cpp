#include "echosieve/motion/learned_walls.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <optional>
#include <vector>

#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

SyntheticRecording made_recording(std::optional<double> pulse_delay = std::nullopt) {
    SceneOptions options;
    options.duration = 2;
    options.settings.sampling_rate = 40e6;
    options.settings.frame_rate = 250;
    options.settings.sensor.pulse_delay = pulse_delay;
    return render<std::int16_t>(Scene(options, 3), 3);
}

// The part of a gate's power that its layers leave, its layers taken for unlike.
double residual_of(const LearnedGate& gate) {
    double sum = 0;
    for (const std::complex<double>& s : gate.spectra) {
        sum += std::norm(s);
    }
    const double layers = sum / static_cast<double>(gate.frequencies.size());
    return gate.noise / (layers + gate.noise);
}

}  // namespace

TEST_CASE("what is learned of an artery are its walls, gates, courses and the frames' extremes") {
    const SyntheticRecording made = made_recording(0.0);
    const auto walls = learn_walls(made.recording);
    REQUIRE(walls);
    CHECK_NOTHROW(validate(*walls));
    const std::size_t frames = made.truth.walls.size();
    CHECK(walls->pulse.size() == frames);
    CHECK(walls->bulk.size() == frames);
    CHECK(walls->near.own.size() == frames);
    CHECK(walls->usable == std::vector<bool>(frames, true));
    CHECK(walls->samples == made.recording.sample_count());
    CHECK(walls->settings.frame_rate == 250);
    double near = 0, far = 0;
    for (const WallDepths& w : made.truth.walls) {
        near += w.near_outer / static_cast<double>(frames);
        far += w.far_outer / static_cast<double>(frames);
    }
    constexpr double fine = 0.12e-3;  // see track_artery_test.cpp
    CHECK_WITHIN(walls->near.depth, near, fine);
    CHECK_WITHIN(walls->far.depth, far, fine);
    CHECK(walls->near.share.pulse < 0);
    CHECK(walls->far.share.pulse > 0);
    for (const LearnedWall* wall : {&walls->near, &walls->far}) {
        CHECK(wall->confidence > 0.5);
        CHECK(wall->gain_std > 0);
        CHECK(wall->model_std > 0);
        CHECK(wall->gate.wall_layers >= 1);
        CHECK(wall->gate.wall_layers < wall->gate.shares.size());
        CHECK(!wall->gate.late);
        CHECK(wall->gate.path.pulse == wall->share.pulse);
        CHECK(wall->gate.path.bulk == wall->share.bulk);
    }
    std::int16_t low = 0, high = 0;
    for (const std::int16_t x :
         std::get<FrameMatrix<std::int16_t>>(made.recording.samples).values()) {
        low = std::min(low, x);
        high = std::max(high, x);
    }
    CHECK(walls->lowest == low);
    CHECK(walls->highest == high);
    CHECK(walls->energy > 0);
    CHECK(walls->tissue.size() == LearnOptions{}.tissue_gates);
    for (const LearnedGate& gate : walls->tissue) {
        CHECK(gate.path.pulse == 0);  // cut where the bulk motion alone takes it
        CHECK(gate.wall_layers == 0);
        CHECK(std::abs(gate.depth - walls->near.gate.depth) > 1e-3);
        CHECK(std::abs(gate.depth - walls->far.gate.depth) > 1e-3);
    }
}

TEST_CASE("the tissue gates that are learned are those explained best") {
    const SyntheticRecording made = made_recording(0.0);
    LearnOptions all;
    all.tissue_gates = 100;
    LearnOptions some;
    some.tissue_gates = 3;
    const auto whole = learn_walls(made.recording, all);
    const auto best = learn_walls(made.recording, some);
    REQUIRE(whole);
    REQUIRE(best);
    REQUIRE(whole->tissue.size() > 6);
    REQUIRE(best->tissue.size() == 3);
    std::vector<double> residuals;
    for (const LearnedGate& gate : whole->tissue) {
        residuals.push_back(residual_of(gate));
    }
    for (std::size_t k = 0; k < 3; ++k) {
        CHECK(best->tissue[k].depth == whole->tissue[k].depth);
    }
    // Learned anew a gate may change places with one nearly as good: by thirds.
    const auto third = static_cast<std::ptrdiff_t>(residuals.size() / 3);
    const double front = *std::max_element(residuals.begin(), residuals.begin() + third);
    const double back = *std::min_element(residuals.end() - third, residuals.end());
    CHECK(front < back);
}

TEST_CASE("depths are learned with the pulse's delay taken off, and walls that are trusted") {
    const auto at_once = learn_walls(made_recording(0.0).recording);
    const auto late = learn_walls(made_recording(0.4e-6).recording);
    REQUIRE(at_once);
    REQUIRE(late);
    const double lag = 0.4e-6 * 1540 / 2;
    CHECK_WITHIN(at_once->near.depth - late->near.depth, lag, 1e-12);
    CHECK_WITHIN(at_once->far.depth - late->far.depth, lag, 1e-12);
    CHECK(at_once->near.gate.depth == late->near.gate.depth);
    LearnOptions strict;
    strict.track.confidence.least_confidence = 1;
    CHECK(!learn_walls(made_recording(0.0).recording, strict));
    strict.track.confidence.least_confidence = 2;
    CHECK_THROWS_AS(static_cast<void>(learn_walls(made_recording(0.0).recording, strict)),
                    InvalidInput);
}
