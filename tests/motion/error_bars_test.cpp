#include <algorithm>
#include <cmath>
#include <cstdint>

#include "echosieve/motion/track_artery.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

// Frames whose distension error lies within 1.96 of its deviation.
struct Held {
    double frames = 0;
    double within = 0;
};

Held held(const ArteryMotion& motion, const Truth& truth) {
    const auto error = [&](std::size_t i) {
        const WallDepths& w = truth.walls[i];
        return motion.frames[i].diameter - (w.far_outer - w.near_outer);
    };
    double mean = 0, count = 0;
    for (std::size_t i = 0; i < motion.frames.size(); ++i) {
        if (motion.frames[i].valid) {
            mean += error(i);
            count += 1;
        }
    }
    mean /= std::max(count, 1.0);
    Held out;
    for (std::size_t i = 0; i < motion.frames.size(); ++i) {
        if (motion.frames[i].valid) {
            out.frames += 1;
            out.within += std::abs(error(i) - mean) <= 1.96 * motion.frames[i].diameter_std ? 1 : 0;
        }
    }
    return out;
}

template <RenderableScene S>
void add_drawn(Held& sum, std::uint64_t first, std::uint64_t count) {
    for (std::uint64_t seed = first; seed < first + count; ++seed) {
        const SyntheticRecording made = render_drawn<std::int16_t>(draw_scene<S>(seed));
        const ArteryMotion motion = track_artery(made.recording);
        if (motion.usable()) {
            const Held one = held(motion, made.truth);
            sum.frames += one.frames;
            sum.within += one.within;
        }
    }
}

}  // namespace

TEST_CASE("95 % intervals of the distension hold on drawn recordings of all simulators (long)") {
    Held sum;
    add_drawn<Scene>(sum, 61001, 8);
    add_drawn<VolumeScene>(sum, 61001, 8);
    add_drawn<LayeredScene>(sum, 61001, 8);
    REQUIRE(sum.frames > 20000);
    // Some 20 recordings, each an error of gain of its own: five standard deviations of the part
    // that 20 draws hold of 95 %.
    CHECK(sum.within > 0.75 * sum.frames);
}

TEST_CASE("no wall is trusted beside an artery, or in a vein (long)") {
    for (const LineKind kind : {LineKind::artery_beside, LineKind::vein}) {
        for (std::uint64_t seed = 61001; seed < 61007; ++seed) {
            CAPTURE(static_cast<int>(kind));
            CAPTURE(seed);
            const ArteryMotion motion = track_artery(
                render_drawn<std::int16_t>(draw_scene<LayeredScene>(seed, kind)).recording);
            if (motion.usable()) {
                CHECK(std::min(motion.near.confidence, motion.far.confidence) < 0.8);
            }
        }
    }
}
