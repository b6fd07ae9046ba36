// learn_walls, and FrameFollower on what it learned: any recording, option and frame.
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <variant>
#include <vector>

#include "echosieve/motion/frame_follower.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "input.hpp"
#include "recording.hpp"
#include "refused.hpp"

using namespace echosieve;
using namespace echosieve::fuzz;

namespace {

void follow(FuzzInput& in, const Recording& recording, const LearnedWalls& walls) {
    FollowerOptions options;
    if (in.byte() >= 128) {
        options.iterations = in.whole(4);
        options.least_correlation = in.number(0.3);
        options.largest_rest = in.number(0.8);
        options.energy_range = in.number(9);
        options.clipped_fraction = in.number(0.005);
        options.agility = in.number(2);
        options.longest_gap = in.number(0.05);
    }
    std::visit(
        [&]<class T>(FrameMatrix<T> frames) {
            spoil_frames(in, frames);
            static_cast<void>(accepted([&] {
                FrameFollower<T> follower(walls, options);
                for (std::size_t i = 0; i < frames.frames(); ++i) {
                    const std::span<const T> frame = std::as_const(frames)[i];
                    const FrameMotion& motion = follower.push(frame).motion;
                    hold(!motion.valid || std::isfinite(motion.diameter),
                         "a valid frame without a diameter");
                }
                static_cast<void>(accepted([&] {
                    const std::vector<T> other(in.count(0, most_samples));
                    static_cast<void>(follower.push(std::span<const T>(other)));
                }));
            }));
        },
        recording.samples);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    FuzzInput in(data, size);
    LearnOptions options;
    options.track = any_track_options(in);
    options.tissue_gates = in.byte() < 200 ? 4 : in.number_of(6);
    const Recording recording = any_recording(in);
    std::optional<LearnedWalls> walls;
    if (accepted([&] { walls = learn_walls(recording, options); }) && walls) {
        hold(accepted([&] { validate(*walls); }), "learned walls that are not valid");
        follow(in, recording, *walls);
    }
    return 0;
}
