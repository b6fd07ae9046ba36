#include "echosieve/motion/wall_echoes.hpp"

#include <complex>
#include <optional>
#include <span>

#include "echosieve/core/signal.hpp"
#include "echosieve/pursuit/echo_source.hpp"
#include "echosieve/pursuit/engine.hpp"
#include "echosieve/pursuit/refine.hpp"

namespace echosieve {

std::vector<Echo<Gabor<double>>> wall_echoes(const SeparatedWall& wall,
                                             const RecordingSettings& settings,
                                             const WallEchoOptions& options) {
    validate(options);
    using Source = EchoSource<std::complex<double>, GaussNewton>;
    const GateSpectrum& gate = wall.layered.gate;
    const Eigen::ArrayXcd at_rest = gate_samples(gate, wall.spectrum().transpose()).transpose();
    Source source(gate.grid,
                  GaborBox::around(settings.sensor, options.spread,
                                   {gate.grid.start_time, gate.grid.end_time()}),
                  GaussNewton{}, 0);
    PursuitEngine<Source> engine;
    PursuitEngine<Source>::Result found;
    engine.run(std::span<const std::complex<double>>(at_rest.data(),
                                                     static_cast<std::size_t>(at_rest.size())),
               source, Orthogonal{options.atoms}, Stop{options.least_energy, std::nullopt}, found);
    return found.atoms;
}

std::vector<Echo<Gabor<double>>> moved_echoes(const std::vector<Echo<Gabor<double>>>& echoes,
                                              double displacement, double strength,
                                              const RecordingSettings& settings) {
    std::vector<Echo<Gabor<double>>> moved = echoes;
    for (Echo<Gabor<double>>& echo : moved) {
        echo.atom.arrival += settings.arrival(displacement);
        echo.amplitude *= strength;
    }
    return moved;
}

}  // namespace echosieve
