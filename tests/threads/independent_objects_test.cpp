// Objects of one thread each, on several threads at once: nothing behind them is shared but what is
// const, so each gives the bits that it gives alone. The thread sanitiser watches.
#include <bit>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "echosieve/core/instruction_set.hpp"
#include "echosieve/core/recorded_lines.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/core/threads.hpp"
#include "echosieve/motion/block_tracker.hpp"
#include "echosieve/motion/frame_follower.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "echosieve/motion/track_lines.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "echosieve/pursuit/fast_pursuit.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "echosieve/pursuit/swarm_pursuit.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "support/check.hpp"
#include "support/walls.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

constexpr std::size_t together = 4;

using Bits = std::vector<std::uint64_t>;
using Complex = std::complex<double>;

void keep(Bits& bits, double x) {
    bits.push_back(std::bit_cast<std::uint64_t>(x));
}

/// work() gives the same bits on four threads at once as alone, before and after.
template <class Work>
void check_alike(Work work) {
    std::vector<Bits> found(together);
    for_each_item(together, together, [&](std::size_t k) { found[k] = work(); });
    const Bits alone = work();
    REQUIRE(!alone.empty());
    for (std::size_t k = 0; k < together; ++k) {
        CAPTURE(k);
        CHECK(found[k] == alone);
    }
}

const SamplingGrid grid{20e-6, 4e6, 44, 4e6};
const GaborBox box = GaborBox::around({4e6, 1e6, {}}, 0.10, {grid.start_time, grid.end_time()});

std::vector<Complex> frame() {
    std::vector<Complex> samples(grid.count);
    const std::span<Complex> view(samples);
    add(Echo<Gabor<double>>{{24e-6, 4.1e6, 1e6}, 1.0}, grid, view);
    add(Echo<Gabor<double>>{{27.5e-6, 3.9e6, 1.05e6}, {0.3, 0.5}}, grid, view);
    return samples;
}

template <class Result>
Bits bits_of(const Result& result) {
    Bits bits;
    for (const auto& echo : result.atoms) {
        for (const double x : {echo.atom.arrival, echo.atom.centre_frequency, echo.atom.bandwidth,
                               echo.amplitude.real(), echo.amplitude.imag()}) {
            keep(bits, x);
        }
    }
    return bits;
}

const Recording& recording() {
    static const Recording made = [] {
        SceneOptions options = quiet_scene();
        options.duration = 1.2;
        options.settings.frame_rate = 200;
        return render<std::int16_t>(Scene(options, 5), 5).recording;
    }();
    return made;
}

}  // namespace

TEST_CASE("the instruction set is chosen once, whoever asks first") {
    std::vector<InstructionSet> found(together);
    for_each_item(together, together, [&](std::size_t k) { found[k] = default_instruction_set(); });
    for (const InstructionSet set : found) {
        CHECK(set == default_instruction_set());
    }
}

TEST_CASE("pursuits on several threads don't meet") {
    const std::vector<Complex> samples = frame();
    const Signal<Complex> signal{samples, grid};
    check_alike([&] { return bits_of(pursue(signal, box, Orthogonal{.atoms = 3})); });
    check_alike([&] {
        FastPursuit<double> pursuit(grid, box, {.atoms = 3, .polish = {}, .stop = {}});
        return bits_of(pursuit.run(samples));
    });
    check_alike([&] {
        SwarmPursuit<double> pursuit(grid, box, {.atoms = 2, .swarm = {}, .stop = {}});
        return bits_of(pursuit.run(samples, 7));
    });
}

TEST_CASE("an optimiser's options are shared between threads") {
    const Swarm swarm{.particles = 20, .iterations = 30};
    const Box<double> cube({-1, -1}, {2, 2});
    check_alike([&] {
        const auto bowl = [](std::span<const double> x) { return x[0] * x[0] + x[1] * x[1]; };
        const OptimiseResult<double> found = minimise(bowl, cube, swarm, 3);
        Bits bits;
        keep(bits, found.x[0]);
        keep(bits, found.x[1]);
        return bits;
    });
}

TEST_CASE("trackers and followers on several threads don't meet") {
    const auto& frames = std::get<FrameMatrix<std::int16_t>>(recording().samples);
    BlockOptions options;
    options.length = 0.8;
    options.overlap = 0.4;
    options.shortest_fit = 0.7;
    check_alike([&] {
        Bits bits;
        for (const FrameMotion& m : track_in_blocks(recording(), options).frames) {
            keep(bits, m.diameter);
        }
        return bits;
    });
    const std::optional<LearnedWalls> walls = learn_walls(recording());
    REQUIRE(walls);
    check_alike([&] {
        FrameFollower<std::int16_t> follower(*walls);
        Bits bits;
        for (std::size_t i = 0; i < frames.frames(); ++i) {
            keep(bits, follower.push(frames[i]).motion.diameter);
        }
        return bits;
    });
}

TEST_CASE("lines that are tracked on several threads don't meet") {
    const RecordedLines lines{{recording(), recording(), recording()}};
    const auto bits_on = [&](std::size_t threads) {
        LinesOptions options;
        options.threads = threads;
        Bits bits;
        for (const FrameMotion& m : track_lines(lines, options).frames) {
            keep(bits, m.diameter);
        }
        return bits;
    };
    const Bits alone = bits_on(1);
    CHECK(!alone.empty());
    CHECK(bits_on(3) == alone);
}
