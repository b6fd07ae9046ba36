// Displacement of the echoes in gates along the line, from the phase between successive frames.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>

#include "echosieve/motion/line.hpp"
#include "echosieve/motion/slow_time.hpp"

namespace echosieve {

// Symbols
//   y_i(z)  baseband of frame i at depth z;  f0 nominal centre frequency [Hz];  c sound speed [m/s]
//   R_i = sum over the gate of conj(y_i) y_{i+1};  an echo that moves deeper by d turns by -4 pi f0
//   d / c u_i = - sum_{j<i} arg(R_j) c / (4 pi f0)                [m]   (Kasai et al. 1985)
//   coherence = sum_z |mean_i y_i e^{+i phase(u_i)}|^2 / sum_z mean_i |y_i|^2

struct PhaseTrackOptions {
    double first_offset = 2.5e-3;  ///< centre of the first gate, below the first sample [m]
    double spacing = 0.5e-3;       ///< between gate centres [m]
    double half_gate = 0.6e-3;     ///< half length of a gate [m]
    double line_smoothing =
        4e-3;  ///< slow-time Gaussian of the lines at 4 MHz, shorter in proportion above [s]
    double phase_smoothing = 3e-3;  ///< slow-time Gaussian of the correlation [s]
};

inline void validate(const PhaseTrackOptions& options) {
    require(options.first_offset >= 0, "first_offset", options.first_offset,
            "must be zero or more [m]");
    require(options.spacing > 0, "spacing", options.spacing, "must be positive [m]");
    require(options.half_gate > 0, "half_gate", options.half_gate, "must be positive [m]");
    require(options.line_smoothing >= 0, "line_smoothing", options.line_smoothing,
            "must be zero or more [s]");
    require(options.phase_smoothing >= 0, "phase_smoothing", options.phase_smoothing,
            "must be zero or more [s]");
}

struct PhaseTracks {
    Eigen::ArrayXd depths;         ///< gate centres [m], G of them
    Eigen::ArrayXXd displacement;  ///< [frames x G], deeper positive, mean 0 per gate [m]
    Eigen::ArrayXd coherence;  ///< 0 to 1 per gate: how much of the gate's power follows its track
};

/// The lines filtered for tracking: matched to the sensor's band in fast time, smoothed in slow
/// time.
[[nodiscard]] inline Eigen::ArrayXXcd matched_lines(const LineHistory& line,
                                                    double line_smoothing) {
    // A Gaussian band of standard deviation s [Hz] is a Gaussian of 1 / (2 pi s) in time.
    const Sensor& sensor = line.settings.sensor;
    const double s = sensor.bandwidth / 2 / std::sqrt(2 * std::numbers::ln2);
    const double fast = line.grid.sampling_rate / (2 * std::numbers::pi * s);
    const double slow = line_smoothing * line.settings.frame_rate * 4e6 / sensor.centre_frequency;
    Eigen::ArrayXXcd lines(line.samples.rows(), line.samples.cols());
    for (Eigen::Index i = 0; i < lines.rows(); ++i) {
        const Eigen::ArrayXcd row = line.samples.row(i);
        lines.row(i) = gaussian_smooth<std::complex<double>>(row, fast);
    }
    for (Eigen::Index k = 0; k < lines.cols(); ++k) {
        const Eigen::ArrayXcd column = lines.col(k);
        lines.col(k) = gaussian_smooth<std::complex<double>>(column, slow);
    }
    return lines;
}

/// Tracks of all gates that lie wholly inside the line; none if it is too short.
[[nodiscard]] inline PhaseTracks phase_tracks(const LineHistory& line,
                                              const PhaseTrackOptions& options) {
    validate(options);
    const double first = line.first_depth() + options.first_offset;
    const double last = line.last_depth() - options.half_gate;
    const Eigen::Index gates =
        last < first ? 0
                     : static_cast<Eigen::Index>(std::floor((last - first) / options.spacing)) + 1;
    const Eigen::Index frames = line.frames();
    PhaseTracks tracks{Eigen::ArrayXd(gates), Eigen::ArrayXXd(frames, gates),
                       Eigen::ArrayXd(gates)};
    if (gates == 0 || frames < 2) {
        return tracks;
    }
    const Eigen::ArrayXXcd lines = matched_lines(line, options.line_smoothing);
    const double phase_per_metre = line.phase_per_metre(line.settings.sensor.centre_frequency);
    const double sigma = options.phase_smoothing * line.settings.frame_rate;
    for (Eigen::Index g = 0; g < gates; ++g) {
        const double depth = first + static_cast<double>(g) * options.spacing;
        const auto begin = static_cast<Eigen::Index>(
            std::max(0.0, std::round(line.index(depth - options.half_gate))));
        const Eigen::Index end = std::min<Eigen::Index>(
            lines.cols(), std::lround(line.index(depth + options.half_gate)));
        const auto gate = lines.middleCols(begin, end - begin);
        const Eigen::ArrayXcd correlation =
            (gate.topRows(frames - 1).conjugate() * gate.bottomRows(frames - 1)).rowwise().sum();
        const Eigen::ArrayXcd smooth = gaussian_smooth<std::complex<double>>(correlation, sigma);
        Eigen::ArrayXd u(frames);
        u[0] = 0;
        for (Eigen::Index i = 1; i < frames; ++i) {
            u[i] = u[i - 1] - std::arg(smooth[i - 1]) / phase_per_metre;
        }
        const Eigen::ArrayXcd turn =
            (std::complex<double>(0, phase_per_metre) * u.cast<std::complex<double>>()).exp();
        const Eigen::ArrayXXcd aligned = gate.colwise() * turn;
        const double power = gate.abs2().sum() / static_cast<double>(frames);
        tracks.depths[g] = depth;
        tracks.coherence[g] = power > 0 ? aligned.colwise().mean().abs2().sum() / power : 0;
        tracks.displacement.col(g) = u - u.mean();
    }
    return tracks;
}

}  // namespace echosieve
