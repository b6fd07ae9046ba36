// A gate's echoes taken apart into layers that move differently: each a free spectrum with a known
// time course.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion_options.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve {

// Symbols
//   Y(f, i)   spectrum of the windowed gate in frame i, at absolute frequency f [Hz]
//   S_k(f)    spectrum of layer k at rest;  p, q time courses, a_k [m], b_k its shares in them
//   tau_k(i) = (2 / c) (a_k p_i + b_k q_i)  [s];   E_k = exp(-i 2 pi f tau_k)
//
//   Y(f, i) = sum_k S_k(f) E_k(f, i) + noise
//
// For given shares the best S is a linear least-squares solution per frequency (with a small ridge,
// since layers that move alike can't be told apart); the shares follow by Gauss-Newton on what is
// left (variable projection, Golub and Pereyra 1973, with the simplified Jacobian of Kaufman 1975).

/// Layers of a gate are few: what is worked out a bin at a time asks for no memory.
inline constexpr int most_layers = 8;

/// Added to the Gram matrix of layers, as a part of the frames' weight: layers that move alike
/// can't be told apart.
inline constexpr double layer_ridge = 0.01;

struct LayerFit {
    std::vector<LayerShare> shares;  ///< per layer
    Eigen::ArrayXXcd spectra;        ///< S, [layers x bins]
    Eigen::ArrayXXcd rest;           ///< what the layers leave, [frames x bins]
    double cost = 0;                 ///< squared residual over usable frames, ridge included
    double noise = 0;                ///< mean squared residual per frame and bin
    double power = 0;                ///< mean squared value per frame and bin
    int iterations = 0;

    /// Part of the gate's power that the layers leave unexplained, 0 to 1.
    [[nodiscard]] double residual() const noexcept { return power > 0 ? noise / power : 1; }
};

/// How one of several lines sees the time courses.
struct LineTimes {
    Eigen::ArrayXd weight;  ///< per frame, 0 or 1
    double delay = 0;       ///< of the pulse there after p [frames]
};

/// What the layers move by, and which frames count.
struct LayerTimes {
    Eigen::ArrayXd pulse;            ///< p, per frame
    Eigen::ArrayXd bulk;             ///< q, per frame [m]
    Eigen::ArrayXd weight;           ///< per frame, 0 or 1
    double sound_speed = 1540;       ///< [m/s]
    double lag = 0;                  ///< of the tissue's pulse after p [frames]
    std::vector<LineTimes> lines{};  ///< of several lines over one artery; empty: one, as above

    /// As the tissue sees them: p later by the lag.
    [[nodiscard]] LayerTimes late() const;
    /// As a line sees them: of one alone, these.
    [[nodiscard]] LayerTimes seen_by(std::size_t line) const;
    /// As each line sees them, one at least.
    [[nodiscard]] std::vector<LayerTimes> by_line() const;
};

/// x `frames` later, a fraction of one by the cubic through four values (Lagrange); the ends
/// repeat.
[[nodiscard]] Eigen::ArrayXd delayed(const Eigen::ArrayXd& x, double frames);

/// tau_k [frames] of a layer [s].
[[nodiscard]] Eigen::ArrayXd layer_delays(const LayerTimes& times, const LayerShare& share);

/// E_k [frames x bins] of a layer.
[[nodiscard]] Eigen::ArrayXXcd layer_phasors(const GateSpectrum& gate, const LayerTimes& times,
                                             const LayerShare& share);

}  // namespace echosieve
