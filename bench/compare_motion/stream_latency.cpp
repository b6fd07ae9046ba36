// What a frame costs when walls are followed as the frames come: time frame by frame by the clock,
// and allocations.
//
//   stream_latency [frames = 100000] [seed = 1]
//
// A synthetic recording of 6 s (125 MHz, 1 kHz, tissue 6 dB below the walls): the artery is learned
// from its first 3 s, then its last 3 s are fed to and fro, so that the walls never jump. By the
// clock a frame that the machine interrupts is slow; its processor time is printed beside it.
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <span>
#include <variant>
#include <vector>

#include "echosieve/core/recording.hpp"
#include "echosieve/motion/frame_follower.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "processor_time.hpp"
#include "support/allocations.hpp"
#include "support/following.hpp"

namespace {

void print(const char* name, std::vector<double>& seconds) {
    std::sort(seconds.begin(), seconds.end());
    const auto part = [&](double x) {
        const auto last = static_cast<double>(seconds.size() - 1);
        return 1e6 * seconds[static_cast<std::size_t>(std::ceil(x * last))];
    };
    std::printf("%-15s median %.1f us, 99 %% %.1f us, 99.9 %% %.1f us, largest %.1f us\n", name,
                part(0.5), part(0.99), part(0.999), part(1));
}

}  // namespace

int main(int argc, char** argv) {
    using namespace echosieve;
    using Clock = std::chrono::steady_clock;
    const long wanted = argc > 1 ? std::atol(argv[1]) : 100000;
    if (wanted < 1) {
        std::fprintf(stderr, "stream_latency: frames = %s: must be at least 1\n", argv[1]);
        return 1;
    }
    const auto count = static_cast<std::size_t>(wanted);
    const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atol(argv[2]) : 1);
    SceneOptions options;
    options.duration = 6;
    const SyntheticRecording made = render<std::int16_t>(Scene(options, seed), seed);
    const auto& frames = std::get<FrameMatrix<std::int16_t>>(made.recording.samples);
    const std::size_t learned = frames.frames() / 2;
    const auto walls = learn_walls(test::first_part(made.recording, learned));
    if (!walls) {
        std::fprintf(stderr, "stream_latency: no artery was found\n");
        return 1;
    }
    FrameFollower<std::int16_t> follower(*walls);
    const std::size_t rest = frames.frames() - learned;
    std::vector<double> clock(count), processor(count);
    test::Spread errors;
    std::size_t valid = 0, searched = 0;
    const std::size_t before = allocations;
    for (std::size_t n = 0; n < count; ++n) {
        const std::size_t turn = n % (2 * rest - 2);
        const std::size_t i = learned + (turn < rest ? turn : 2 * rest - 2 - turn);
        const auto frame = frames.view()[i];
        const double own = bench::processor_seconds();
        const auto start = Clock::now();
        const FollowedFrame& out = follower.push(frame);
        clock[n] = std::chrono::duration<double>(Clock::now() - start).count();
        processor[n] = bench::processor_seconds() - own;
        valid += out.motion.valid ? 1 : 0;
        searched += out.searched ? 1 : 0;
        const WallDepths& truth = made.truth.walls[i];
        errors.add(out.motion.diameter - (truth.far_outer - truth.near_outer));
    }
    const std::size_t allocated = allocations - before;
    std::printf("%zu frames of %zu samples, %zu valid, %zu searches, diameter to %.2f um rms\n",
                count, frames.samples(), valid, searched, 1e6 * errors.deviation());
    print("by the clock:", clock);
    print("processor time:", processor);
    std::printf("allocations: %zu\n", allocated);
    if (allocated != 0) {
        std::fprintf(stderr, "stream_latency: a follower must not allocate\n");
        return 1;
    }
    if (10 * valid < 9 * count) {  // a frame without a wall is done sooner or later than others
        std::fprintf(stderr, "stream_latency: the walls were lost: no measure of the latency\n");
        return 1;
    }
    return 0;
}
