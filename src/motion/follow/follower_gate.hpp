// One gate of a learned artery in one frame: its bins, and how well a state of motion explains
// them.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/core/grid.hpp"
#include "echosieve/motion/learned_walls.hpp"

namespace echosieve::detail {

// Symbols: those of frame_follower.hpp.
//   M = sum_k S_k E_k,  E_k = exp(-i w d_k),  w = 2 pi f (2/c);   R = Y - M
//   J_p = -i w sum_k a_k S_k E_k,  J_q with b_k,  J_o with 1 for the wall's layers
//   H = 2 Re J^H J / v,   g = 2 Re J^H R / v   of (p, q, o)

/// What moves a gate's layers in a frame.
struct GateMotion {
    double pulse = 0;  ///< p, late where the gate is
    double bulk = 0;   ///< q [m]
    double own = 0;    ///< o, of the wall's layers alone [m]
};

class FollowerGate {
public:
    /// `line`: grid of the conditioned frames; `sound_speed` [m/s]. `gate` is valid, see
    /// validate(LearnedWalls).
    FollowerGate(const LearnedGate& gate, const SamplingGrid& line, double sound_speed);

    static constexpr int motions = 3;  ///< p, q, o

    struct Fit {
        Eigen::Matrix3d curvature;
        Eigen::Vector3d slope;
        double rest = 0;         ///< sum |R|^2
        double correlation = 0;  ///< of the wall's layers with what the others leave, 0 to 1
    };

    /// Cuts the gate out of the line where it is when the courses are p and q, both finite. The
    /// line has the samples of the grid given.
    void cut(std::span<const std::complex<float>> line, double p, double q) noexcept;
    struct Energies {
        double rest = 0;   ///< sum |R|^2
        double whole = 0;  ///< sum |Y|^2
    };
    /// What a motion leaves of the gate.
    [[nodiscard]] Energies energies(const GateMotion& motion) noexcept;
    /// sum |R|^2 of a motion, per bin and over v.
    [[nodiscard]] double misfit(const GateMotion& motion) noexcept;
    /// The fit at a motion. Where the gate holds more rest than was learned, that counts as its
    /// noise.
    void fit(const GateMotion& motion, Fit& out) noexcept;

    [[nodiscard]] bool late() const noexcept { return late_; }

private:
    using Complex = std::complex<double>;

    // Writes M, and with the slopes the sums of a_k S_k E_k, b_k S_k E_k and the wall's S_k E_k.
    template <bool slopes>
    void model(const GateMotion& motion) noexcept;

    LayerShare path_;
    double path_offset_;
    double taper_;
    double samples_per_metre_;
    double start_;  // the gate's first sample at rest, in samples of the line
    double count_;
    double noise_;
    bool late_;
    std::size_t wall_layers_;
    std::size_t bins_;
    Eigen::Index first_ = 0;  // sample of the line that the transform's table begins with
    double wave_ = 0;         // w of the first bin [rad/m]
    double wave_step_ = 0;
    std::vector<LayerShare> shares_;
    std::vector<Complex> spectra_;    // [layers][bins]
    std::vector<Complex> transform_;  // [samples][bins]
    std::vector<Complex> y_, m_, p_, q_, o_;
};

}  // namespace echosieve::detail
