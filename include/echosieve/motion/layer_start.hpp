// Where a two-layer fit starts: an exhaustive search over the pulse shares of a wall and of the
// tissue on it.
#pragma once

#include <Eigen/Core>
#include <array>
#include <complex>
#include <cstddef>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/gate_spectrum.hpp"
#include "echosieve/motion/layers.hpp"

namespace echosieve {

// A wall's share is believed for the evidence that the gate holds something that fast: what slower
// layers, one or two, can't explain. Whether the tissue on the wall moves nearly as fast, or there
// is none, does not matter then.
//
// Symbols: as in layers.hpp, w the wall's layer, t the tissue's;  h_w = E_w^H Y, g = E_t^H E_w, d =
// N (1 + ridge). What two layers explain at one frequency is h^H G^-1 h with G = [[d, conj g], [g,
// d]]; g depends only on the differences of the shares and not on the gate, so each pair of shares
// costs a few operations a frequency.

struct LayerStartOptions {
    double largest_share = 750e-6;     ///< of the wall, over the range of p [m]
    double steps_per_wavelength = 14;  ///< of the share grid, in half wavelengths of range
    double tissue_reach = 0.4;         ///< of the wall's largest share: how far the tissue's may go
    std::vector<double> bulk_offsets = {-0.1, 0.0, 0.1, 0.2};  ///< of the wall's b from the line's
    Eigen::Index block = 4;  ///< frames averaged into one, their bulk motion turned back
    double ridge = 0.02;
    double slower_share = 0.6;  ///< of the wall's: layers up to it are "slower" ones
    std::size_t starts = 3;     ///< how many are returned at most
};

inline void validate(const LayerStartOptions& options) {
    require(options.largest_share > 0, "largest_share", options.largest_share,
            "must be positive [m]");
    require(options.steps_per_wavelength > 0, "steps_per_wavelength", options.steps_per_wavelength,
            "must be positive");
    require(options.tissue_reach >= 0 && options.tissue_reach <= 1, "tissue_reach",
            options.tissue_reach, "must lie in [0, 1]");
    require(!options.bulk_offsets.empty(), "number of bulk_offsets", options.bulk_offsets.size(),
            "must be at least 1");
    require(options.block >= 1, "block", options.block, "must be at least 1");
    require(options.ridge > 0, "ridge", options.ridge, "must be positive");
    require(options.slower_share >= 0 && options.slower_share < 1, "slower_share",
            options.slower_share, "must lie in [0, 1)");
}

struct LayerStart {
    LayerShare wall;
    LayerShare tissue;
    double cost = 0;
    double evidence = 0;       ///< cost that one or two slower layers leave more than this
    double evidence_part = 0;  ///< the same, as a part of the cost that they leave
};

struct LayerSearch {
    std::vector<LayerStart> starts;  ///< maxima of evidence * evidence_part over the wall's share
};

/// The search, set up once for time courses and bins that several gates share.
class LayerStartSearch {
public:
    /// Throws InvalidInput for options outside their domain.
    LayerStartSearch(const LayerTimes& times, const Eigen::ArrayXd& frequencies,
                     const LayerStartOptions& options = {});

    /// `direction` = -1 for a wall that moves up with p, +1 for one that moves down; `bulk` is the
    /// line's b there. The gate must have the frequencies given at set-up.
    [[nodiscard]] LayerSearch operator()(const GateSpectrum& gate, double direction,
                                         double bulk) const;

private:
    using Complex = std::complex<double>;
    static constexpr int lowest = -2;           // tissue may move a little against the wall
    static constexpr int least_difference = 2;  // steps between wall and tissue

    [[nodiscard]] Eigen::ArrayXXcd phasors(double pulse, double bulk) const;

    LayerStartOptions options_;
    Eigen::ArrayXd weight_;
    Eigen::ArrayXd bulk_;
    Eigen::ArrayXd frequencies_;
    LayerTimes coarse_;
    double half_wavelength_ = 0;
    double step_ = 0;
    int walls_ = 0;
    int highest_ = 0;
    Eigen::ArrayXXcd step_phasor_;
    std::array<std::vector<Eigen::ArrayXXcd>, 2> cross_;  // per direction and bulk offset, g
};

}  // namespace echosieve
