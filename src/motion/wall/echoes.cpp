#include "echosieve/motion/artery_motion.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <optional>
#include <span>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/signal.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/kernels/detail/recurrence_row.hpp"
#include "echosieve/pursuit/echo_source.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "motion/line/gate_spectrum.hpp"
#include "motion/wall/echoes.hpp"

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

void add_moved_echoes(const std::vector<Echo<Gabor<double>>>& echoes, double displacement,
                      double strength, const RecordingSettings& settings, const SamplingGrid& grid,
                      std::span<float> row) {
    require(row.size() == grid.count, "size of the row", row.size(),
            detail::concatenate("must equal the grid's count, ", grid.count));
    require(grid.mixing_frequency == 0, "mixing_frequency", grid.mixing_frequency,
            "must be 0 for real samples [Hz]");
    constexpr double negligible = 16;  // nepers: 1e-7, below the rounding of a float
    const double h = grid.step();
    for (const Echo<Gabor<double>>& echo : echoes) {
        const double alpha = decay_from_bandwidth(echo.atom.bandwidth) * h * h;
        const double centre = grid.index(echo.atom.arrival + settings.arrival(displacement));
        const double half = std::sqrt(negligible / alpha);
        const auto within = [&](double index) {
            return static_cast<std::size_t>(
                std::clamp(index, 0.0, static_cast<double>(grid.count)));
        };
        const std::size_t first = within(std::ceil(centre - half));
        const std::size_t end = within(std::floor(centre + half) + 1);
        if (first >= end) {
            continue;
        }
        const double u = static_cast<double>(first) - centre;
        const double turns = echo.atom.centre_frequency * h;
        add_recurrence(
            {strength * echo.amplitude * std::exp(-alpha * u * u) * unit_phasor(turns * u),
             std::exp(-alpha * (2 * u + 1)) * unit_phasor(turns), std::exp(-2 * alpha)},
            row.subspan(first, end - first));
    }
}

}  // namespace echosieve
