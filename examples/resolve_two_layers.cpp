// Two layers of a wall lie closer together than a pulse is long. One frame alone cannot tell them
// apart; a hundred frames that share the pulse's shape can: each layer's arrival in each frame,
// with its standard deviation.
#include <cmath>
#include <complex>
#include <cstdio>
#include <numbers>
#include <span>
#include <string>
#include <vector>

#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/pursuit/joint_fit.hpp"
#include "echosieve/pursuit/shared_shape_fit.hpp"
#include "support/command_line.hpp"

using namespace echosieve;

namespace {

int resolve() {
    constexpr std::size_t frames = 100;
    constexpr double sound_speed = 1540;  // [m/s]
    const SamplingGrid grid{.start_time = 16e-6, .sampling_rate = 125e6, .count = 900};
    // Layers 0.4 mm apart; the outer one moves by 60 um over the beat, the inner one by 80 um.
    const auto depth = [&](std::size_t i, std::size_t layer) {
        const double beat =
            0.5 - 0.5 * std::cos(2 * std::numbers::pi * static_cast<double>(i) / frames);
        return 15e-3 + (layer == 0 ? 60e-6 * beat : 0.4e-3 + 80e-6 * beat);
    };
    constexpr double noise = 0.05;  // 26 dB under each echo's peak
    RandomStream stream(7);
    std::vector<double> samples(frames * grid.count);
    for (double& x : samples) {
        x = noise * stream.normal();
    }
    Eigen::MatrixXd arrivals(frames, 2);  // a first guess, 20 um off
    for (std::size_t i = 0; i < frames; ++i) {
        for (std::size_t k = 0; k < 2; ++k) {
            const double arrival = 2 * depth(i, k) / sound_speed;
            const double phase = 2 * std::numbers::pi * 4.1e6 * (arrival - 19.5e-6);
            add(Echo<Gabor<double>>{{arrival, 4.1e6, 0.9e6}, std::polar(1.0, phase)}, grid,
                std::span(samples).subspan(i * grid.count, grid.count));
            arrivals(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(k)) =
                arrival + 2 * (k == 0 ? -20e-6 : 20e-6) / sound_speed;
        }
    }
    const GaborBox box{{17e-6, 22e-6}, {3e6, 5e6}, {0.6e6, 1.6e6}};
    const Gabor<double> nominal{0, 4e6, 1e6};  // what the sensor's data sheet says
    const auto shared =
        fit_shared_shape(FrameView<double>(samples, frames, grid.count), grid,
                         std::vector{nominal, nominal}, arrivals, std::vector{box, box});

    std::printf(
        "Ended: %s. Shapes: %.3f MHz and %.3f MHz (truth 4.100), bandwidths %.3f and %.3f MHz "
        "(0.900).\n\n",
        std::string(describe(shared.status)).c_str(), 1e-6 * shared.shapes[0].centre_frequency,
        1e-6 * shared.shapes[1].centre_frequency, 1e-6 * shared.shapes[0].bandwidth,
        1e-6 * shared.shapes[1].bandwidth);
    std::printf("Outer layer, error and standard deviation [um]:\n%8s %22s %22s\n", "frame",
                "shape shared", "this frame alone");
    const auto micrometres = [&](double seconds) { return 1e6 * seconds * sound_speed / 2; };
    for (std::size_t i = 0; i < frames; i += 20) {
        const auto row = static_cast<Eigen::Index>(i);
        const double truth = 2 * depth(i, 0) / sound_speed;
        std::vector<Gabor<double>> start{nominal, nominal};
        start[0].arrival = arrivals(row, 0);
        start[1].arrival = arrivals(row, 1);
        const auto alone = fit_echoes(std::span(samples).subspan(i * grid.count, grid.count), grid,
                                      start, std::vector{box, box});
        std::printf("%8zu %10.2f +- %7.2f %10.2f +- %7.2f\n", i,
                    micrometres(shared.arrivals(row, 0) - truth),
                    micrometres(shared.arrival_deviations(row, 0)),
                    micrometres(alone.echoes[0].atom.arrival - truth),
                    micrometres(alone.covariance.arrival(0)));
    }
    std::printf("\nSynthetic data. %s\n", examples::notice);
    return 0;
}

}  // namespace

int main(int argc, char** argv) {
    return examples::CommandLine("resolve_two_layers",
                                 "Two layers closer together than a pulse is long, told apart.")
        .run(argc, argv, resolve);
}
