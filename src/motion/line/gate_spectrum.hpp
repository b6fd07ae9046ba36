// The spectra of a gate over all frames, and back to its samples.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <numbers>

#include "echosieve/core/grid.hpp"
#include "echosieve/kernels/detail/phasors.hpp"
#include "motion/line/line.hpp"

namespace echosieve {

/// The spectra of one gate over all frames.
struct GateSpectrum {
    Eigen::ArrayXXcd values;     ///< [frames x bins]
    Eigen::ArrayXd frequencies;  ///< absolute, per bin [Hz]
    SamplingGrid grid;           ///< of the gate's baseband samples
    double depth = 0;            ///< of the gate's centre [m]

    [[nodiscard]] Eigen::Index bins() const noexcept { return frequencies.size(); }
    /// The bins' angular frequencies [rad/s]: bins are evenly spaced.
    [[nodiscard]] FrequencyRow angular() const noexcept {
        constexpr double turn = 2 * std::numbers::pi;
        const Eigen::Index count = bins();
        return {count > 0 ? turn * frequencies[0] : 0,
                count > 1 ? turn * (frequencies[1] - frequencies[0]) : 0,
                static_cast<std::size_t>(count)};
    }
};

/// Fewer baseband samples hold no spectrum worth the name.
inline constexpr Eigen::Index fewest_gate_samples = 4;

/// Part of a gate's length that is tapered, unless another is asked for.
inline constexpr double gate_taper = 0.6;

/// Weight of a gate's window at x = 0 .. 1 of its length: two raised-cosine edges, each `taper` / 2
/// long; 0 outside.
[[nodiscard]] double gate_window(double x, double taper = gate_taper) noexcept;

/// How a gate is cut, and which of its bins are kept.
struct GateWindow {
    double taper = gate_taper;  ///< part of its length that is tapered; 1: Hann
    double band = 1;            ///< of the sensor's bandwidth: how far bins lie from its centre
};

/// Windowed discrete Fourier transform, unitary, of the gate depth +- half_gate [m]. Throws
/// InvalidInput if fewer than fewest_gate_samples of the gate lie inside the line.
[[nodiscard]] GateSpectrum gate_spectrum(const LineHistory& line, double depth, double half_gate,
                                         const GateWindow& window = {});

/// The same with the window moved by `path` [m] from frame to frame, so that an echo that moves
/// along it keeps its place in the window. The spectra still refer to the gate at rest: such an
/// echo turns by its delay as before, but is no longer weighted by where it is. `path` has an entry
/// a frame.
[[nodiscard]] GateSpectrum gate_spectrum(const LineHistory& line, double depth, double half_gate,
                                         const Eigen::ArrayXd& path, const GateWindow& window = {});

/// The spectra of baseband samples on the gate's grid, not windowed: [rows x samples] -> [rows x
/// bins].
[[nodiscard]] Eigen::ArrayXXcd gate_spectra(const GateSpectrum& gate,
                                            const Eigen::ArrayXXcd& samples);

/// The baseband samples of spectra in the gate's bins: rows of `spectra` [rows x bins] -> [rows x
/// samples], `fineness` >= 1 of them for each sample of the gate's grid. Throws InvalidInput for
/// less.
[[nodiscard]] Eigen::ArrayXXcd gate_samples(const GateSpectrum& gate,
                                            const Eigen::ArrayXXcd& spectra,
                                            Eigen::Index fineness = 1);

}  // namespace echosieve
