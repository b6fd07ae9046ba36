#include "methods.hpp"

#include <optional>
#include <utility>
#include <variant>
#include <vector>

#include "baselines/gate_finder.hpp"
#include "baselines/gated_track.hpp"
#include "baselines/pursuit_track.hpp"
#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/motion/track_artery.hpp"

namespace compare_methods {
namespace {

using namespace echosieve;
using namespace echosieve::baselines;

// Conditioned frames, and which of them to use.
struct Line {
    Baseband<double> baseband;
    std::vector<FrameState> states;
};

Line line_of(const Recording& recording) {
    return std::visit(
        [&](const auto& frames) {
            Line line{to_baseband<double>(frames.view(), recording.settings), {}};
            line.states = check_frames(frames.view(), line.baseband);
            return line;
        },
        recording.samples);
}

// A hand sets the gate on the whole wall. 0.3 mm about the outer layer alone would lower the error
// by up to a fifth in clutter, and raise it elsewhere.
WallGates mean_gates(const Truth& truth) {
    WallGates gates;
    const double frames = static_cast<double>(truth.walls.size());
    for (const WallDepths& w : truth.walls) {
        gates.near.depth += (w.near_inner + w.near_outer) / 2 / frames;
        gates.far.depth += (w.far_inner + w.far_outer) / 2 / frames;
    }
    return gates;
}

WallGates first_gates(const Truth& truth) {
    return {{truth.walls.front().near_outer}, {truth.walls.front().far_outer}};
}

Outcome outcome(const std::optional<WallPairTrack>& track, const Truth& truth) {
    if (!track) {
        return {false, "no artery found", {}};
    }
    const examples::MeasuredWalls walls{track->near_wall, track->far_wall, track->valid};
    return {true, {}, examples::score(walls, truth)};
}

Outcome outcome(const ArteryMotion& motion, const Truth& truth) {
    if (!motion.usable()) {
        return {false, std::string(describe(motion.status)), {}};
    }
    return {true, {}, examples::score(examples::measured_walls(motion), truth)};
}

}  // namespace

Outcomes run_methods(const SyntheticRecording& made) {
    const Truth& truth = made.truth;
    const auto [baseband, states] = line_of(made.recording);
    const WallGates hand = mean_gates(truth);
    GatedTrackOptions light;
    light.smoothing = GaussianSmoothing{3e-3};
    std::optional<WallPairTrack> automatic;
    if (const auto gates = find_wall_gates(baseband, states)) {
        automatic = track_gates(baseband, states, *gates);
    }
    return {outcome(track_gates(baseband, states, hand), truth),
            outcome(track_gates(baseband, states, hand, light), truth), outcome(automatic, truth),
            outcome(track_echoes(baseband, states, first_gates(truth)), truth),
            outcome(track_artery(made.recording), truth)};
}

}  // namespace compare_methods
