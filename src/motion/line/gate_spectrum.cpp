#include "motion/line/gate_spectrum.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"
#include "motion/line/line.hpp"

namespace echosieve {

double gate_window(double x, double taper) noexcept {
    const double edge = std::min(x, 1 - x) / (taper / 2);
    if (edge >= 1) {
        return 1;
    }
    return edge > 0 ? 0.5 * (1 - std::cos(std::numbers::pi * edge)) : 0;
}

namespace {

// Grid and bins of the gate at rest, no values yet.
GateSpectrum empty_gate(const LineHistory& line, double depth, double half_gate, double band) {
    const auto [first, last] = line.gate(depth, half_gate);
    const Eigen::Index count = last - first;
    require(count >= fewest_gate_samples, "gate length", count,
            detail::concatenate("must be at least ", fewest_gate_samples,
                                " baseband samples inside the line"));
    std::vector<double> frequencies;
    for (Eigen::Index k = -(count / 2); k < count - count / 2; ++k) {
        const double offset =
            static_cast<double>(k) * line.grid.sampling_rate / static_cast<double>(count);
        if (std::abs(offset) < band * line.settings.sensor.bandwidth) {
            frequencies.push_back(line.grid.mixing_frequency + offset);
        }
    }
    GateSpectrum gate;
    gate.frequencies = Eigen::Map<const Eigen::ArrayXd>(
        frequencies.data(), static_cast<Eigen::Index>(frequencies.size()));
    gate.grid = line.grid.part(static_cast<std::size_t>(first), static_cast<std::size_t>(count));
    gate.depth = depth;
    return gate;
}

// The unitary transform of `count` samples, the first of them `first` samples after the gate's,
// into its bins; `fineness` of them lie between two samples of the gate's grid.
Eigen::MatrixXcd to_bins(const GateSpectrum& gate, double first, Eigen::Index count,
                         Eigen::Index fineness) {
    const double scale = 1 / std::sqrt(static_cast<double>(gate.grid.count));
    Eigen::MatrixXcd transform(count, gate.bins());
    for (Eigen::Index j = 0; j < gate.bins(); ++j) {
        const double offset = gate.frequencies[j] - gate.grid.mixing_frequency;
        for (Eigen::Index n = 0; n < count; ++n) {
            const double time =
                (first + static_cast<double>(n) / static_cast<double>(fineness)) * gate.grid.step();
            transform(n, j) = std::polar(scale, -2 * std::numbers::pi * offset * time);
        }
    }
    return transform;
}

}  // namespace

GateSpectrum gate_spectrum(const LineHistory& line, double depth, double half_gate,
                           const GateWindow& window) {
    return gate_spectrum(line, depth, half_gate, Eigen::ArrayXd::Zero(line.frames()), window);
}

GateSpectrum gate_spectrum(const LineHistory& line, double depth, double half_gate,
                           const Eigen::ArrayXd& path, const GateWindow& window) {
    require(path.size() == line.frames(), "length of the path", path.size(),
            detail::concatenate("must equal the frames, ", line.frames()));
    GateSpectrum gate = empty_gate(line, depth, half_gate, window.band);
    const auto count = static_cast<double>(gate.grid.count);
    const double start = line.grid.index(gate.grid.start_time);
    const bool stretched = line.stretch.size() > 0;
    const Eigen::ArrayXd slow = line.slow_path(depth);
    const Eigen::ArrayXd whole = path + slow;
    const double samples_per_metre = line.grid.sampling_rate * line.settings.arrival(1.0);
    const Eigen::Index samples = line.samples.cols();
    const Eigen::Index lowest = held_whole(std::floor(start + whole.minCoeff() * samples_per_metre),
                                           Eigen::Index{0}, samples);
    const Eigen::Index highest =
        held_whole(std::ceil(start + count - 1 + whole.maxCoeff() * samples_per_metre),
                   Eigen::Index{-1}, samples - 1);
    Eigen::MatrixXcd windowed(line.frames(), std::max<Eigen::Index>(highest - lowest + 1, 0));
    // gate_window() at x = (place - path) / count: the cosine of a difference, since both angles
    // are wanted over and over.
    const double per_place = 2 * std::numbers::pi / window.taper;
    const Eigen::ArrayXd paths = whole * samples_per_metre / count;
    const Eigen::ArrayXd cosines = (per_place * paths).cos();
    const Eigen::ArrayXd sines = (per_place * paths).sin();
    for (Eigen::Index n = 0; n < windowed.cols(); ++n) {
        const double place = (static_cast<double>(n + lowest) - start + 0.5) / count;
        const std::complex<double> rising = std::polar(0.5, per_place * place);
        const std::complex<double> falling = std::polar(0.5, per_place * (1 - place));
        for (Eigen::Index i = 0; i < windowed.rows(); ++i) {
            const double x = place - paths[i];
            const double c = x < 0.5 ? rising.real() * cosines[i] + rising.imag() * sines[i]
                                     : falling.real() * cosines[i] - falling.imag() * sines[i];
            const double edge = std::min(x, 1 - x);
            const double weight = edge <= 0 ? 0 : edge >= window.taper / 2 ? 1 : 0.5 - c;
            windowed(i, n) = line.samples(i, n + lowest) * weight;
        }
    }
    gate.values =
        (windowed * to_bins(gate, static_cast<double>(lowest) - start, windowed.cols(), 1)).array();
    for (Eigen::Index j = 0; stretched && j < gate.bins(); ++j) {
        const std::complex<double> turn(0, line.phase_per_metre(gate.frequencies[j]));
        gate.values.col(j) *= (turn * slow).exp();
    }
    return gate;
}

Eigen::ArrayXXcd gate_spectra(const GateSpectrum& gate, const Eigen::ArrayXXcd& samples) {
    return (samples.matrix() * to_bins(gate, 0, samples.cols(), 1)).array();
}

Eigen::ArrayXXcd gate_samples(const GateSpectrum& gate, const Eigen::ArrayXXcd& spectra,
                              Eigen::Index fineness) {
    require(fineness >= 1, "fineness", fineness, "must be at least 1");
    const Eigen::Index count = fineness * static_cast<Eigen::Index>(gate.grid.count);
    return (spectra.matrix() * to_bins(gate, 0, count, fineness).adjoint()).array();
}

}  // namespace echosieve
