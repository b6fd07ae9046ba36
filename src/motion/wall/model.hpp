// How a wall's gate answers, as a random field: the wall a strained sheet of echoes, the tissue on
// it a continuum of slower layers. What the wall's share is then follows from its likelihood.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <cstddef>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/layers/group_means.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/gate_spectrum.hpp"
#include "motion/wall/gate_tables.hpp"
#include "motion/wall/shared_beliefs.hpp"

namespace echosieve {

// Symbols (the rest as in layers.hpp)
//   z_r     depth of the wall's reference layer;  d its distance from there towards the lumen [m]
//   a(d) = a_w + kappa a_r d / (R - d)     share of the wall's echoes, R its outer radius, a_r what
//           both walls widen by, each; d cut off at 0.3 R: an incompressible tube moves outwards as
//           1 / r (Timoshenko, plane strain, from memory), kappa = 1
//   Y(f) = sum_d x_d D_d(f) E_d(f) + sum_k t_k(f) E_k(f) + u(f) + noise
//   D_d     spectrum of a pulse at distance d, windowed as the gate is; x_d ~ CN(0, V e^(-|d| / l))
//   t_k     tissue with share a_k, even steps from -0.15 to c times a_w; ~ CN(0, v |P(f)|^2), less
//           and less above half of a_w (taper); v a layer, so that ten layers together keep theirs
//   u       what stands still (ring-down, reverberation in the sensor); ~ CN(0, V_u |P(f)|^2)
// What the wall does by itself (WallState::own) turns the sheet and not the tissue.
//
// u and the tissue are marginalised per frequency, the wall over all of them:
//   ln p(Y | a_w) = -ln det - quadratic form  (Rasmussen and Williams 2006, eq. 2.30), by the
//   matrix inversion lemma in the number of layers. Sums over frames enter only as E^H Y and E^H E,
//   which are tabulated over the share once a gate and interpolated (turned_sums.hpp).

/// What is believed of wall and tissue before the gate is seen.
struct WallPrior {
    double strain = 0.8;         ///< kappa
    double tissue_reach = 0.65;  ///< c: the tissue's largest share, as a part of the wall's
    double tissue_power = 0.03;  ///< v, per layer of ten, over the gate's power
    double wall_power = 1;       ///< V, over the gate's power
};

/// Where a wall is and how it moves, as far as is known.
struct WallState {
    double sense = 1;            ///< -1 near wall, +1 far wall
    double depth = 0;            ///< z_r [m]
    double share = 0;            ///< |a_w| over the range of p [m]
    double bulk = 1;             ///< b of the wall
    double tissue = 1;           ///< b of the tissue on it
    double radius = 3e-3;        ///< R [m]
    double radial_share = 0;     ///< a_r, what both walls widen by, each; 0: the share itself [m]
    double share_deviation = 0;  ///< standard deviation of the share, from its likelihood [m]
    WallPrior prior;
    Eigen::ArrayXd own;  ///< what the wall does beyond p and q, per frame [m]; empty: nothing

    [[nodiscard]] double widening() const noexcept {
        return radial_share > 0 ? radial_share : share;
    }
};

/// How far frames may differ that are averaged while a wall is taken apart: an average is turned by
/// half of the wall's share, so neither wall nor tissue is further from it.
[[nodiscard]] QuietGroupLimits group_limits(const WallState& wall,
                                            const RecordingSettings& settings,
                                            const WallModelOptions& options);

/// The largest share [m] that a layer of the wall can have while the wall's is looked for, up to
/// `ratio` of what it is now, and a little more: what a WallModel must be tabulated for.
[[nodiscard]] inline double largest_layer(const WallState& state, double ratio) noexcept {
    constexpr double share_room = 1.3;     // a fit's grids reach beyond the ratio by less
    constexpr double widening_room = 0.7;  // largest_strain at 0.3 of the radius: 0.69
    return share_room * ratio * state.share + widening_room * state.widening();
}

/// What a WallModel is tabulated for: the wall as it is now, and the largest share [m] that will
/// be asked for, see largest_layer.
struct WallSetUp {
    const WallState& wall;
    double largest_share = 0;
};

/// One gate, tabulated. Keeps what it worked out last, so one object a thread.
class WallModel {
public:
    /// The gate moves with the wall. Throws InvalidInput for options outside their domain, and
    /// unless the largest share is positive and the wall's own motion has an entry a frame.
    WallModel(const GateSpectrum& gate, const LayerTimes& times, const WallSetUp& set_up,
              const RecordingSettings& settings, const WallModelOptions& options = {});

