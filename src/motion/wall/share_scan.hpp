// The fastest pulse share in a gate: evidence for layers up to any share, all slower ones allowed.
#pragma once

#include <Eigen/Core>
#include <array>
#include <complex>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/layers/layers.hpp"
#include "motion/layers/turned_sums.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve {

/// Of the grid, either way: the scan's memory grows with the square of their number.
inline constexpr Eigen::Index most_scanned_shares = 256;

// An artery's wall is what moves fastest with its pulse: tissue outside it follows, the less the
// further away, and tissue beside the vessel, at the wall's depth, is slower still. So each gate is
// asked for its fastest share, whatever else it holds.
//
// Symbols (the rest as in layers.hpp)
//   a_1 < a_2 < ...  shares on a grid, in one direction, from a little against it upwards
//   Y(f) = sum_k x_k(f) E_k(f) + noise,  x_k ~ CN(0, v |P(f)|^2),  noise ~ CN(0, s2): the tissue as
//   a continuum of layers, P the pulse's spectrum
//   M = E^H E / s2 + diag(1 / (v |P|^2)) = C C^H,  y = C^-1 E^H Y / s2
//   L_K = sum_f sum_{k <= K} (|y_k|^2 - 2 ln c_kk - ln v_k): log evidence of the first K shares
//         over that of noise alone (Gaussian marginal likelihood, see Rasmussen and Williams 2006,
//         eq. 2.30, in the form of the matrix inversion lemma)
// One Cholesky factorisation holds L_K for all K: its leading blocks are those of the smaller sets.
// v is the most likely of a few. E^H E depends on differences of shares only, not on the gate.

/// What a gate holds in one direction.
struct FastestShare {
    double share = 0;     ///< size of the fastest share that the evidence asks for, over the range
                          ///< of p [m]; 0 if nothing moves this way
    double evidence = 0;  ///< for it and those a little slower, over clearly slower ones alone
    double total = 0;     ///< for anything that moves this way
};

/// What one depth of the line holds.
struct ScannedDepth {
    double depth = 0;                        ///< centre of the gate [m]
    double bulk = 1;                         ///< b of the line there
    std::array<FastestShare, 2> directions;  ///< [0] upwards with p, [1] downwards
};

/// The scan, set up once for time courses and bins that several gates share.
class ShareScan {
public:
    /// `moments` of the frames [s], which need not be even. Throws InvalidInput if they differ in
    /// number from the time courses, or for options outside their domain.
    ShareScan(const LayerTimes& times, const Eigen::ArrayXd& moments,
              const Eigen::ArrayXd& frequencies, const Sensor& sensor,
              const ShareScanOptions& options = {});

    /// [0] upwards with p, [1] downwards. `bulk` is the line's b there. The gate must have the
    /// frequencies and frames given at set-up.
    [[nodiscard]] std::array<FastestShare, 2> operator()(const GateSpectrum& gate,
                                                         double bulk) const;

private:
    // E^H of values for the shares -reach to reach steps.
    [[nodiscard]] TurnedSums projections(const Eigen::ArrayXXcd& values) const;
    [[nodiscard]] Eigen::ArrayXd curve(const TurnedSums& sums, double power, int direction) const;
    // Row of the share whose layer holds most energy; -1 if there is none.
    [[nodiscard]] static Eigen::Index strongest_share(const TurnedSums& sums);
    // What a layer turns by slowly, from its products with the frames.
    [[nodiscard]] Eigen::ArrayXd slow_phase(const Eigen::ArrayXcd& product) const;
    [[nodiscard]] Eigen::ArrayXXcd without_drift(const Eigen::ArrayXXcd& values) const;
    [[nodiscard]] double total_of(const Eigen::ArrayXd& evidence, Eigen::Index still_steps) const;
    [[nodiscard]] FastestShare fastest(const Eigen::ArrayXd& evidence, double total,
                                       double mirror) const;

    ShareScanOptions options_;
    LayerTimes times_;
    GateSpectrum bins_;           // no values
    Eigen::ArrayXd places_;       // of the frames, in slots in which the drift is averaged
    Eigen::ArrayXd pulse_power_;  // |P|^2 per bin
    double step_ = 0;
    Eigen::Index against_ = 0;  // grid points below share 0
    Eigen::Index reach_ = 0;    // and above
    Eigen::ArrayXd shares_;
    Eigen::ArrayXXcd turn_;     // by one step, [frames x bins]
    Eigen::ArrayXXcd weights_;  // [frames x bins]
    TurnedSums gram_;           // E^H E, by the difference in steps, downwards
};

}  // namespace echosieve
