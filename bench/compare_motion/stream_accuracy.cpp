// How well walls are followed as the frames come: FrameFollower beside gated correlation, on
// recordings of both simulators.
//
//   stream_accuracy [recordings = 6] [first seed = 1] [drawn]
//
// Each recording lasts 8 s; the artery is learned from its first 3 s, and the errors are of the 5 s
// after. As the simulators have them by default, coarse in both times (tissue 6 dB below the
// walls); with `drawn` everything about the recording is drawn from its seed. Gated correlation
// gets its gates from the truth. Errors: rms of the diameter, mean taken off, frames that hold no
// echoes left out; of the follower over the frames that it calls valid, against the better of inner
// and outer layer.
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <string_view>
#include <variant>
#include <vector>

#include "baselines/gated_track.hpp"
#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/frame_follower.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "echosieve/synthesis/volume_scene.hpp"
#include "support/following.hpp"

namespace {

using namespace echosieve;
using Frames = FrameMatrix<std::int16_t>;

constexpr double seconds = 8;
constexpr double learning = 3;

// Errors against both layers of the walls.
struct DiameterErrors {
    test::Spread outer, inner;

    void add(double diameter, const WallDepths& truth) {
        outer.add(diameter - (truth.far_outer - truth.near_outer));
        inner.add(diameter - (truth.far_inner - truth.near_inner));
    }
    [[nodiscard]] double micrometres() const {
        return 1e6 * std::min(outer.deviation(), inner.deviation());
    }
};

template <class S>
SyntheticRecording recording_of(std::uint64_t seed, bool drawn) {
    DrawnScene<S> scene{.seed = seed, .options = {}, .render = {}};
    if (drawn) {
        scene = draw_scene<S>(seed);
    } else {
        scene.options.settings.sampling_rate = 40e6;
        scene.options.settings.frame_rate = 500;
    }
    scene.options.duration = seconds;
    return render_drawn<std::int16_t>(scene);
}

// Prints a line and adds both ways' errors [um], unless no artery is found.
template <class S>
void try_one(const char* name, std::uint64_t seed, bool drawn, std::vector<double>& errors,
             std::vector<double>& gated_errors) {
    const SyntheticRecording made = recording_of<S>(seed, drawn);
    const Frames& frames = std::get<Frames>(made.recording.samples);
    const RecordingSettings& settings = made.recording.settings;
    const auto learned = static_cast<std::size_t>(learning * settings.frame_rate);
    const auto walls = learn_walls(test::first_part(made.recording, learned));
    if (!walls) {
        std::printf("%-8s seed %-5llu no artery found\n", name,
                    static_cast<unsigned long long>(seed));
        return;
    }
    FrameFollower<std::int16_t> follower(*walls);
    const Baseband<double> baseband = to_baseband<double>(frames.view(), settings);
    const WallDepths& rest = made.truth.walls.front();
    const baselines::WallPairTrack gated = baselines::track_gates(
        baseband, check_frames(frames.view(), baseband), {{rest.near_outer}, {rest.far_outer}});
    DiameterErrors own, other;
    double deviation = 0;
    std::size_t good = 0, valid = 0, false_valid = 0;
    for (std::size_t i = learned; i < frames.frames(); ++i) {
        const FrameMotion& m = follower.push(frames.view()[i]).motion;
        if (made.truth.dropped[i]) {
            false_valid += m.valid ? 1 : 0;
            continue;
        }
        ++good;
        other.add(gated.far_wall[i] - gated.near_wall[i], made.truth.walls[i]);
        if (m.valid) {
            ++valid;
            own.add(m.diameter, made.truth.walls[i]);
            deviation += m.diameter_std * m.diameter_std;
        }
    }
    std::printf(
        "%-8s seed %-5llu diameter %6.2f um rms (deviation given %5.2f), gated correlation %6.1f; "
        "valid %zu of %zu, dropped ones called valid %zu\n",
        name, static_cast<unsigned long long>(seed), own.micrometres(),
        1e6 * std::sqrt(deviation / std::max<double>(1, static_cast<double>(valid))),
        other.micrometres(), valid, good, false_valid);
    std::fflush(stdout);
    errors.push_back(own.micrometres());
    gated_errors.push_back(other.micrometres());
}

void summarise(const char* name, std::vector<double> errors) {
    std::sort(errors.begin(), errors.end());
    if (!errors.empty()) {
        std::printf("%s: median %.2f um, largest %.2f um\n", name, errors[errors.size() / 2],
                    errors.back());
    }
}

}  // namespace

int main(int argc, char** argv) {
    const int count = argc > 1 ? std::atoi(argv[1]) : 6;
    if (count < 1) {
        std::fprintf(stderr, "stream_accuracy: recordings = %s: must be at least 1\n", argv[1]);
        return 1;
    }
    const auto first = static_cast<std::uint64_t>(argc > 2 ? std::atol(argv[2]) : 1);
    const bool drawn = argc > 3 && std::string_view(argv[3]) == "drawn";
    std::vector<double> errors, gated;
    for (int k = 0; k < count; ++k) {
        const std::uint64_t seed = first + static_cast<std::uint64_t>(k);
        try_one<Scene>("Scene", seed, drawn, errors, gated);
        try_one<VolumeScene>("Volume", seed, drawn, errors, gated);
    }
    std::printf("%zu of %d followed\n", errors.size(), 2 * count);
    summarise("FrameFollower", errors);
    summarise("gated correlation", gated);
    return errors.empty() ? 1 : 0;
}
