// A synthetic recording, its echoes and the motion of its walls: digits that two processors must
// have in common. Depths to a nanometre, which is what motion.csv holds.
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "echosieve/motion/frame_follower.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"

using namespace echosieve;

int main() {
    constexpr std::uint64_t seed = 3;
    constexpr std::size_t every = 25;
    SceneOptions options;
    options.duration = 2;
    options.settings.sampling_rate = 20e6;
    options.settings.frame_rate = 250;
    const SyntheticRecording made = render<std::int16_t>(Scene(options, seed), seed);
    const auto& frames = std::get<FrameMatrix<std::int16_t>>(made.recording.samples);
    long long sum = 0;
    for (const std::int16_t sample : frames.values()) {
        sum += sample;
    }
    std::printf("recording %zu x %zu, sum %lld\n", frames.frames(), frames.samples(), sum);

    const ArteryMotion motion = track_artery(made.recording);
    std::printf("%s\n", std::string(describe(motion.status)).c_str());
    for (std::size_t i = 0; i < motion.frames.size(); i += every) {
        const FrameMotion& m = motion.frames[i];
        std::printf("frame %zu: %.9f %.9f %.4f\n", i, m.near_wall, m.far_wall, m.quality);
    }

    const auto walls = learn_walls(made.recording);
    if (walls) {
        FrameFollower<std::int16_t> follower(*walls);
        for (std::size_t i = 0; i < frames.frames(); ++i) {
            const FrameMotion& m = follower.push(frames[i]).motion;
            if (i % every == 0) {
                std::printf("follower %zu: %.9f %.9f\n", i, m.near_wall, m.far_wall);
            }
        }
    }

    std::vector<double> samples;
    const std::size_t gate = 200;
    for (const std::int16_t sample : frames[0].subspan(frames.samples() / 3, gate)) {
        samples.push_back(sample);
    }
    const SamplingGrid grid{0, options.settings.sampling_rate, gate, 0};
    const GaborBox box =
        GaborBox::around(options.settings.sensor, 0.1, {grid.start_time, grid.end_time()});
    const Signal<double> signal{std::span<const double>(samples), grid};
    const auto found = pursue(signal, box, Orthogonal{.atoms = 3}, GaussNewton{}, seed);
    for (const auto& echo : found.atoms) {
        std::printf("echo %.12f s, %.1f Hz, %.6f\n", echo.atom.arrival, echo.atom.centre_frequency,
                    std::abs(echo.amplitude));
    }
    return motion.usable() && walls && !found.atoms.empty() ? 0 : 1;
}
