#include <cmath>
#include <cstddef>
#include <vector>

#include "echosieve/motion/track_artery.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

// What another program makes of two synthetic recordings: the project's first trial of common time
// courses and layers, in NumPy and SciPy (free spectra by least squares, three layers a wall, no
// likelihood, nothing in common with this code). Run once on these scenes as rendered here; its
// own error against the truth is 1.5 um and 1.7 um rms.
struct Trial {
    std::uint64_t seed;
    double near_depth, far_depth;    // [m]
    std::vector<double> distension;  // mean removed, frames 12, 37, 62 ... [um]
};

const std::vector<Trial> trials = {
    {1, 9.553e-3, 17.149e-3, {-137.2, -143.6, -29.1,  206.5, 210.2, 154.0,  109.8,  85.6,   75.7,
                              26.8,   -27.0,  -54.9,  -73.1, -89.3, -100.7, -112.3, -122.8, -129.5,
                              -136.5, -141.9, -74.3,  174.8, 220.3, 164.6,  116.6,  86.6,   79.4,
                              39.0,   -18.8,  -50.8,  -69.5, -85.6, -99.6,  -110.3, -119.7, -127.9,
                              -134.4, -140.8, -113.2, 125.6, 230.3, 177.0,  126.5,  91.2,   81.5,
                              53.3,   -6.3,   -43.4,  -64.4, -79.6}},
    {3, 9.341e-3, 17.070e-3, {-125.8, -131.6, -137.5, -133.0, 82.2,   240.0, 190.7, 138.2,  95.5,
                              83.7,   61.0,   3.2,    -39.9,  -62.0,  -78.6, -93.1, -104.6, -115.2,
                              -123.3, -131.1, -137.5, -141.9, 21.6,   231.5, 203.4, 148.6,  104.7,
                              85.9,   72.9,   19.5,   -28.0,  -53.7,  -70.9, -85.9, -99.6,  -109.6,
                              -118.4, -126.0, -133.3, -138.3, -136.7, 67.1,  237.1, 193.9,  140.2,
                              99.3,   84.3,   67.2,   11.6,   -30.3}}};

constexpr std::size_t first_frame = 12;
constexpr std::size_t frame_step = 25;

}  // namespace

TEST_CASE("another program's layers, by least squares, give the same motion") {
    for (const Trial& trial : trials) {
        CAPTURE(trial.seed);
        SceneOptions options;
        options.duration = 2.5;
        options.settings.sampling_rate = 40e6;
        options.settings.frame_rate = 500;
        options.coupling = 0.25;
        const ArteryMotion motion =
            track_artery(render<std::int16_t>(Scene(options, trial.seed), trial.seed).recording);
        REQUIRE(motion.status == TrackStatus::tracked);
        double all = 0;
        for (const FrameMotion& frame : motion) {
            all += frame.diameter / static_cast<double>(motion.frames.size());
        }
        double mean = 0, square = 0;
        const double count = static_cast<double>(trial.distension.size());
        for (std::size_t k = 0; k < trial.distension.size(); ++k) {
            const FrameMotion& frame = motion.frames[first_frame + frame_step * k];
            const double difference = frame.diameter - all - 1e-6 * trial.distension[k];
            mean += difference / count;
            square += difference * difference / count;
        }
        // Both err by some 2 um, each in its own way.
        constexpr double alike = 4e-6;
        CHECK_WITHIN(std::sqrt(square - mean * mean), 0.0, alike);
        // A tenth of a pulse's length: where an echo of two layers peaks is a matter of weights.
        constexpr double alike_depth = 0.15e-3;
        CHECK_WITHIN(motion.near.depth, trial.near_depth, alike_depth);
        CHECK_WITHIN(motion.far.depth, trial.far_depth, alike_depth);
    }
}
