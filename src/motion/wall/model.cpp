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

namespace echosieve {

namespace {

using Complex = std::complex<double>;

constexpr double lowest_tissue = -0.15;  // of the wall's share
constexpr double thickest = 0.3;         // of the radius: the sheet strains no further in
constexpr Eigen::Index margin = 4;       // rows of a table beyond, for the interpolation

// A sheet of more layers than this costs more than a finer one is worth: their number is cubed.
constexpr Eigen::Index most_sheet_layers = 32;
// Of the tables, half a radian each where the pulse is furthest from its mean: what turns by more
// is no wall, but a pulse that is none, or a share that ran away.
constexpr Eigen::Index most_steps = 1500;

// a(d)
Eigen::ArrayXd strained(const WallState& wall, const Eigen::ArrayXd& d) {
    const Eigen::ArrayXd within = d.min(thickest * wall.radius);
    return wall.share + wall.prior.strain * wall.widening() * within / (wall.radius - within);
}

}  // namespace

QuietGroupLimits group_limits(const WallState& wall, const RecordingSettings& settings,
                              const WallModelOptions& options) {
    const auto in_frames = [&](double interval) {
        return held_whole(std::round(interval * settings.frame_rate), Eigen::Index{1},
                          Eigen::Index{most_counted});
    };
    // An average is turned by half of the wall's share: neither wall nor tissue is further from it.
    const double phase_per_metre =
        2 * std::numbers::pi * settings.sensor.centre_frequency * 2 / settings.sound_speed;
    const double most = options.largest_turn / phase_per_metre;
    return {in_frames(options.interval), in_frames(options.longest_interval),
            2 * most / std::max(wall.share, smallest_wall_share),
            most / std::max(std::abs(wall.bulk - wall.tissue), 0.1)};
}

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
    const FrameGroups groups = quiet_groups(times, group_limits(wall, settings, options));
    const LayerTimes coarse = group_means(times, groups);
    gate_.values = group_means(gate, times, {sense_ * 0.5 * wall.share, wall.tissue}, groups);
    weight_ = coarse.weight.sum();
    const Eigen::ArrayXXcd weights = coarse.weight.cast<Complex>().replicate(1, gate.bins());
    const Eigen::ArrayXXcd weighted = gate_.values * weights;
    power_ = (gate_.values.conjugate() * weighted).real().sum() / weight_ /
             static_cast<double>(gate.bins());
    constexpr double least_power = 0.01;
    const Sensor& sensor = settings.sensor;
    pulse_power_ =
        (-std::log(4.0) *
         ((gate.frequencies - sensor.centre_frequency) / (sensor.bandwidth / 2)).square())
            .exp()
            .max(least_power);
    const double resolution = settings.sound_speed / 2 / sensor.bandwidth;
    const double lead = options.lead * (1e6 / sensor.bandwidth);
    const double spacing =
        std::max(options.spacing * resolution,
                 (lead + options.thickness) / static_cast<double>(most_sheet_layers));
    const auto layers_in = [&](double length) {
        return held_whole(std::ceil(length / spacing), Eigen::Index{0}, most_sheet_layers);
    };
    const Eigen::Index outside = layers_in(lead);
    const Eigen::Index inside = layers_in(options.thickness);
    distances_ =
        spacing * Eigen::ArrayXd::LinSpaced(outside + inside + 1, -static_cast<double>(outside),
                                            static_cast<double>(inside));
    const double reach = std::max((coarse.pulse - coarse.pulse.mean()).abs().maxCoeff(), 1e-3);
    step_ = largest_turn /
            (2 * std::numbers::pi * gate.frequencies.maxCoeff() * 2 / times.sound_speed * reach);
    const double most = static_cast<double>(most_steps) * step_;
    if (!(largest_share <= most)) {
        largest_layer_ = largest_share = most;
    }
    const auto steps = [&](double share) {
        return held_whole(std::ceil(share / step_), Eigen::Index{0}, 2 * most_steps) + margin;
    };
    below_ = steps(-lowest_tissue * largest_share);
    const Eigen::Index above = steps(largest_share);
    const Eigen::Index count = below_ + 1 + above;
    const double lowest = -static_cast<double>(below_) * step_;
    const auto phasors = [&](double share, double bulk) {
        return layer_phasors(gate_, coarse, {sense_ * share, bulk});
    };
    const Eigen::ArrayXXcd turn = phasors(step_, 0);
    const Eigen::ArrayXXcd back = turn.conjugate();
    const Eigen::ArrayXXcd slowest = phasors(lowest, 0);
    tissue_projection_ = TurnedSums(weighted * slowest.conjugate(), back, count);
    // What the wall moves by beside the tissue, the pulse apart, turns its echoes and leaves the
    // tissue's.
    Eigen::ArrayXXcd beside = phasors(0, bulk_offset_);
    if (wall.own.size() > 0) {
        const LayerTimes own{group_means(wall.own, times.weight, groups), coarse.bulk,
                             coarse.weight, times.sound_speed};
        beside *= layer_phasors(gate_, own, {1, 0});
    }
    wall_projection_ = TurnedSums(weighted * (slowest * beside).conjugate(), back, count);
    // What stands still, seen from the turned-back frames.
    const Eigen::ArrayXXcd still = phasors(0, wall.tissue);
    still_projection_ = (weighted * still).colwise().sum().transpose();
    const Eigen::ArrayXXcd still_slowest = weights * slowest * still;
    still_tissue_ = TurnedSums(still_slowest, turn, count);
    still_wall_ = TurnedSums(still_slowest * beside, turn, count);
    gram_ = TurnedSums(weights * phasors(-static_cast<double>(margin) * step_, 0), turn,
                       margin + 1 + above);
    // The tissue may be faster than the sheet's outermost layers, when the other wall moves more.
    cross_below_ = steps(0.5 * largest_share);
    cross_ = TurnedSums(weights * phasors(-static_cast<double>(cross_below_) * step_, 0) * beside,
                        turn, cross_below_ + 1 + steps((1 - lowest_tissue) * largest_share));
}

