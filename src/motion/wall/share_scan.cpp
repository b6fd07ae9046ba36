#include "motion/wall/share_scan.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <utility>

#include "echosieve/core/detail/whole_number.hpp"
#include "motion/kernels/wall_sums_kernel.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/slow_time.hpp"
#include "motion/wall/shared_beliefs.hpp"

namespace echosieve {

namespace {

// Read off synthetic recordings, seeds 1 to 230 of both simulators.
constexpr double standing_motion = 30e-6;  // over the range of p: less stands still [m]
constexpr double whole_step = 1e-6;        // of a step: rounding's share in a whole number of them
constexpr double range_end = 0.02;         // of p: its 2 % to 98 %, few frames are beyond
constexpr double slots_per_sigma = 5;      // of the drift's Gaussian
// Of the drift: more than any recording has.
constexpr Eigen::Index most_slots = 10'000'000;
constexpr std::array<double, 3> layer_powers = {0.01, 0.05, 0.25};  // v over the gate's power
constexpr double least_scan_gain = 10;                              // of evidence: more than chance
constexpr double flat = 1e-12;  // rise of the evidence within a step: none

// E^H E and E^H Y of one gate for the shares in one direction, factorised together with a belief:
// (gram scale + diag(precision)) = L L^H and y = L^-1 scale projection, of all bins.
class ShareFactor {
public:
    // Elements of the kernels, [2 stride x n].
    ShareFactor(Eigen::ArrayXXd gram, Eigen::ArrayXXd projection, Eigen::Index bins)
        : gram_(std::move(gram)),
          projection_(std::move(projection)),
          bins_(bins),
          stride_(gram_.rows() / 2),
          nothing_(Eigen::ArrayXXd::Zero(2 * stride_, count())),
          one_(Eigen::ArrayXd::Ones(stride_)),
          factor_(2 * stride_, count() * (count() + 1) / 2),
          projected_(2 * stride_, count()),
          quadratic_(stride_) {}

    [[nodiscard]] Eigen::Index count() const { return gram_.cols(); }

    // What layers of all shares explain, with a ridge in place of a belief.
    [[nodiscard]] double explained(double ridge) {
        factorise(1, Eigen::ArrayXXd::Constant(stride_, count(), ridge));
        double sum = quadratic_.head(bins_).sum();
        Eigen::ArrayXXd x = projected_;  // L^H x = y, from the last on
        for (Eigen::Index k = count() - 1; k >= 0; --k) {
            x.col(k) /= factor_.col(at(k, k)).head(stride_).replicate(2, 1);
            sum += ridge * squares(x.col(k)).sum();
            for (Eigen::Index i = 0; i < k; ++i) {
                const auto l = factor_.col(at(k, i));
                x.col(i).head(stride_) -= l.head(stride_) * x.col(k).head(stride_) +
                                          l.tail(stride_) * x.col(k).tail(stride_);
                x.col(i).tail(stride_) -= l.head(stride_) * x.col(k).tail(stride_) -
                                          l.tail(stride_) * x.col(k).head(stride_);
            }
        }
        return sum;
    }
    // Raises `best` to L_K where that is larger; `variance` of each layer, per bin.
    void raise(Eigen::ArrayXd& best, double noise, const Eigen::ArrayXd& variance) {
        Eigen::ArrayXXd precision = Eigen::ArrayXXd::Ones(stride_, count());
        precision.topRows(bins_).colwise() = 1 / variance;
        factorise(1 / noise, precision);
        double sum = 0;
        for (Eigen::Index k = 0; k < count(); ++k) {
            const auto diagonal = factor_.col(at(k, k)).head(bins_);
            sum += (squares(projected_.col(k)) -
                    (diagonal.square() / precision.col(k).head(bins_)).log())
                       .sum();
            best[k] = std::max(best[k], sum);
        }
    }

private:
    static Eigen::Index at(Eigen::Index row, Eigen::Index column) {
        return row * (row + 1) / 2 + column;
    }
    // Of an element, per bin.
    [[nodiscard]] Eigen::ArrayXd squares(const Eigen::Ref<const Eigen::ArrayXd>& element) const {
        return element.head(bins_).square() + element.segment(stride_, bins_).square();
    }
    void factorise(double scale, const Eigen::ArrayXXd& precision) {
        const Eigen::ArrayXXd g = scale * gram_;
        const Eigen::ArrayXXd h = scale * projection_;
        kernels::TissueTask task{};
        task.layers = static_cast<std::size_t>(count());
        task.stride = static_cast<std::size_t>(stride_);
        task.gram = g.data();
        task.projection = h.data();
        task.still_tissue = nothing_.data();
        task.still = nothing_.data();
        task.still_gram = one_.data();
        task.precision = precision.data();
        task.factor = factor_.data();
        task.projected = projected_.data();
        task.quadratic = quadratic_.data();
        kernels::take_out_tissue_of(default_instruction_set())(task);
    }

