// Several recordings at once: what comes out doesn't depend on the number of threads.
#include <bit>
#include <cstdint>
#include <vector>

#include "echosieve/motion/track_artery.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

Recording short_recording(std::uint64_t seed) {
    Scene::Options options;
    options.duration = 0.8;
    options.settings.sampling_rate = 40e6;
    options.settings.frame_rate = 200;
    return render<std::int16_t>(Scene(options, seed), seed).recording;
}

// Of every number in the frames, NaN included.
std::vector<std::uint64_t> bits_of(const ArteryMotion& motion) {
    std::vector<std::uint64_t> bits;
    for (const FrameMotion& m : motion.frames) {
        for (const double x : {m.time, m.near_wall, m.near_wall_std, m.far_wall, m.far_wall_std,
                               m.diameter, m.diameter_std, m.quality}) {
            bits.push_back(std::bit_cast<std::uint64_t>(x));
        }
        bits.push_back(m.valid ? 1 : 0);
    }
    return bits;
}

}  // namespace

TEST_CASE("recordings followed together have the bits of each followed alone") {
    std::vector<Recording> recordings;
    for (const std::uint64_t seed : {1U, 2U}) {
        recordings.push_back(short_recording(seed));
    }
    std::vector<std::vector<std::uint64_t>> alone;
    std::size_t frames = 0;
    for (const Recording& recording : recordings) {
        alone.push_back(bits_of(track_artery(recording)));
        frames += alone.back().size();
    }
    REQUIRE(frames > 0);
    for (const std::size_t threads : {std::size_t{2}, std::size_t{7}}) {
        CAPTURE(threads);
        const auto together = track_arteries(recordings, {}, threads);
        REQUIRE(together.size() == recordings.size());
        for (std::size_t k = 0; k < recordings.size(); ++k) {
            CHECK(bits_of(together[k]) == alone[k]);
        }
    }
    recordings[1].settings.sampling_rate = -1;
    CHECK_THROWS_WITH_AS(static_cast<void>(track_arteries(recordings, {}, 2)),
                         "sampling_rate = -1: must be positive and finite [Hz]", InvalidInput);
    CHECK(track_arteries({}, {}, 4).empty());
}