void WallModel::reduce(const WallState& wall, double noise) {
    Reduced& r = reduced_;
    if (r.noise == noise && r.share == wall.share && r.radius == wall.radius &&
        r.widening == wall.widening() && r.strain == wall.prior.strain &&
        r.reach == wall.prior.tissue_reach && r.tissue_power == wall.prior.tissue_power) {
        return;
    }
    require(wall.share > 0, "share", wall.share, "must be positive [m]");
    require(wall.radius > 0, "radius", wall.radius, "must be positive [m]");
    require(noise > 0, "noise", noise, "must be positive");
    r.noise = noise;
    r.share = wall.share;
    r.radius = wall.radius;
    r.widening = wall.widening();
    r.strain = wall.prior.strain;
    r.reach = wall.prior.tissue_reach;
    r.tissue_power = wall.prior.tissue_power;
    const Eigen::Index bins = gate_.bins();
    const Eigen::Index stride = gram_.stride();
    const Eigen::Index sheet = distances_.size();
    r.shares = strained(wall, distances_);
    // Tissue layers a third of a half wavelength apart over the range of p, or closer.
    const double half_wave = settings_.sound_speed / 2 / settings_.sensor.centre_frequency;
    const double span = (wall.prior.tissue_reach - lowest_tissue) * wall.share;
    const auto layers = std::clamp<Eigen::Index>(
        static_cast<Eigen::Index>(std::ceil(3.5 * span / half_wave)), 6, 24);
    r.tissue_shares = Eigen::ArrayXd::LinSpaced(layers, lowest_tissue * wall.share,
                                                wall.prior.tissue_reach * wall.share);
    const double tissue_step = r.tissue_shares[1] - r.tissue_shares[0];

    std::vector<kernels::BetweenRows> rows;
    const Eigen::Index pairs = sheet * (sheet + 1) / 2;
    rows.reserve(static_cast<std::size_t>(3 * layers + layers * sheet + 2 * sheet + pairs));
    const auto gather = [&](const TurnedSums& table, double share, Eigen::Index zero) {
        const RowWeights at = table.between(share / step_ + static_cast<double>(zero));
        kernels::BetweenRows row{table.row(at.first), {}};
        for (std::size_t k = 0; k < at.weight.size(); ++k) {
            row.weight[k] = at.weight[k] / noise;
        }
        rows.push_back(row);
    };
    for (Eigen::Index k = 0; k < layers; ++k) {
        gather(gram_, static_cast<double>(k) * tissue_step, margin);
    }
    for (Eigen::Index k = 0; k < layers; ++k) {
        gather(tissue_projection_, r.tissue_shares[k], below_);
    }
    for (Eigen::Index k = 0; k < layers; ++k) {
        for (Eigen::Index l = 0; l < sheet; ++l) {
            gather(cross_, r.shares[l] - r.tissue_shares[k], cross_below_);
        }
    }
    for (Eigen::Index k = 0; k < layers; ++k) {
        gather(still_tissue_, r.tissue_shares[k], below_);
    }
    for (Eigen::Index l = 0; l < sheet; ++l) {
        gather(still_wall_, r.shares[l], below_);
    }
    for (Eigen::Index k = 0; k < sheet; ++k) {
        for (Eigen::Index l = k; l < sheet; ++l) {
            gather(gram_, r.shares[l] - r.shares[k], margin);
        }
    }
    for (Eigen::Index l = 0; l < sheet; ++l) {
        gather(wall_projection_, r.shares[l], below_);
    }
    const auto gathered = static_cast<Eigen::Index>(rows.size());
    r.gathered.resize(2 * stride, gathered + 1);
    const InstructionSet set = default_instruction_set();
    kernels::between_rows_of(set)(
        {rows.data(), rows.size(), static_cast<std::size_t>(stride), r.gathered.data()});
    auto still = r.gathered.col(gathered);
    still.setZero();
    still.head(bins) = still_projection_.real() / noise;
    still.segment(stride, bins) = still_projection_.imag() / noise;

    const Eigen::ArrayXd variance = still_variance();
    r.still_gram = Eigen::ArrayXd::Ones(stride);
    r.still_gram.head(bins) = weight_ / noise + 1 / variance;
    // Less and less tissue moves nearly as fast as the wall.
    const Eigen::ArrayXd taper =
        (1.2 - r.tissue_shares / (wall.prior.tissue_reach * wall.share)).max(0.05).min(0.7) / 0.7;
    const double tissue_variance =
        wall.prior.tissue_power * power_ * 10 / static_cast<double>(layers);
    r.precision = Eigen::ArrayXXd::Ones(stride, layers);
    for (Eigen::Index k = 0; k < layers; ++k) {
        r.precision.col(k).head(bins) = 1 / (tissue_variance * taper[k] * pulse_power_);
    }
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
    kernels::take_out_tissue_of(set)(task);

    r.explained = r.quadratic.head(bins).sum();
    Eigen::ArrayXd determinant = r.still_gram.head(bins) * variance;
    r.log_determinant = 0;
    for (Eigen::Index k = 0; k < layers; ++k) {
        determinant *=
            r.factor.col(k * (k + 1) / 2 + k).head(bins).square() / r.precision.col(k).head(bins);
        if (k % 6 == 5 || k + 1 == layers) {  // the product stays far from overflow
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
    const auto samples = static_cast<Eigen::Index>(gate_.grid.count);
    const Eigen::Index sheet = distances_.size();
    Eigen::ArrayXXcd waves(sheet, samples);
    const double decay = decay_from_bandwidth(settings_.sensor.bandwidth);
    const double detuning =
        2 * std::numbers::pi * (settings_.sensor.centre_frequency - gate_.grid.mixing_frequency);
    for (Eigen::Index n = 0; n < samples; ++n) {
        const double window =
            gate_window((static_cast<double>(n) + 0.5) / static_cast<double>(samples));
        const double time = gate_.grid.time(static_cast<double>(n));
        for (Eigen::Index k = 0; k < sheet; ++k) {
            const double t = time - settings_.arrival(depth - sense_ * distances_[k]);
            waves(k, n) = std::polar(window * std::exp(-decay * t * t), detuning * t);
        }
    }
    Pulses made{depth, gate_spectra(gate_, waves), {}};
    const Eigen::Index stride = gram_.stride();
    made.elements = Elements::Zero(2 * stride, sheet);
    made.elements.topRows(gate_.bins()) = made.spectra.real().transpose();
    made.elements.middleRows(stride, gate_.bins()) = made.spectra.imag().transpose();
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
    kernels::weigh_pulses_of(set)({static_cast<std::size_t>(sheet),
                                   static_cast<std::size_t>(gram_.stride()), pulses.elements.data(),
                                   reduced_.sheet_left.data(), reduced_.wall_left.data(),
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
    if (!(largest_layer(wall, 1) <= largest_layer_)) {
        return -std::numeric_limits<double>::infinity();
    }
    solve(wall, noise);
    return solved_.evidence;
}

WallModel::Layers WallModel::layers(const WallState& asked, double noise) {
    WallState wall = asked;
    if (const double most = largest_layer(wall, 1); !(most <= largest_layer_)) {
        wall.share *= largest_layer_ / most;
        wall.radial_share *= largest_layer_ / most;
    }
    solve(wall, noise);
    const Solved& solved = solved_;
    const Reduced& r = reduced_;
    const Pulses& pulses = pulses_at(wall.depth);
    const Eigen::Index bins = gate_.bins();
    const Eigen::Index stride = gram_.stride();
    const Eigen::Index sheet = distances_.size();
    const Eigen::Index layers = r.tissue_shares.size();
    Eigen::VectorXcd x(sheet);  // U x = y
    for (Eigen::Index k = sheet - 1; k >= 0; --k) {
        x[k] = solved.y(k);
        for (Eigen::Index l = k + 1; l < sheet; ++l) {
            x[k] -= Complex(solved.factor(l, 2 * k), solved.factor(l, 2 * k + 1)) * x[l];
        }
        x[k] /= solved.factor(k, 2 * k);
    }
    Layers out;
    out.wall_layers = static_cast<std::size_t>(sheet);
    Eigen::Index reference = 0;
    distances_.abs().minCoeff(&reference);
    out.reference = static_cast<std::size_t>(reference);
    out.spectra.resize(sheet + 1 + layers, bins);
    const Eigen::ArrayXd variance = still_variance();
    // The prior's part of the quadratic form: what is left over of the gate is the rest.
    double prior = (x.array().abs2() / solved.variance).sum();
    const auto element = [&](const Elements& all, Eigen::Index n, Eigen::Index j) {
        return Complex(all(j, n), all(stride + j, n));
    };
    const Eigen::Index still_tissue = 2 * layers + layers * sheet;  // where they were gathered
    const Eigen::Index still_wall = still_tissue + layers;
    Eigen::VectorXcd t(layers);
    for (Eigen::Index j = 0; j < bins; ++j) {
        const Eigen::VectorXcd moved = pulses.spectra.col(j).matrix().cwiseProduct(x);
        out.spectra.col(j).head(sheet) = moved.array();
        // L^H t = y - X moved, from the last on.
        for (Eigen::Index k = layers - 1; k >= 0; --k) {
            Complex left = element(r.projected, k, j);
            for (Eigen::Index l = 0; l < sheet; ++l) {
                left -= element(r.reduced, l * layers + k, j) * moved[l];
            }
            for (Eigen::Index i = k + 1; i < layers; ++i) {
                left -= std::conj(element(r.factor, i * (i + 1) / 2 + k, j)) * t[i];
            }
            t[k] = left / r.factor(j, k * (k + 1) / 2 + k);
            prior += std::norm(t[k]) * r.precision(j, k);
        }
        out.spectra.col(j).tail(layers) = t.array();
        Complex still = still_projection_[j] / noise;
        for (Eigen::Index k = 0; k < layers; ++k) {
            still -= element(r.gathered, still_tissue + k, j) * t[k];
        }
        for (Eigen::Index l = 0; l < sheet; ++l) {
            still -= element(r.gathered, still_wall + l, j) * moved[l];
        }
        still /= r.still_gram[j];
        out.spectra(sheet, j) = still;
        prior += std::norm(still) / variance[j];
    }
    for (Eigen::Index k = 0; k < sheet; ++k) {
        out.shares.push_back({sense_ * r.shares[k], bulk_tissue_ + bulk_offset_});
    }
    out.shares.push_back({0, 0});
    for (Eigen::Index k = 0; k < layers; ++k) {
        out.shares.push_back({sense_ * r.tissue_shares[k], bulk_tissue_});
    }
    // (A + P) x = b with A the frames' sums: |rest|^2 = |Y|^2 - x^H b - x^H P x, all over noise.
    out.noise = std::max(power_ - noise * (solved.quadratic + prior) / values(), 0.0);
    return out;
}

}  // namespace echosieve
