#include "motion/wall/model.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <utility>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/whole_number.hpp"
#include "motion/kernels/wall_sums_kernel.hpp"
#include "motion/layers/group_means.hpp"
#include "motion/layers/layers.hpp"
#include "motion/layers/turned_sums.hpp"
#include "motion/wall/gate_tables.hpp"
#include "motion/wall/shared_beliefs.hpp"

namespace echosieve {

namespace {

using Complex = std::complex<double>;

// Read off synthetic recordings, seeds 1 to 230 of both simulators, as all beliefs here.
constexpr double thickest = 0.3;  // of the radius: the sheet strains no further in
// A sheet of more layers than this costs more than a finer one is worth: their number is cubed.
constexpr Eigen::Index most_sheet_layers = 32;
// Tissue layers a third of a half wavelength apart over the range of p, or closer; enough for the
// taper, and no more than their cube is worth.
constexpr double tissue_layers_a_half_wave = 3.5;
constexpr Eigen::Index fewest_tissue_layers = 6;
constexpr Eigen::Index most_tissue_layers = 24;
constexpr double layers_of_power = 10;  // that WallPrior::tissue_power is said for
// Less and less tissue moves nearly as fast as the wall: its power falls in a straight line, from
// where the share is half of the tissue's largest to a little of it at the end.
constexpr double taper_start = 1.2;
constexpr double taper_whole = 0.7;
constexpr double taper_least = 0.05;
constexpr double least_bulk_difference = 0.1;    // that an average allows for, of wall and tissue
constexpr Eigen::Index factors_a_logarithm = 6;  // their product stays far from overflow

// a(d)
Eigen::ArrayXd strained(const WallState& wall, const Eigen::ArrayXd& d) {
    const Eigen::ArrayXd within = d.min(thickest * wall.radius);
    return wall.share + wall.prior.strain * wall.widening() * within / (wall.radius - within);
}

AveragedGate averaged(const GateSpectrum& gate, const LayerTimes& times, const WallState& wall,
                      const FrameGroups& groups) {
    AveragedGate out{gate,        group_means(times, groups), wall.sense,
                     wall.tissue, wall.bulk - wall.tissue,    {}};
    out.gate.values =
        group_means(gate, times, {wall.sense * 0.5 * wall.share, wall.tissue}, groups);
    if (wall.own.size() > 0) {
        out.own = group_means(wall.own, times.weight, groups);
    }
    return out;
}

}  // namespace

QuietGroupLimits group_limits(const WallState& wall, const RecordingSettings& settings,
                              const WallModelOptions& options) {
    return quiet_limits({options.interval, options.longest_interval, options.largest_turn},
                        settings, std::max(wall.share, smallest_wall_share) / 2,
                        std::max(std::abs(wall.bulk - wall.tissue), least_bulk_difference));
}

WallModel::WallModel(const GateSpectrum& gate, const LayerTimes& times, const WallSetUp& set_up,
                     const RecordingSettings& settings, const WallModelOptions& options)
    : settings_(settings), options_(options) {
    const WallState& wall = set_up.wall;
    validate(options);
    require(set_up.largest_share > 0, "largest_share", set_up.largest_share,
            "must be positive [m]");
    require(wall.own.size() == 0 || wall.own.size() == times.pulse.size(), "length of own",
            wall.own.size(), detail::concatenate("must be 0 or the frames, ", times.pulse.size()));
    averaged_ =
        averaged(gate, times, wall, quiet_groups(times, group_limits(wall, settings, options)));
    const Eigen::ArrayXXcd& values = averaged_.gate.values;
    const Eigen::ArrayXd& weight = averaged_.times.weight;
    weight_ = weight.sum();
    const Eigen::ArrayXXcd weighted = values * weight.cast<Complex>().replicate(1, gate.bins());
    power_ =
        (values.conjugate() * weighted).real().sum() / weight_ / static_cast<double>(gate.bins());
    pulse_power_ = pulse_power(gate.frequencies, settings.sensor);
    lay_sheet();
    tables_ = GateTables(averaged_, set_up.largest_share);
}

void WallModel::lay_sheet() {
    const double bandwidth = settings_.sensor.bandwidth;
    const double resolution = settings_.sound_speed / 2 / bandwidth;
    const double lead = options_.lead * (stated_bandwidth / bandwidth);
    const double spacing =
        std::max(options_.spacing * resolution,
                 (lead + options_.thickness) / static_cast<double>(most_sheet_layers));
    const auto layers_in = [&](double length) {
        return held_whole(std::ceil(length / spacing), Eigen::Index{0}, most_sheet_layers);
    };
    const Eigen::Index outside = layers_in(lead);
    const Eigen::Index inside = layers_in(options_.thickness);
    distances_ =
        spacing * Eigen::ArrayXd::LinSpaced(outside + inside + 1, -static_cast<double>(outside),
                                            static_cast<double>(inside));
}

void WallModel::reduce(const WallState& wall, double noise) {
    const Asked asked{wall.share,
                      wall.radius,
                      wall.widening(),
                      wall.prior.strain,
                      wall.prior.tissue_reach,
                      wall.prior.tissue_power,
                      noise};
    if (reduced_.asked == asked) {
        return;
    }
    require(wall.share > 0, "share", wall.share, "must be positive [m]");
    require(wall.radius > 0, "radius", wall.radius, "must be positive [m]");
    require(noise > 0, "noise", noise, "must be positive");
    reduced_.asked = asked;
    place_shares(wall);
    gather();
    believe();
    take_out_tissue();
    sum_up();
}

void WallModel::place_shares(const WallState& wall) {
    reduced_.shares = strained(wall, distances_);
    const double reach = wall.prior.tissue_reach;
    const double half_wave = settings_.sound_speed / 2 / settings_.sensor.centre_frequency;
    const double span = (reach - lowest_tissue) * wall.share;
    const auto layers = std::clamp<Eigen::Index>(
        static_cast<Eigen::Index>(std::ceil(tissue_layers_a_half_wave * span / half_wave)),
        fewest_tissue_layers, most_tissue_layers);
    reduced_.tissue_shares =
        Eigen::ArrayXd::LinSpaced(layers, lowest_tissue * wall.share, reach * wall.share);
}

// All sums over frames, over the noise, in the order of TissueTask.
void WallModel::gather() {
    Reduced& r = reduced_;
    const double noise = r.asked.noise;
    const Eigen::Index sheet = distances_.size();
    const Eigen::Index layers = r.tissue_shares.size();
    const double tissue_step = r.tissue_shares[1] - r.tissue_shares[0];
    std::vector<kernels::BetweenRows> rows;
    const Eigen::Index pairs = sheet * (sheet + 1) / 2;
    rows.reserve(static_cast<std::size_t>((2 + sheet + 1) * layers + 2 * sheet + pairs));
    const auto add = [&](const TurnedSums& table, double share, Eigen::Index zero) {
        const RowWeights at = table.between(share / tables_.step + static_cast<double>(zero));
        kernels::BetweenRows row{table.row(at.first), {}};
        for (std::size_t k = 0; k < at.weight.size(); ++k) {
            row.weight[k] = at.weight[k] / noise;
        }
        rows.push_back(row);
    };
    const auto add_all = [&](const TurnedSums& table, const Eigen::ArrayXd& shares) {
        for (const double share : shares) {
            add(table, share, tables_.below);
        }
    };
    for (Eigen::Index k = 0; k < layers; ++k) {
        add(tables_.gram, static_cast<double>(k) * tissue_step, tables_.gram_below);
    }
    add_all(tables_.tissue_projection, r.tissue_shares);
    for (Eigen::Index k = 0; k < layers; ++k) {
        for (Eigen::Index l = 0; l < sheet; ++l) {
            add(tables_.cross, r.shares[l] - r.tissue_shares[k], tables_.cross_below);
        }
    }
    add_all(tables_.still_tissue, r.tissue_shares);
    add_all(tables_.still_wall, r.shares);
    for (Eigen::Index k = 0; k < sheet; ++k) {
        for (Eigen::Index l = k; l < sheet; ++l) {
            add(tables_.gram, r.shares[l] - r.shares[k], tables_.gram_below);
        }
    }
    add_all(tables_.wall_projection, r.shares);
    const auto gathered = static_cast<Eigen::Index>(rows.size());
    const Eigen::Index bins = averaged_.gate.bins();
    const Eigen::Index stride = tables_.gram.stride();
    r.gathered.resize(2 * stride, gathered + 1);
    kernels::between_rows_of(default_instruction_set())(
        {rows.data(), rows.size(), static_cast<std::size_t>(stride), r.gathered.data()});
    auto still = r.gathered.col(gathered);
    still.setZero();
    still.head(bins) = tables_.still_projection.real() / noise;
    still.segment(stride, bins) = tables_.still_projection.imag() / noise;
}

// What is believed of the tissue and of what stands still.
void WallModel::believe() {
    Reduced& r = reduced_;
    const Eigen::Index bins = averaged_.gate.bins();
    const Eigen::Index stride = tables_.gram.stride();
    const Eigen::Index layers = r.tissue_shares.size();
    r.still_gram = Eigen::ArrayXd::Ones(stride);
    r.still_gram.head(bins) = weight_ / r.asked.noise + 1 / still_variance();
    const Eigen::ArrayXd taper = (taper_start - r.tissue_shares / (r.asked.reach * r.asked.share))
                                     .max(taper_least)
                                     .min(taper_whole) /
                                 taper_whole;
    const double tissue_variance =
        r.asked.tissue_power * power_ * layers_of_power / static_cast<double>(layers);
    r.precision = Eigen::ArrayXXd::Ones(stride, layers);
    for (Eigen::Index k = 0; k < layers; ++k) {
        r.precision.col(k).head(bins) = 1 / (tissue_variance * taper[k] * pulse_power_);
    }
}

void WallModel::take_out_tissue() {
    Reduced& r = reduced_;
    const Eigen::Index stride = tables_.gram.stride();
    const Eigen::Index sheet = distances_.size();
    const Eigen::Index layers = r.tissue_shares.size();
    const Eigen::Index pairs = sheet * (sheet + 1) / 2;
    r.factor.resize(2 * stride, layers * (layers + 1) / 2);
    r.reduced.resize(2 * stride, layers * sheet);
    r.projected.resize(2 * stride, layers);
    r.sheet_left.resize(2 * stride, pairs);
    r.wall_left.resize(2 * stride, sheet);
    r.quadratic.resize(stride);
    const double* at = r.gathered.data();
    const auto next = [&](Eigen::Index count) {
        const double* const here = at;
        at += count * 2 * stride;
        return here;
    };
    kernels::TissueTask task{};
    task.layers = static_cast<std::size_t>(layers);
    task.sheet = static_cast<std::size_t>(sheet);
    task.stride = static_cast<std::size_t>(stride);
    task.gram = next(layers);
    task.projection = next(layers);
    task.cross = next(layers * sheet);
    task.still_tissue = next(layers);
    task.still_wall = next(sheet);
    task.sheet_gram = next(pairs);
    task.wall = next(sheet);
    task.still = next(1);
    task.still_gram = r.still_gram.data();
    task.precision = r.precision.data();
    task.factor = r.factor.data();
    task.reduced = r.reduced.data();
    task.projected = r.projected.data();
    task.sheet_left = r.sheet_left.data();
    task.wall_left = r.wall_left.data();
    task.quadratic = r.quadratic.data();
    kernels::take_out_tissue_of(default_instruction_set())(task);
}

void WallModel::sum_up() {
    Reduced& r = reduced_;
    const Eigen::Index bins = averaged_.gate.bins();
    const Eigen::Index layers = r.tissue_shares.size();
    r.explained = r.quadratic.head(bins).sum();
    Eigen::ArrayXd determinant = r.still_gram.head(bins) * still_variance();
    r.log_determinant = 0;
    for (Eigen::Index k = 0; k < layers; ++k) {
        determinant *=
            r.factor.col(k * (k + 1) / 2 + k).head(bins).square() / r.precision.col(k).head(bins);
        if ((k + 1) % factors_a_logarithm == 0 || k + 1 == layers) {
            r.log_determinant += determinant.log().sum();
            determinant.setOnes();
        }
    }
}

Eigen::ArrayXd WallModel::still_variance() const {
    return options_.still_power * power_ * pulse_power_;
}

const WallModel::Pulses& WallModel::pulses_at(double depth) {
    for (const Pulses& known : pulses_) {
        if (known.depth == depth) {
            return known;
        }
    }
    const auto samples = static_cast<Eigen::Index>(averaged_.gate.grid.count);
    const Eigen::Index sheet = distances_.size();
    Eigen::ArrayXXcd waves(sheet, samples);
    const double decay = decay_from_bandwidth(settings_.sensor.bandwidth);
    const double detuning =
        2 * std::numbers::pi *
        (settings_.sensor.centre_frequency - averaged_.gate.grid.mixing_frequency);
    for (Eigen::Index n = 0; n < samples; ++n) {
        const double window =
            gate_window((static_cast<double>(n) + 0.5) / static_cast<double>(samples));
        const double time = averaged_.gate.grid.time(static_cast<double>(n));
        for (Eigen::Index k = 0; k < sheet; ++k) {
            const double t = time - settings_.arrival(depth - averaged_.sense * distances_[k]);
            waves(k, n) = std::polar(window * std::exp(-decay * t * t), detuning * t);
        }
    }
    Pulses made{depth, gate_spectra(averaged_.gate, waves), {}};
    const Eigen::Index stride = tables_.gram.stride();
    made.elements = Elements::Zero(2 * stride, sheet);
    made.elements.topRows(averaged_.gate.bins()) = made.spectra.real().transpose();
    made.elements.middleRows(stride, averaged_.gate.bins()) = made.spectra.imag().transpose();
    pulses_.push_back(std::move(made));
    return pulses_.back();
}

// Solves for the wall's sheet; tissue and what stands still are taken out.
void WallModel::solve(const WallState& wall, double noise) {
    reduce(wall, noise);
    const Pulses& pulses = pulses_at(wall.depth);
    const Eigen::Index sheet = distances_.size();
    Solved& out = solved_;
    out.gram.resize(sheet * (sheet + 1) / 2);
    out.projection.resize(sheet);
    const InstructionSet set = default_instruction_set();
    kernels::weigh_pulses_of(set)(
        {static_cast<std::size_t>(sheet), static_cast<std::size_t>(tables_.gram.stride()),
         pulses.elements.data(), reduced_.sheet_left.data(), reduced_.wall_left.data(),
         reinterpret_cast<double*>(out.gram.data()),
         reinterpret_cast<double*>(out.projection.data())});
    out.variance = wall.prior.wall_power * power_ * (-distances_.abs() / options_.decay).exp();
    out.precision = 1 / out.variance;
    out.factor.resize(kernels::whole_registers(sheet + 1), 2 * sheet);
    kernels::factor_sheet_of(set)({static_cast<std::size_t>(sheet),
                                   static_cast<std::size_t>(out.factor.rows()),
                                   reinterpret_cast<const double*>(out.gram.data()),
                                   reinterpret_cast<const double*>(out.projection.data()),
                                   out.precision.data(), out.factor.data()});
    double explained = 0;
    double log_determinant = reduced_.log_determinant + out.variance.log().sum();
    for (Eigen::Index k = 0; k < sheet; ++k) {
        explained += std::norm(out.y(k));
        log_determinant += 2 * std::log(out.factor(k, 2 * k));
    }
    out.quadratic = reduced_.explained + explained;
    out.evidence = out.quadratic - log_determinant - values() * (std::log(noise) + power_ / noise);
}

double WallModel::evidence(const WallState& wall, double noise) {
    if (!(largest_layer(wall, 1) <= tables_.largest_layer)) {
        return -std::numeric_limits<double>::infinity();
    }
    solve(wall, noise);
    return solved_.evidence;
}

Eigen::VectorXcd WallModel::sheet_echoes() const {
    const Eigen::Index sheet = distances_.size();
    Eigen::VectorXcd x(sheet);  // U x = y
    for (Eigen::Index k = sheet - 1; k >= 0; --k) {
        x[k] = solved_.y(k);
        for (Eigen::Index l = k + 1; l < sheet; ++l) {
            x[k] -= Complex(solved_.factor(l, 2 * k), solved_.factor(l, 2 * k + 1)) * x[l];
        }
        x[k] /= solved_.factor(k, 2 * k);
    }
    return x;
}

void WallModel::layers_of_bin(Eigen::Index bin, Eigen::Ref<Eigen::ArrayXcd> spectra,
                              double& prior) const {
    const Reduced& r = reduced_;
    const Eigen::Index sheet = distances_.size();
    const Eigen::Index layers = r.tissue_shares.size();
    const auto moved = spectra.head(sheet);
    auto t = spectra.tail(layers);
    // L^H t = y - X moved, from the last on.
    for (Eigen::Index k = layers - 1; k >= 0; --k) {
        Complex left = element(r.projected, k, bin);
        for (Eigen::Index l = 0; l < sheet; ++l) {
            left -= element(r.reduced, l * layers + k, bin) * moved[l];
        }
        for (Eigen::Index i = k + 1; i < layers; ++i) {
            left -= std::conj(element(r.factor, i * (i + 1) / 2 + k, bin)) * t[i];
        }
        t[k] = left / r.factor(bin, k * (k + 1) / 2 + k);
        prior += std::norm(t[k]) * r.precision(bin, k);
    }
    const Eigen::Index still_tissue = 2 * layers + layers * sheet;  // where they were gathered
    const Eigen::Index still_wall = still_tissue + layers;
    Complex still = tables_.still_projection[bin] / r.asked.noise;
    for (Eigen::Index k = 0; k < layers; ++k) {
        still -= element(r.gathered, still_tissue + k, bin) * t[k];
    }
    for (Eigen::Index l = 0; l < sheet; ++l) {
        still -= element(r.gathered, still_wall + l, bin) * moved[l];
    }
    still /= r.still_gram[bin];
    spectra[sheet] = still;
    prior += std::norm(still) / still_variance()[bin];
}

WallModel::Layers WallModel::layers(const WallState& asked, double noise) {
    WallState wall = asked;
    if (const double most = largest_layer(wall, 1); !(most <= tables_.largest_layer)) {
        wall.share *= tables_.largest_layer / most;
        wall.radial_share *= tables_.largest_layer / most;
    }
    solve(wall, noise);
    const Reduced& r = reduced_;
    const Pulses& pulses = pulses_at(wall.depth);
    const Eigen::Index bins = averaged_.gate.bins();
    const Eigen::Index sheet = distances_.size();
    const Eigen::VectorXcd x = sheet_echoes();
    Layers out;
    out.wall_layers = static_cast<std::size_t>(sheet);
    Eigen::Index reference = 0;
    distances_.abs().minCoeff(&reference);
    out.reference = static_cast<std::size_t>(reference);
    out.spectra.resize(sheet + 1 + r.tissue_shares.size(), bins);
    // The prior's part of the quadratic form: what is left over of the gate is the rest.
    double prior = (x.array().abs2() / solved_.variance).sum();
    for (Eigen::Index j = 0; j < bins; ++j) {
        out.spectra.col(j).head(sheet) = pulses.spectra.col(j) * x.array();
        layers_of_bin(j, out.spectra.col(j), prior);
    }
    for (const double share : r.shares) {
        out.shares.push_back({averaged_.sense * share, averaged_.tissue + averaged_.wall_bulk});
    }
    out.shares.push_back({0, 0});
    for (const double share : r.tissue_shares) {
        out.shares.push_back({averaged_.sense * share, averaged_.tissue});
    }
    // (A + P) x = b with A the frames' sums: |rest|^2 = |Y|^2 - x^H b - x^H P x, all over noise.
    out.noise = std::max(power_ - noise * (solved_.quadratic + prior) / values(), 0.0);
    return out;
}

}  // namespace echosieve
