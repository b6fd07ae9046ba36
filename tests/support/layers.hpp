// Gates made of layers with known time courses and random spectra, as the motion tests use them.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"
#include "motion/layers/layers.hpp"

namespace echosieve::test {

inline constexpr double made_frame_rate = 1000;  // [Hz]

/// Of a usual sensor, as made_gate() has it.
inline RecordingSettings made_settings() {
    return {125e6, made_frame_rate, 10e-6, {4e6, 1e6}, 1540};
}

/// A pulse of range 1.3 or so, and a slow bulk motion of 150 um.
inline LayerTimes made_times(Eigen::Index frames) {
    LayerTimes times{Eigen::ArrayXd(frames), Eigen::ArrayXd(frames), Eigen::ArrayXd::Ones(frames),
                     1540};
    for (Eigen::Index i = 0; i < frames; ++i) {
        const double t = static_cast<double>(i) / made_frame_rate;
        times.pulse[i] = 0.5 * std::sin(2 * std::numbers::pi * 1.3 * t) + 0.2 * std::sin(16.4 * t);
        times.bulk[i] = 150e-6 * std::sin(2 * std::numbers::pi * 0.3 * t);
    }
    return times;
}

struct MadeGate {
    GateSpectrum gate;
    Eigen::ArrayXXcd spectra;  // true S, [layers x bins]
};

/// A gate of seven bins; `noise` is the standard deviation of real and imaginary part a bin.
inline MadeGate made_gate(const LayerTimes& times, const std::vector<LayerShare>& shares,
                          double noise, std::uint64_t seed) {
    MadeGate made;
    GateSpectrum& gate = made.gate;
    gate.grid = {15e-6, 3.6e6, 14, 4e6};
    const double step = gate.grid.sampling_rate / static_cast<double>(gate.grid.count);
    gate.frequencies = Eigen::ArrayXd::LinSpaced(7, 4e6 - 3 * step, 4e6 + 3 * step);
    RandomStream random(seed, 0);
    const auto complex_normal = [&] {
        const double real = random.normal();
        return std::complex<double>(real, random.normal());
    };
    made.spectra.resize(static_cast<Eigen::Index>(shares.size()), gate.bins());
    for (std::complex<double>& s : made.spectra.reshaped()) {
        s = complex_normal();
    }
    gate.values.setZero(times.pulse.size(), gate.bins());
    for (std::size_t k = 0; k < shares.size(); ++k) {
        gate.values += layer_phasors(gate, times, shares[k]).rowwise() *
                       made.spectra.row(static_cast<Eigen::Index>(k));
    }
    for (std::complex<double>& y : gate.values.reshaped()) {
        y += noise * complex_normal();
    }
    return made;
}

inline double rms(const Eigen::ArrayXd& x) {
    return std::sqrt(x.square().mean());
}

}  // namespace echosieve::test
