// Fisher information on the displacements of overlapping layers, spectra eliminated.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <vector>

namespace echosieve {

// Symbols (the rest as in echosieve/motion/layer_limits.hpp)
//   w_k       weight of frame k;  u_l(k) = sqrt(w_k) x_l(k), in which all frames are as noisy
//   z_l(k)    kappa S_l exp(-i kappa x_l(k)), per bin
//   Q         orthonormal basis of what the unknown spectra can change, per bin
//
// Information on u, in the order u_1(1), ..., u_1(K), u_2(1), ...:
//   J = (2 / v) sum_f Re{ (D^H D) - (Q^H D)^H (Q^H D) },  D = [diag(z_1), diag(z_2), ...]
// The first part, `own`, ties layers of one frame alone; the second has as many ranks, 2 per column
// of Q and bin, as spectra have real unknowns: J = own - spent^T spent.

/// Layers as the information needs them.
struct LayeredBins {
    Eigen::ArrayXd wave_numbers;   ///< kappa, per bin [rad/m]
    Eigen::ArrayXXcd spectra;      ///< S, [layers x bins]
    Eigen::ArrayXXd displacement;  ///< x, [frames x layers] [m]
    Eigen::ArrayXd weight;         ///< w, per frame, positive
    double noise = 1;              ///< v

    [[nodiscard]] Eigen::Index frames() const noexcept { return displacement.rows(); }
    [[nodiscard]] Eigen::Index layers() const noexcept { return displacement.cols(); }
    [[nodiscard]] Eigen::Index bins() const noexcept { return wave_numbers.size(); }
    /// [frames x layers]: exp(-i kappa x), of one bin.
    [[nodiscard]] Eigen::MatrixXcd phasors(Eigen::Index bin) const;
};

/// x, its weighted mean over the frames taken off.
[[nodiscard]] inline Eigen::ArrayXd centred(const Eigen::ArrayXd& x, const Eigen::ArrayXd& weight) {
    return x - (weight * x).sum() / weight.sum();
}

/// Weighted standard deviation of x over the frames.
[[nodiscard]] inline double deviation_over_frames(const Eigen::ArrayXd& x,
                                                  const Eigen::ArrayXd& weight) {
    return std::sqrt((weight * centred(x, weight).square()).sum() / weight.sum());
}

/// A course in which all frames are as noisy, centred.
[[nodiscard]] inline Eigen::VectorXd evened(const LayeredBins& bins, const Eigen::ArrayXd& course) {
    return (bins.weight.sqrt() * centred(course, bins.weight)).matrix();
}

/// `own`, (2 / v) sum_f Re{conj(z_l) z_m}, [frames x layers layers], l first.
[[nodiscard]] Eigen::ArrayXXd own_information(const LayeredBins& bins);

/// `spent` of one bin, spectra free: 2 rows a layer that can be told, [rows x layers frames].
[[nodiscard]] Eigen::MatrixXd spent_information(const LayeredBins& bins, Eigen::Index bin);

/// J, known spectra. [layers frames x layers frames], as the two below.
[[nodiscard]] Eigen::MatrixXd known_information(const LayeredBins& bins);
/// J, free spectra.
[[nodiscard]] Eigen::MatrixXd free_information(const LayeredBins& bins);
/// J, one waveform up to complex factors; the spectra must be multiples of each other.
[[nodiscard]] Eigen::MatrixXd shared_information(const LayeredBins& bins);

/// J of complex Gaussian layers of power |S|^2 whose echoes have these correlations between frames
/// [layers][frames x frames]: with R = sum_l |S_l|^2 rho_l,kj exp(-i kappa (x_l(k) - x_l(j))) +
/// diag(v / w), sum_f tr(R^-1 dR R^-1 dR) (Kay 1993, eq. 3.31 for real data; complex, from memory).
/// Throws InvalidInput unless each R is positive definite.
[[nodiscard]] Eigen::MatrixXd random_information(const LayeredBins& bins,
                                                 const std::vector<Eigen::ArrayXXd>& correlations);

}  // namespace echosieve
