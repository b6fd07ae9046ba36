// Takes one frame apart into ten echoes with the reference setting of the job: orthogonal pursuit,
// a swarm of 50, centre frequency and bandwidth within 10 % of the sensor's, arrival free in the
// gate.
#include <complex>
#include <cstdio>
#include <span>
#include <string>
#include <variant>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "support/command_line.hpp"

namespace {

int decompose() {
    using namespace echosieve;
    SceneOptions options;
    options.duration = 1e-3;  // one frame
    const SyntheticRecording made = render<float>(Scene(options, 1), 1);
    const RecordingSettings& settings = made.recording.settings;
    const auto& frames = std::get<FrameMatrix<float>>(made.recording.samples);
    const Baseband<double> baseband = to_baseband<double>(frames.view(), settings);

    // The gate: 2 mm to either side of the near wall's outer layer.
    const double wall = made.truth.walls[0].near_outer;
    const Gate gate{settings.arrival(wall - 2e-3), settings.arrival(wall + 2e-3)};
    const GaborBox box = GaborBox::around(settings.sensor, 0.10, gate);
    const auto first = static_cast<std::size_t>(baseband.grid.index(gate.begin));
    const auto last = static_cast<std::size_t>(baseband.grid.index(gate.end)) + 1;
    const Signal<std::complex<double>> signal{
        std::span(baseband.samples.row(0).data() + first, last - first),
        baseband.grid.part(first, last - first)};

    const auto result =
        pursue(signal, box, Orthogonal{.atoms = 10}, Swarm{.particles = 50, .iterations = 100}, 1);
    std::printf("%-10s %-10s %-10s %-10s %s\n", "depth mm", "f MHz", "B MHz", "amplitude",
                "energy left");
    for (std::size_t k = 0; k < result.atoms.size(); ++k) {
        const auto& echo = result.atoms[k];
        std::printf("%-10.3f %-10.3f %-10.3f %-10.1f %.2e\n",
                    1e3 * settings.depth(echo.atom.arrival), echo.atom.centre_frequency / 1e6,
                    echo.atom.bandwidth / 1e6, std::abs(echo.amplitude),
                    result.residual_energy[k] / result.signal_energy);
    }
    std::printf("Ended: %s. Explained %.4f of the energy.\n",
                std::string(describe(result.status)).c_str(), result.explained());
    std::printf("Synthetic data. %s\n", examples::notice);
    return result.usable() ? 0 : 1;
}

}  // namespace

int main(int argc, char** argv) {
    return examples::CommandLine("decompose_one_frame",
                                 "Takes one synthetic frame apart into ten echoes.")
        .run(argc, argv, decompose);
}