    Eigen::ArrayXXd gram_, projection_;
    Eigen::Index bins_, stride_;
    Eigen::ArrayXXd nothing_;
    Eigen::ArrayXd one_;
    Eigen::ArrayXXd factor_, projected_;
    Eigen::ArrayXd quadratic_;
};

}  // namespace

ShareScan::ShareScan(const LayerTimes& times, const Eigen::ArrayXd& moments,
                     const Eigen::ArrayXd& frequencies, const Sensor& sensor,
                     const ShareScanOptions& options)
    : options_(options), times_(times) {
    validate(options);
    require(moments.size() == times.pulse.size() && moments.size() > 0, "number of moments",
            moments.size(),
            detail::concatenate("must be that of the frames, at least 1, ", times.pulse.size()));
    bins_.frequencies = frequencies;
    // Slots short enough for what drifts.
    const double slot = 1 / (2 * std::numbers::pi * options.drift_frequency) / slots_per_sigma;
    places_ = (moments - moments.minCoeff()) / slot;
    pulse_power_ = pulse_power(frequencies, sensor);
    const double range = quantile(times.pulse, 1 - range_end) - quantile(times.pulse, range_end);
    require(range > 0, "range of the pulse", range, "must be positive");
    step_ = times.sound_speed / 2 / sensor.centre_frequency / options.steps_per_wavelength / range;
    const auto steps = [&](double share) {
        return held_whole(std::ceil(share / range / step_), Eigen::Index{0}, most_scanned_shares);
    };
    against_ = steps(options.against);
    reach_ = steps(options.largest_share);
    const Eigen::Index count = against_ + 1 + reach_;
    shares_ = step_ * Eigen::ArrayXd::LinSpaced(count, -static_cast<double>(against_),
                                                static_cast<double>(reach_));
    turn_ = layer_phasors(bins_, times_, {step_, 0});
    weights_ = times.weight.cast<std::complex<double>>().replicate(1, frequencies.size());
    gram_ = TurnedSums(weights_, turn_, count);
}

TurnedSums ShareScan::projections(const Eigen::ArrayXXcd& values) const {
    return {values * weights_ *
                layer_phasors(bins_, times_, {-static_cast<double>(reach_) * step_, 0}).conjugate(),
            turn_.conjugate(), 2 * reach_ + 1};
}

std::array<FastestShare, 2> ShareScan::operator()(const GateSpectrum& gate, double bulk) const {
    require(gate.bins() == bins_.bins(), "number of bins", gate.bins(),
            "must be that of the set-up");
    require(gate.values.rows() == times_.pulse.size(), "number of frames", gate.values.rows(),
            detail::concatenate("must be that of the set-up, ", times_.pulse.size()));
    const Eigen::ArrayXXcd values =
        without_drift(gate.values * layer_phasors(bins_, times_, {0, -bulk}));
    const double power = (values.abs2().colwise() * times_.weight).sum() / times_.weight.sum() /
                         static_cast<double>(gate.bins());
    const TurnedSums sums = projections(values);
    std::array<Eigen::ArrayXd, 2> curves;
    for (const std::size_t k : {0U, 1U}) {
        curves[k] = curve(sums, power, k == 0 ? -1 : 1);
    }
    // One step may be motion that a wall can have; the slack counts what is faster.
    std::array<FastestShare, 2> found;
    for (const std::size_t k : {0U, 1U}) {
        found[k] = fastest(curves[k], total_of(curves[k], 1), total_of(curves[1 - k], 1));
        found[k].total = total_of(
            curves[k], held_whole(standing_motion / step_ + whole_step, Eigen::Index{0}, reach_));
    }
    return found;
}

Eigen::Index ShareScan::strongest_share(const TurnedSums& sums) {
    double most = 0;
    Eigen::Index strongest = -1;
    for (Eigen::Index k = 0; k < sums.rows(); ++k) {
        double energy = 0;
        for (Eigen::Index j = 0; j < sums.bins(); ++j) {
            energy += std::norm(sums(k, j));
        }
        if (energy > most) {
            most = energy;
            strongest = k;
        }
    }
    return strongest;
}

Eigen::ArrayXd ShareScan::slow_phase(const Eigen::ArrayXcd& product) const {
    Eigen::ArrayXcd slots =
        Eigen::ArrayXcd::Zero(held_whole(places_.maxCoeff(), Eigen::Index{0}, most_slots) + 1);
    for (Eigen::Index i = 0; i < product.size(); ++i) {
        slots[held_whole(places_[i], Eigen::Index{0}, slots.size() - 1)] += product[i];
    }
    const Eigen::ArrayXd slow =
        unwrapped_phase(gaussian_smooth<std::complex<double>>(slots, slots_per_sigma));
    Eigen::ArrayXd phase(product.size());
    const auto last = static_cast<double>(slow.size() - 1);
    for (Eigen::Index i = 0; i < phase.size(); ++i) {
        const double place = std::clamp(places_[i] - 0.5, 0.0, last);
        const auto k =
            held_whole(place, Eigen::Index{0}, std::max<Eigen::Index>(slow.size() - 2, 0));
        const double t = place - static_cast<double>(k);
        phase[i] = (1 - t) * slow[k] + t * slow[std::min(k + 1, slow.size() - 1)];
    }
    return phase;
}

Eigen::ArrayXXcd ShareScan::without_drift(const Eigen::ArrayXXcd& values) const {
    // The strongest layer of one share, either way.
    const TurnedSums sums = projections(values);
    const Eigen::Index strongest = strongest_share(sums);
    if (strongest < 0) {
        return values;
    }
    // Its slow phase, by which all is turned back.
    Eigen::VectorXcd echo(sums.bins());
    for (Eigen::Index j = 0; j < sums.bins(); ++j) {
        echo[j] = std::conj(sums(strongest, j));
    }
    const double share = static_cast<double>(strongest - reach_) * step_;
    Eigen::ArrayXd phase = slow_phase(
        ((values * weights_ * layer_phasors(bins_, times_, {share, 0}).conjugate()).matrix() * echo)
            .array());
    phase -= (phase * times_.weight).sum() / times_.weight.sum();
    // As a motion at the mean frequency.
    const double mean = bins_.frequencies.mean();
    const LayerTimes drift{phase * times_.sound_speed / (2 * 2 * std::numbers::pi * mean),
                           times_.bulk, times_.weight, times_.sound_speed};
    return values * layer_phasors(bins_, drift, {1, 0});
}

double ShareScan::total_of(const Eigen::ArrayXd& evidence, Eigen::Index still_steps) const {
    // What hardly moves is not motion in this direction.
    const Eigen::Index standing = std::min(against_ + still_steps, shares_.size() - 1);
    return std::max(evidence.maxCoeff() - evidence[standing], 0.0);
}

Eigen::ArrayXd ShareScan::curve(const TurnedSums& sums, double power, int direction) const {
    const Eigen::Index count = shares_.size();
    if (!(power > 0)) {
        return Eigen::ArrayXd::Zero(count);
    }
    const Eigen::Index stride = gram_.stride();
    Eigen::ArrayXXd gram(2 * stride, count);
    Eigen::ArrayXXd projection(2 * stride, count);
    for (Eigen::Index k = 0; k < count; ++k) {
        gram.col(k) = Eigen::Map<const Eigen::ArrayXd>(gram_.row(k), 2 * stride);
        gram.col(k).tail(stride) *= direction;  // downwards they are conjugate
        projection.col(k) = Eigen::Map<const Eigen::ArrayXd>(
            sums.row(reach_ + direction * (k - against_)), 2 * stride);
    }
    ShareFactor factor(std::move(gram), std::move(projection), bins_.bins());
    // Noise: what the richest set leaves, but not less than the model is good for.
    const double weight = times_.weight.sum();
    const double explained = factor.explained(layer_ridge * weight);
    const double noise = std::max(power - explained / (weight * static_cast<double>(bins_.bins())),
                                  options_.least_noise * power);
    Eigen::ArrayXd best = Eigen::ArrayXd::Constant(count, -std::numeric_limits<double>::infinity());
    for (const double part : layer_powers) {
        factor.raise(best, noise, part * power * pulse_power_);
    }
    return best;
}

FastestShare ShareScan::fastest(const Eigen::ArrayXd& evidence, double total, double mirror) const {
    FastestShare found;
    found.total = total;
    const double largest = evidence.maxCoeff();
    const double slack =
        std::max({least_scan_gain, options_.unexplained * total, options_.mirror * mirror});
    Eigen::Index at = 0;
    while (evidence[at] < largest - slack) {
        ++at;
    }
    if (at <= against_) {
        return found;
    }
    const double below = evidence[at - 1];
    const double part = (largest - slack - below) / std::max(evidence[at] - below, flat);
    found.share = shares_[at - 1] + step_ * std::clamp(part, 0.0, 1.0);
    const Eigen::Index slower =
        held_whole(static_cast<double>(against_) + options_.distinct * found.share / step_,
                   Eigen::Index{0}, shares_.size() - 1);
    found.evidence = largest - evidence[std::min(slower, at - 1)];
    return found;
}

}  // namespace echosieve
