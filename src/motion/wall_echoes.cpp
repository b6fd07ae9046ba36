#include "echosieve/motion/wall_echoes.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <iterator>
#include <limits>
#include <numbers>
#include <optional>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/signal.hpp"
#include "echosieve/correlate/delay.hpp"
#include "echosieve/motion/layers.hpp"
#include "echosieve/motion/line.hpp"
#include "echosieve/motion/slow_time.hpp"
#include "echosieve/pursuit/echo_source.hpp"
#include "echosieve/pursuit/engine.hpp"
#include "echosieve/pursuit/refine.hpp"

namespace echosieve {

namespace {

/// Depth at which the envelope of the gate's samples, interpolated eightfold, is largest.
double envelope_depth(const GateSpectrum& gate, const Eigen::ArrayXcd& spectrum,
                      const RecordingSettings& settings) {
    constexpr int fine = 8;
    double largest = -1;
    double best = gate.grid.start_time;
    for (int n = 0; n <= fine * (static_cast<int>(gate.grid.count) - 1); ++n) {
        const double time = static_cast<double>(n) / fine * gate.grid.step();
        std::complex<double> sum{0, 0};
        for (Eigen::Index j = 0; j < gate.bins(); ++j) {
            const double offset = gate.frequencies[j] - gate.grid.mixing_frequency;
            sum += spectrum[j] * std::polar(1.0, 2 * std::numbers::pi * offset * time);
        }
        if (std::norm(sum) > largest) {
            largest = std::norm(sum);
            best = gate.grid.start_time + time;
        }
    }
    return settings.depth(best);
}

// Standard deviation [m] of a delay estimated from one frame of the template S in noise of variance
// v a bin: Fisher information 2 / v sum |2 pi f S|^2, as of a known echo (only its delay unknown).
double displacement_deviation(const GateSpectrum& gate, const Eigen::ArrayXcd& spectrum,
                              double variance, double sound_speed) {
    const double slope =
        ((2 * std::numbers::pi * gate.frequencies).square() * spectrum.abs2()).sum();
    return slope > 0 ? sound_speed / 2 * std::sqrt(variance / (2 * slope))
                     : std::numeric_limits<double>::infinity();
}

}  // namespace

WallEchoes follow_wall(const LineHistory& line, const GateSpectrum& gate, const LayerFit& fit,
                       const LayerTimes& times, const WallEchoOptions& options) {
    validate(options);
    using Source = EchoSource<std::complex<double>, GaussNewton>;
    const RecordingSettings& settings = line.settings;
    const Eigen::Index frames = line.frames();
    const Eigen::ArrayXcd rest = fit.spectra.row(0).transpose();
    const Eigen::ArrayXXcd spectra = isolated_layer(gate, times, fit, 0);
    const Eigen::ArrayXXcd isolated =
        gate_samples(gate, spectra).transpose();  // one frame is contiguous
    const Eigen::ArrayXcd at_rest = gate_samples(gate, fit.spectra.row(0)).transpose();

    WallEchoes wall;
    wall.depth = envelope_depth(gate, rest, settings);
    wall.displacement = fit.shares[0].pulse * times.pulse + fit.shares[0].bulk * times.bulk;
    wall.correlation = Eigen::ArrayXd::Zero(frames);
    wall.echoes.resize(static_cast<std::size_t>(frames));

    Source source(gate.grid,
                  GaborBox::around(settings.sensor, options.spread,
                                   {gate.grid.start_time, gate.grid.end_time()}),
                  GaussNewton{}, 0);
    PursuitEngine<Source> engine;
    PursuitEngine<Source>::Result found;
    const Orthogonal strategy{options.atoms};
    const Stop stop{options.least_energy, std::nullopt};
    const auto samples_of = [](const auto& column) {
        return std::span<const std::complex<double>>(column.data(),
                                                     static_cast<std::size_t>(column.size()));
    };
    engine.run(samples_of(at_rest), source, strategy, stop, found);
    wall.reference = found.atoms;

    const double pulse = pulse_length(
        decay_from_bandwidth(settings.sensor.bandwidth));  // -6 dB length of the envelope
    Eigen::ArrayXd residual = Eigen::ArrayXd::Constant(frames, fit.noise);
    const Eigen::ArrayXXcd phasors = layer_phasors(gate, times, fit.shares[0]);
    for (Eigen::Index i = 0; i < frames; ++i) {
        residual[i] = (spectra.row(i) - phasors.row(i) * rest.transpose()).abs2().mean();
        if (!line.usable[static_cast<std::size_t>(i)] || wall.reference.empty()) {
            continue;
        }
        engine.run(samples_of(isolated.col(i)), source, strategy, stop, found);
        const double predicted = settings.arrival(wall.displacement[i]);
        auto& echoes = wall.echoes[static_cast<std::size_t>(i)];
        std::copy_if(
            found.atoms.begin(), found.atoms.end(), std::back_inserter(echoes),
            [&](const auto& echo) {
                return std::any_of(
                    wall.reference.begin(), wall.reference.end(), [&](const auto& reference) {
                        return std::abs(echo.atom.arrival - reference.atom.arrival - predicted) <
                               options.association * pulse;
                    });
            });
        if (echoes.empty()) {
            continue;
        }
        const Delay delay = delay_between(std::span<const Echo<Gabor<double>>>(wall.reference),
                                          std::span<const Echo<Gabor<double>>>(echoes), predicted);
        if (delay.usable() && delay.correlation >= options.lowest_correlation) {
            wall.displacement[i] = settings.depth(delay.delay);
            wall.correlation[i] = delay.correlation;
        } else {
            echoes.clear();
        }
    }
    bridge(residual, line.usable);
    const Eigen::ArrayXd variance =
        gaussian_smooth<double>(residual, options.residual_smoothing * settings.frame_rate);
    wall.deviation.resize(frames);
    for (Eigen::Index i = 0; i < frames; ++i) {
        wall.deviation[i] = displacement_deviation(gate, rest, variance[i], settings.sound_speed);
    }
    return wall;
}

}  // namespace echosieve
