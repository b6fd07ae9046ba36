// Sums over frames that a fit of layers rests on: all that it needs to know of the gate.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <vector>

#include "motion/layers/layers.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve {

// Symbols (the rest as in layers.hpp)
//   x_m  1, p, q, p p, p q, q q for m = 0 .. 5, each times the frame's weight
//   P^m_kl(f) = sum_i x_m(i) conj(E_k) E_l,   H^m_k(f) = sum_i x_m(i) conj(E_k) Y,  m < 3

/// How many x_m there are.
inline constexpr Eigen::Index layer_moments = 6;

/// Sums for a set of shares.
class LayerSums {
public:
    /// P^m of a bin, [layers x layers].
    [[nodiscard]] auto pairs(Eigen::Index bin, Eigen::Index m) const {
        using Square = Eigen::Matrix<std::complex<double>, Eigen::Dynamic, Eigen::Dynamic, 0,
                                     most_layers, most_layers>;
        Square out(layers_, layers_);
        Eigen::Index at =
            bin * layers_ * (layers_ - 1) / 2 * layer_moments + m;  // one layer has no pairs
        for (Eigen::Index k = 0; k < layers_; ++k) {
            out(k, k) = weights_[m];
            for (Eigen::Index l = k + 1; l < layers_; ++l, at += layer_moments) {
                out(k, l) = pairs_.data()[at];
                out(l, k) = std::conj(pairs_.data()[at]);
            }
        }
        return out;
    }
    /// H^m of a bin, [layers].
    [[nodiscard]] auto projections(Eigen::Index bin, Eigen::Index m) const {
        using Column = Eigen::Matrix<std::complex<double>, Eigen::Dynamic, 1, 0, most_layers, 1>;
        Column out(layers_);
        for (Eigen::Index k = 0; k < layers_; ++k) {
            out[k] = projections_[(bin * layers_ + k) * 3 + m];
        }
        return out;
    }

private:
    friend class LayerSummer;
    Eigen::Index layers_ = 0;
    Eigen::Array<double, layer_moments, 1> weights_;  // sum x_m
    Eigen::ArrayXcd pairs_;
    Eigen::ArrayXcd projections_;
};

/// Makes the sums of one gate for any shares; allocates at set-up only.
class LayerSummer {
public:
    LayerSummer(const GateSpectrum& gate, const LayerTimes& times, Eigen::Index layers);

    /// `shares` are as many as at set-up. Keeps no sum from one call to the next.
    void sum(const std::vector<LayerShare>& shares, LayerSums& out);

private:
    const GateSpectrum& gate_;
    Eigen::Index layers_;
    Eigen::Index stride_;
    Eigen::ArrayXXd motion_;   // p and q times 2 / c, [stride x 2]
    Eigen::ArrayXXd weights_;  // [stride x layer_moments]
    Eigen::Array<double, layer_moments, 1> totals_;
    Eigen::ArrayXXd delays_;  // [stride x layers]
    Eigen::ArrayXd work_;
};

}  // namespace echosieve
