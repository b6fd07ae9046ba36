#include "echosieve/motion/wall_model.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "echosieve/atoms/bandwidth.hpp"
#include "echosieve/motion/block_means.hpp"
#include "echosieve/motion/layers.hpp"
#include "echosieve/motion/turned_sums.hpp"

namespace echosieve {

namespace {

using Complex = std::complex<double>;

constexpr double lowest_tissue = -0.15;  // of the wall's share
constexpr double thickest = 0.3;         // of the radius: the sheet strains no further in

// a(d)
Eigen::ArrayXd strained(const WallState& wall, const Eigen::ArrayXd& d) {
    const Eigen::ArrayXd within = d.min(thickest * wall.radius);
    return wall.share + wall.prior.strain * wall.widening() * within / (wall.radius - within);
}

}  // namespace

WallModel::WallModel(const GateSpectrum& gate, const LayerTimes& times, const WallState& wall,
                     double largest_share, const RecordingSettings& settings,
                     const WallModelOptions& options)
    : gate_(gate),
      settings_(settings),
      options_(options),
      sense_(wall.sense),
      bulk_offset_(wall.bulk - wall.tissue),
      bulk_tissue_(wall.tissue) {
    validate(options);
    require(largest_share > 0, "largest_share", largest_share, "must be positive [m]");
    require(wall.own.size() == 0 || wall.own.size() == times.pulse.size(), "length of own",
            wall.own.size(), detail::concatenate("must be 0 or the frames, ", times.pulse.size()));
    const auto block =
        std::max<Eigen::Index>(1, std::lround(options.interval * settings.frame_rate));
    coarse_ = block_means(times, block);
    gate_.values = block_means(gate, times, wall.tissue, block);
    weight_ = coarse_.weight.sum();
    const Eigen::ArrayXXcd weighted = gate_.values.colwise() * coarse_.weight.cast<Complex>();
    power_ = (gate_.values.conjugate() * weighted).real().sum() / weight_ /
             static_cast<double>(gate.bins());
    constexpr double least_power = 0.01;
    const Sensor& sensor = settings.sensor;
    pulse_power_ =
        (-std::log(4.0) *
         ((gate.frequencies - sensor.centre_frequency) / (sensor.bandwidth / 2)).square())
            .exp()
            .max(least_power);
    const double reach = std::max((coarse_.pulse - coarse_.pulse.mean()).abs().maxCoeff(), 1e-3);
    step_ = largest_turn /
            (2 * std::numbers::pi * gate.frequencies.maxCoeff() * 2 / times.sound_speed * reach);
    constexpr Eigen::Index margin = 4;  // rows beyond, for the interpolation
    below_ = static_cast<Eigen::Index>(std::ceil(-lowest_tissue * largest_share / step_)) + margin;
    const auto above = static_cast<Eigen::Index>(std::ceil(largest_share / step_)) + margin;
    const Eigen::Index count = below_ + 1 + above;
    const double lowest = -static_cast<double>(below_) * step_;
    const auto phasors = [&](double share, double bulk) {
        return layer_phasors(gate_, coarse_, {sense_ * share, bulk});
    };
    const Eigen::ArrayXXcd turn = phasors(step_, 0);
    const Eigen::ArrayXXcd back = turn.conjugate();
    tissue_projection_ = turned_sums(weighted * phasors(lowest, 0).conjugate(), back, count);
    // What the wall does by itself turns its echoes and leaves the tissue's.
    Eigen::ArrayXXcd by_itself = Eigen::ArrayXXcd::Ones(weighted.rows(), weighted.cols());
    if (wall.own.size() > 0) {
        const LayerTimes own{block_means(wall.own, times.weight, block), coarse_.bulk,
                             coarse_.weight, times.sound_speed};
        by_itself = layer_phasors(gate_, own, {1, 0});
    }
    own_ = by_itself;
    wall_projection_ = turned_sums(
        weighted * (phasors(lowest, bulk_offset_) * by_itself).conjugate(), back, count);
    // What stands still, seen from the turned-back frames.
    const Eigen::ArrayXXcd still = layer_phasors(gate_, coarse_, {0, wall.tissue});
    still_projection_ = (weighted * still).colwise().sum().transpose();
    gram_zero_ = count;
    const Eigen::ArrayXXcd w = coarse_.weight.cast<Complex>().replicate(1, gate.bins());
    const double least = -static_cast<double>(gram_zero_) * step_;
    still_tissue_ = turned_sums(w * phasors(lowest, 0) * still, turn, count);
    still_wall_ = turned_sums(w * phasors(lowest, bulk_offset_) * by_itself * still, turn, count);
    // Mirrored: the sums for less are the conjugates of those for more.
    const Eigen::ArrayXXcd more = turned_sums(w, turn, count + 1);
    gram_.resize(2 * count + 1, gate.bins());
    gram_.bottomRows(count + 1) = more;
    gram_.topRows(count) = more.bottomRows(count).colwise().reverse().conjugate();
    cross_ = turned_sums(w * phasors(least, bulk_offset_) * by_itself, turn, 2 * count + 1);
}

Eigen::ArrayXd WallModel::distances() const {
    const double resolution = settings_.sound_speed / 2 / settings_.sensor.bandwidth;
    const double spacing = 0.17 * resolution;
    const double lead = options_.lead * (1e6 / settings_.sensor.bandwidth);
    const auto outside = static_cast<Eigen::Index>(std::ceil(lead / spacing));
    const auto inside = static_cast<Eigen::Index>(std::ceil(options_.thickness / spacing));
    return spacing * Eigen::ArrayXd::LinSpaced(outside + inside + 1, -static_cast<double>(outside),
                                               static_cast<double>(inside));
}

struct WallModel::Solved {
    double evidence = 0;
    Eigen::ArrayXd shares;         // of the sheet
    Eigen::ArrayXd tissue_shares;  // sizes, along the sense
    Eigen::ArrayXXcd pulses;       // D, [sheet x bins]
    Eigen::VectorXcd sheet;        // x
    Eigen::ArrayXXcd tissue;       // t, [tissue x bins]
    Eigen::ArrayXcd still;         // what stands still, [bins]
};

WallModel::Solved WallModel::solve(const WallState& wall, double noise, bool coefficients) const {
    require(wall.share > 0, "share", wall.share, "must be positive [m]");
    require(wall.radius > 0, "radius", wall.radius, "must be positive [m]");
    require(noise > 0, "noise", noise, "must be positive");
    const Eigen::Index bins = gate_.bins();
    const Eigen::ArrayXd d = distances();
    const Eigen::Index sheet = d.size();
    Solved out;
    out.shares = strained(wall, d);
    // Tissue layers a third of a half wavelength apart over the range of p, or closer.
    const double half_wave = settings_.sound_speed / 2 / settings_.sensor.centre_frequency;
    const double span = (wall.prior.tissue_reach - lowest_tissue) * wall.share;
    const auto layers = std::clamp<Eigen::Index>(
        static_cast<Eigen::Index>(std::ceil(3.5 * span / half_wave)), 6, 24);
    out.tissue_shares = Eigen::ArrayXd::LinSpaced(layers, lowest_tissue * wall.share,
                                                  wall.prior.tissue_reach * wall.share);
    // The sheet's pulses in the gate's window.
    const auto samples = static_cast<Eigen::Index>(gate_.grid.count);
    Eigen::ArrayXXcd waves(sheet, samples);
    const double decay = decay_from_bandwidth(settings_.sensor.bandwidth);
    const double detuning =
        2 * std::numbers::pi * (settings_.sensor.centre_frequency - gate_.grid.mixing_frequency);
    for (Eigen::Index k = 0; k < sheet; ++k) {
        const double arrival = settings_.arrival(wall.depth - wall.sense * d[k]);
        for (Eigen::Index n = 0; n < samples; ++n) {
            const double t = gate_.grid.time(static_cast<double>(n)) - arrival;
            const double x = (static_cast<double>(n) + 0.5) / static_cast<double>(samples);
            const double edge = std::min(x, 1 - x) / 0.3;
            const double window = edge >= 1 ? 1 : 0.5 * (1 - std::cos(std::numbers::pi * edge));
            waves(k, n) = std::polar(window * std::exp(-decay * t * t), detuning * t);
        }
    }
    out.pulses = gate_spectra(gate_, waves);
    const double tissue_step = layers > 1 ? out.tissue_shares[1] - out.tissue_shares[0] : 0;
    // Tables between their grid points.
    std::vector<RowBetween> still_tissue_rows, still_wall_rows, tissue_rows, wall_rows, gram_rows,
        cross_rows, sheet_rows;
    const auto zero = static_cast<double>(gram_zero_);
    for (Eigen::Index k = 0; k < layers; ++k) {
        tissue_rows.emplace_back(tissue_projection_,
                                 out.tissue_shares[k] / step_ + static_cast<double>(below_));
        still_tissue_rows.emplace_back(still_tissue_,
                                       out.tissue_shares[k] / step_ + static_cast<double>(below_));
        gram_rows.emplace_back(gram_, zero + static_cast<double>(k) * tissue_step / step_);
        for (Eigen::Index l = 0; l < sheet; ++l) {
            cross_rows.emplace_back(cross_, zero + (out.shares[l] - out.tissue_shares[k]) / step_);
        }
    }
    for (Eigen::Index k = 0; k < sheet; ++k) {
        wall_rows.emplace_back(wall_projection_,
                               out.shares[k] / step_ + static_cast<double>(below_));
        still_wall_rows.emplace_back(still_wall_,
                                     out.shares[k] / step_ + static_cast<double>(below_));
        for (Eigen::Index l = k; l < sheet; ++l) {
            sheet_rows.emplace_back(gram_, zero + (out.shares[l] - out.shares[k]) / step_);
        }
    }
    const double tissue_variance =
        wall.prior.tissue_power * power_ * 10 / static_cast<double>(layers);
    // Less and less tissue moves nearly as fast as the wall.
    const Eigen::ArrayXd taper =
        (1.2 - out.tissue_shares / (wall.prior.tissue_reach * wall.share)).max(0.05).min(0.7) / 0.7;
    const Eigen::ArrayXd sheet_variance =
        wall.prior.wall_power * power_ * (-d.abs() / options_.decay).exp();
    Eigen::MatrixXcd a = Eigen::MatrixXcd::Zero(sheet, sheet);
    Eigen::VectorXcd b = Eigen::VectorXcd::Zero(sheet);
    double log_determinant = 0;
    double quadratic = 0;
    Eigen::MatrixXcd m(layers, layers);
    Eigen::MatrixXcd cross(layers, sheet);
    Eigen::VectorXcd h(layers);
    Eigen::RowVectorXcd still_t(layers);
    Eigen::RowVectorXcd still_w(sheet);
    std::vector<Eigen::LLT<Eigen::MatrixXcd>> factors;
    std::vector<Eigen::MatrixXcd> reduced;
    std::vector<Eigen::VectorXcd> projected;
    std::vector<Eigen::RowVectorXcd> still_tissue, still_wall;
    std::vector<Complex> still_mean;
    for (Eigen::Index j = 0; j < bins; ++j) {
        for (Eigen::Index k = 0; k < layers; ++k) {
            const Complex g = gram_rows[static_cast<std::size_t>(k)](j) / noise;
            for (Eigen::Index l = 0; l + k < layers; ++l) {
                m(l, l + k) = g;
                m(l + k, l) = std::conj(g);
            }
            h[k] = tissue_rows[static_cast<std::size_t>(k)](j) / noise;
            for (Eigen::Index l = 0; l < sheet; ++l) {
                cross(k, l) = cross_rows[static_cast<std::size_t>(k * sheet + l)](j) *
                              out.pulses(l, j) / noise;
            }
        }
        // What stands still, marginalised: one unknown a bin, so a rank-one change of all sums.
        const double still_variance = options_.still_power * power_ * pulse_power_[j];
        const double still_gram = weight_ / noise + 1 / still_variance;
        const Complex still_h = still_projection_[j] / noise;
        for (Eigen::Index k = 0; k < layers; ++k) {
            still_t[k] = still_tissue_rows[static_cast<std::size_t>(k)](j) / noise;
        }
        for (Eigen::Index k = 0; k < sheet; ++k) {
            still_w[k] = still_wall_rows[static_cast<std::size_t>(k)](j) * out.pulses(k, j) / noise;
        }
        m -= still_t.adjoint() * still_t / still_gram;
        h -= still_t.adjoint() * still_h / still_gram;
        cross -= still_t.adjoint() * still_w / still_gram;
        a.triangularView<Eigen::Upper>() -= still_w.adjoint() * still_w / still_gram;
        b -= still_w.adjoint() * still_h / still_gram;
        log_determinant += std::log(still_gram * still_variance);
        quadratic += std::norm(still_h) / still_gram;
        const Eigen::ArrayXd variance = tissue_variance * pulse_power_[j] * taper;
        m.diagonal().array() += (1 / variance).cast<Complex>();
        const Eigen::LLT<Eigen::MatrixXcd> factor(m);
        const Eigen::MatrixXcd x = factor.matrixL().solve(cross);
        const Eigen::VectorXcd y = factor.matrixL().solve(h);
        std::size_t at = 0;
        for (Eigen::Index k = 0; k < sheet; ++k) {
            const Complex c = std::conj(out.pulses(k, j)) / noise;
            b[k] += wall_rows[static_cast<std::size_t>(k)](j) * c;
            for (Eigen::Index l = k; l < sheet; ++l) {
                a(k, l) += sheet_rows[at++](j) * c * out.pulses(l, j);
            }
        }
        a.triangularView<Eigen::Upper>() -= x.adjoint() * x;
        b.noalias() -= x.adjoint() * y;
        log_determinant +=
            2 * factor.matrixLLT().diagonal().array().real().log().sum() + variance.log().sum();
        quadratic += y.squaredNorm();
        if (coefficients) {
            factors.push_back(factor);
            reduced.push_back(x);
            projected.push_back(y);
            still_tissue.push_back(still_t / still_gram);
            still_wall.push_back(still_w / still_gram);
            still_mean.push_back(still_h / still_gram);
        }
    }
    a.diagonal().array() += 1 / sheet_variance;
    const Eigen::LLT<Eigen::MatrixXcd, Eigen::Upper> factor(a);
    const Eigen::VectorXcd y = factor.matrixL().solve(b);
    log_determinant +=
        2 * factor.matrixLLT().diagonal().array().real().log().sum() + sheet_variance.log().sum();
    quadratic += y.squaredNorm();
    out.evidence = quadratic - log_determinant -
                   weight_ * static_cast<double>(bins) * (std::log(noise) + power_ / noise);
    if (coefficients) {
        out.sheet = factor.matrixU().solve(y);
        out.tissue.resize(layers, bins);
        out.still.resize(bins);
        for (Eigen::Index j = 0; j < bins; ++j) {
            const auto at = static_cast<std::size_t>(j);
            const Eigen::VectorXcd t =
                factors[at].matrixU().solve(projected[at] - reduced[at] * out.sheet);
            out.tissue.col(j) = t.array();
            out.still[j] =
                still_mean[at] - (still_tissue[at] * t)(0) - (still_wall[at] * out.sheet)(0);
        }
    }
    return out;
}

double WallModel::evidence(const WallState& wall, double noise) const {
    return solve(wall, noise, false).evidence;
}

WallModel::Layers WallModel::layers(const WallState& wall, double noise) const {
    const Solved solved = solve(wall, noise, true);
    const Eigen::Index sheet = solved.shares.size();
    const Eigen::Index tissue = solved.tissue_shares.size();
    Layers out;
    out.wall_layers = static_cast<std::size_t>(sheet);
    Eigen::Index reference = 0;
    distances().abs().minCoeff(&reference);
    out.reference = static_cast<std::size_t>(reference);
    out.spectra.resize(sheet + 1 + tissue, gate_.bins());
    Eigen::ArrayXXcd rest = gate_.values;
    const auto add = [&](const LayerShare& share, const Eigen::ArrayXcd& spectrum, bool of_wall) {
        const auto k = static_cast<Eigen::Index>(out.shares.size());
        out.shares.push_back(share);
        out.spectra.row(k) = spectrum.transpose();
        Eigen::ArrayXXcd phasors =
            layer_phasors(gate_, coarse_, {share.pulse, share.bulk - bulk_tissue_});
        if (of_wall) {
            phasors *= own_;
        }
        rest -= phasors.rowwise() * out.spectra.row(k);
    };
    for (Eigen::Index k = 0; k < sheet; ++k) {
        add({sense_ * solved.shares[k], bulk_tissue_ + bulk_offset_},
            solved.sheet[k] * solved.pulses.row(k).transpose(), true);
    }
    add({0, 0}, solved.still, false);
    for (Eigen::Index k = 0; k < tissue; ++k) {
        add({sense_ * solved.tissue_shares[k], bulk_tissue_}, solved.tissue.row(k).transpose(),
            false);
    }
    out.noise = (rest.abs2().colwise() * coarse_.weight).sum() / weight_ /
                static_cast<double>(gate_.bins());
    return out;
}

}  // namespace echosieve