    /// Log evidence of a wall. Its sense, bulk shares and own motion are those of the set-up;
    /// depth, share, radius and prior are the argument's. -infinity for shares that turn the echoes
    /// by so much that no table is meant to hold them. After a call that differed in depth or
    /// wall_power alone it costs a tenth.
    [[nodiscard]] double evidence(const WallState& wall, double noise);

    /// Independent values in the gate: frames, each as much as it weighs, times bins.
    [[nodiscard]] double values() const noexcept {
        return weight_ * static_cast<double>(averaged_.gate.bins());
    }
    /// Mean squared value per group and bin.
    [[nodiscard]] double power() const noexcept { return power_; }

    /// The posterior mean as layers, shares that no table holds lowered to those that one does; the
    /// `wall_layers` first of them the wall's, then what stands still, then the tissue; the noise
    /// is that of the averaged frames.
    struct Layers {
        std::vector<LayerShare> shares;
        Eigen::ArrayXXcd spectra;  ///< [layers x bins]
        std::size_t wall_layers = 0;
        std::size_t reference = 0;  ///< which of them lies at z_r
        double noise = 0;           ///< mean squared rest per group and bin
    };
    [[nodiscard]] Layers layers(const WallState& wall, double noise);

private:
    // Elements [2 stride x n]: of each the real parts of all bins, then the imaginary ones.
    using Elements = Eigen::ArrayXXd;

    // What all but the wall's depth and power depends on.
    struct Asked {
        double share = 0, radius = 0, widening = 0, strain = 0, reach = 0, tissue_power = 0;
        double noise = 0;  // 0: nothing yet
        bool operator==(const Asked&) const = default;
    };
    // The sheet's sums with tissue and what stands still marginalised.
    struct Reduced {
        Asked asked;
        Eigen::ArrayXd shares;         // of the sheet
        Eigen::ArrayXd tissue_shares;  // sizes, along the sense
        Eigen::ArrayXXd precision;     // of the tissue, [stride x layers]
        Elements gathered;             // sums between the tables' rows
        Elements factor, reduced, projected, sheet_left, wall_left;
        Eigen::ArrayXd still_gram, quadratic;  // [stride]
        double log_determinant = 0;
        double explained = 0;  // by tissue and what stands still
    };
    // The sheet's pulses at a depth.
    struct Pulses {
        double depth = 0;
        Eigen::ArrayXXcd spectra;  // D, [sheet x bins]
        Elements elements;
    };
    // The sheet, solved for.
    struct Solved {
        Eigen::ArrayXcd gram;        // upper, row by row
        Eigen::ArrayXcd projection;  // [sheet]
        Eigen::ArrayXd variance, precision;
        Eigen::ArrayXXd factor;  // [whole registers x 2 sheet]: U, and y at `sheet`
        double quadratic = 0;
        double evidence = 0;

        [[nodiscard]] std::complex<double> y(Eigen::Index k) const {
            return {factor(variance.size(), 2 * k), factor(variance.size(), 2 * k + 1)};
        }
    };

    void lay_sheet();
    // Tissue and what stands still taken out of the sheet's sums, unless that was done last: the
    // sums gathered from the tables, what is believed of the tissue, the kernel, its result.
    void reduce(const WallState& wall, double noise);
    void place_shares(const WallState& wall);
    void gather();
    void believe();
    void take_out_tissue();
    void sum_up();
    [[nodiscard]] const Pulses& pulses_at(double depth);
    void solve(const WallState& wall, double noise);
    [[nodiscard]] Eigen::ArrayXd still_variance() const;
    // The posterior mean: of the sheet's echoes, and of the layers of one bin, the sheet's first;
    // adds the layers' part of the prior's quadratic form.
    [[nodiscard]] Eigen::VectorXcd sheet_echoes() const;
    void layers_of_bin(Eigen::Index bin, Eigen::Ref<Eigen::ArrayXcd> spectra, double& prior) const;
    [[nodiscard]] std::complex<double> element(const Elements& all, Eigen::Index n,
                                               Eigen::Index bin) const {
        return {all(bin, n), all(tables_.gram.stride() + bin, n)};
    }

    AveragedGate averaged_;
    RecordingSettings settings_;
    WallModelOptions options_;
    double power_ = 0;
    double weight_ = 0;
    Eigen::ArrayXd pulse_power_;
    Eigen::ArrayXd distances_;  // d
    GateTables tables_;
    Reduced reduced_;
    Solved solved_;
    std::vector<Pulses> pulses_;
};

}  // namespace echosieve
