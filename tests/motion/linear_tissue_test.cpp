// Tissue whose pulse is a straight line over depth, such as a uniform slab squeezed by its artery:
// rendered here, echo by echo, since neither simulator makes it.
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr std::size_t frames = 1000;
constexpr std::size_t samples = 900;
constexpr double pi = std::numbers::pi;
constexpr double near_depth = 11e-3;
constexpr double far_depth = 17.2e-3;
constexpr double near_share = -110e-6;
constexpr double far_share = 190e-6;

// Two beats in three at 66 a minute, rest in between; 0 to 1.
double pulse_at(double time) {
    const double swing = std::max(std::sin(2 * pi * 1.1 * time), 0.0);
    return swing * swing;
}

Recording slab(bool artery) {
    Recording recording;
    recording.settings = {40e6, 500, 8e-6, {5e6, 2e6}, 1540};
    const RecordingSettings& settings = recording.settings;
    FrameMatrix<float> matrix(frames, samples);
    RandomStream random(4, 0);
    struct Scatterer {
        std::vector<Echo<Gabor<double>>> echo;
        double share;  // [m]
    };
    std::vector<Scatterer> scatterers;
    const auto add = [&](double depth, double share, std::complex<double> amplitude) {
        scatterers.push_back({{{{settings.arrival(depth), settings.sensor.centre_frequency,
                                 settings.sensor.bandwidth},
                                amplitude}},
                              share});
    };
    for (double depth = 7e-3; depth < 22e-3; depth += 0.25e-3) {
        const double size = 75 * random.normal();
        add(depth, 20e-6 * (depth - 14e-3) / 7e-3,
            size * std::polar(1.0, 2 * pi * random.uniform()));
    }
    if (artery) {
        add(near_depth, near_share, std::polar(300.0, 0.5));
        add(far_depth, far_share, std::polar(300.0, 0.5));
    }
    const SamplingGrid grid = settings.grid(samples);
    for (std::size_t i = 0; i < frames; ++i) {
        const double time = static_cast<double>(i) / settings.frame_rate;
        const double breathing = 100e-6 * std::sin(2 * pi * 0.25 * time);
        const std::span<float> row = matrix[i];
        for (float& x : row) {
            x = static_cast<float>(6 * random.normal());
        }
        for (const Scatterer& s : scatterers) {
            add_moved_echoes(s.echo, breathing + s.share * pulse_at(time), 1, settings, grid, row);
        }
    }
    recording.samples = std::move(matrix);
    return recording;
}

}  // namespace

TEST_CASE("an artery in tissue whose pulse is a straight line over depth is followed") {
    const ArteryMotion motion = track_artery(slab(true));
    REQUIRE(motion.usable());
    constexpr double half_layer = 0.19e-3;  // half of the resolution, c / (4 bandwidth)
    CHECK_WITHIN(motion.near.depth, near_depth, half_layer);
    CHECK_WITHIN(motion.far.depth, far_depth, half_layer);
    double sum = 0;
    double square = 0;
    for (const FrameMotion& frame : motion) {
        const double error = frame.diameter - (far_depth - near_depth +
                                               (far_share - near_share) * pulse_at(frame.time));
        sum += error;
        square += error * error;
    }
    const double mean = sum / frames;
    constexpr double limit =
        1e-6;  // a 300th of the distension: one layer a wall, 12 dB over tissue
    CHECK_WITHIN(std::sqrt(square / frames - mean * mean), 0.0, limit);
}

TEST_CASE("the same tissue without the artery holds none") {
    const ArteryMotion motion = track_artery(slab(false));
    CHECK(!motion.usable());
    CHECK(motion.frames.empty());
}
