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
#include <ctime>
#include <span>
#include <utility>
#include <variant>
#include <vector>

#include "echosieve/core/recording.hpp"
#include "echosieve/motion/frame_follower.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"

namespace {

std::size_t allocations = 0;

double processor_time() {
    timespec now{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
    return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

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

// Operator new and Eigen both come by here.
#ifdef __GLIBC__
extern "C" void* __libc_malloc(std::size_t size);
extern "C" void* malloc(std::size_t size) noexcept {
    ++allocations;
    return __libc_malloc(size);
}
#endif

int main(int argc, char** argv) {
    using namespace echosieve;
    using Clock = std::chrono::steady_clock;
    const auto count = static_cast<std::size_t>(argc > 1 ? std::atol(argv[1]) : 100000);
    const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atol(argv[2]) : 1);
    SceneOptions options;
    options.duration = 6;
    const SyntheticRecording made = render<std::int16_t>(Scene(options, seed), seed);
    const auto& frames = std::get<FrameMatrix<std::int16_t>>(made.recording.samples);
    const std::size_t learned = frames.frames() / 2;
    Recording first;
    first.settings = made.recording.settings;
    FrameMatrix<std::int16_t> part(learned, frames.samples());
    for (std::size_t i = 0; i < learned; ++i) {
        std::copy(frames.view()[i].begin(), frames.view()[i].end(), part[i].begin());
    }
    first.samples = std::move(part);
    const auto walls = learn_walls(first);
    if (!walls) {
        std::fprintf(stderr, "stream_latency: no artery was found\n");
        return 1;
    }
    FrameFollower<std::int16_t> follower(*walls);
    const std::size_t rest = frames.frames() - learned;
    std::vector<double> clock(count), processor(count), errors;
    errors.reserve(count);
    std::size_t valid = 0, searched = 0;
    const std::size_t before = allocations;
    for (std::size_t n = 0; n < count; ++n) {
        const std::size_t turn = n % (2 * rest - 2);
        const std::size_t i = learned + (turn < rest ? turn : 2 * rest - 2 - turn);
        const auto frame = frames.view()[i];
        const double own = processor_time();
        const auto start = Clock::now();
        const FollowedFrame& out = follower.push(frame);
        clock[n] = std::chrono::duration<double>(Clock::now() - start).count();
        processor[n] = processor_time() - own;
        valid += out.motion.valid ? 1 : 0;
        searched += out.searched ? 1 : 0;
        const WallDepths& truth = made.truth.walls[i];
        errors.push_back(out.motion.diameter - (truth.far_outer - truth.near_outer));
    }
    const std::size_t allocated = allocations - before;
    double sum = 0, square = 0;
    for (const double error : errors) {
        sum += error;
        square += error * error;
    }
    const auto size = static_cast<double>(count);
    std::printf("%zu frames of %zu samples, %zu valid, %zu searches, diameter to %.2f um rms\n",
                count, frames.samples(), valid, searched,
                1e6 * std::sqrt(square / size - sum / size * sum / size));
    print("by the clock:", clock);
    print("processor time:", processor);
    std::printf("allocations: %zu\n", allocated);
    return allocated == 0 ? 0 : 1;
}
