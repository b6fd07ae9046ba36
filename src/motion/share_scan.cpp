#include "echosieve/motion/share_scan.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>

#include "echosieve/motion/block_means.hpp"
#include "echosieve/motion/layers.hpp"
#include "echosieve/motion/slow_time.hpp"

namespace echosieve {

namespace {

constexpr double standing_motion = 30e-6;  // over the range of p [m]

}  // namespace

ShareScan::ShareScan(const LayerTimes& times, const Eigen::ArrayXd& frequencies,
                     const Sensor& sensor, double frame_rate, const ShareScanOptions& options)
    : options_(options), times_(times), frequencies_(frequencies) {
    validate(options);
    block_ = std::max<Eigen::Index>(1, std::lround(options.interval * frame_rate));
    block_rate_ = frame_rate / static_cast<double>(block_);
    coarse_ = block_means(times, even_blocks(times.pulse.size(), block_));
    constexpr double least_power = 0.01;  // far from the band's centre, where the pulse is unsure
    const double offset = sensor.bandwidth / 2;
    pulse_power_ = (-std::log(4.0) * ((frequencies - sensor.centre_frequency) / offset).square())
                       .exp()
                       .max(least_power);
    const double range = quantile(times.pulse, 0.98) - quantile(times.pulse, 0.02);
    require(range > 0, "range of the pulse", range, "must be positive");
    step_ = times.sound_speed / 2 / sensor.centre_frequency / options.steps_per_wavelength / range;
    against_ = static_cast<Eigen::Index>(std::ceil(options.against / range / step_));
    const auto count =
        against_ + 1 + static_cast<Eigen::Index>(std::ceil(options.largest_share / range / step_));
    shares_ = step_ * Eigen::ArrayXd::LinSpaced(count, -static_cast<double>(against_),
                                                static_cast<double>(count - 1 - against_));
    GateSpectrum bins;
    bins.frequencies = frequencies;
    const Eigen::ArrayXXcd turn = layer_phasors(bins, coarse_, {step_, 0});
    Eigen::ArrayXXcd running =
        coarse_.weight.cast<std::complex<double>>().replicate(1, frequencies.size());
    Eigen::ArrayXXcd by_difference(count, frequencies.size());
    for (Eigen::Index k = 0; k < count; ++k) {
        by_difference.row(k) = running.colwise().sum();
        running *= turn;
    }
    for (Eigen::Index j = 0; j < frequencies.size(); ++j) {
        Eigen::MatrixXcd gram(count, count);
        for (Eigen::Index k = 0; k < count; ++k) {
            for (Eigen::Index l = 0; l <= k; ++l) {
                gram(l, k) = by_difference(k - l, j);
                gram(k, l) = std::conj(gram(l, k));
            }
        }
        gram_.push_back(std::move(gram));
    }
}

std::array<FastestShare, 2> ShareScan::operator()(const GateSpectrum& gate, double bulk) const {
    require(gate.bins() == frequencies_.size(), "number of bins", gate.bins(),
            "must be that of the set-up");
    const Eigen::ArrayXXcd values = without_drift(block_means(gate, times_, {0, bulk}, even_blocks(times_.pulse.size(), block_)));
    const double power = (values.abs2().colwise() * coarse_.weight).sum() / coarse_.weight.sum() /
                         static_cast<double>(gate.bins());
    std::array<Eigen::ArrayXd, 2> curves;
    for (const double direction : {-1.0, 1.0}) {
        Eigen::ArrayXXcd running =
            (values * layer_phasors(gate, coarse_, {direction * shares_[0], 0}).conjugate())
                .colwise() *
            coarse_.weight.cast<std::complex<double>>();
        const Eigen::ArrayXXcd back =
            layer_phasors(gate, coarse_, {direction * step_, 0}).conjugate();
        Eigen::ArrayXXcd projections(shares_.size(), gate.bins());
        for (Eigen::Index k = 0; k < shares_.size(); ++k) {
            projections.row(k) = running.colwise().sum();
            running *= back;
        }
        curves[direction > 0 ? 1 : 0] = curve(projections, power, direction);
    }
    // One step may be motion that a wall can have; the slack counts what is faster.
    std::array<FastestShare, 2> found;
    for (const std::size_t k : {0U, 1U}) {
        found[k] = fastest(curves[k], total_of(curves[k], 1), total_of(curves[1 - k], 1));
        found[k].total =
            total_of(curves[k], static_cast<Eigen::Index>(standing_motion / step_ + 1e-6));
    }
    return found;
}

Eigen::ArrayXXcd ShareScan::without_drift(const Eigen::ArrayXXcd& values) const {
    // The strongest layer of one share, either way.
    GateSpectrum bins;
    bins.frequencies = frequencies_;
    const Eigen::ArrayXcd weight = coarse_.weight.cast<std::complex<double>>();
    double most = 0;
    Eigen::ArrayXXcd strongest;
    for (const double direction : {-1.0, 1.0}) {
        const Eigen::ArrayXXcd back =
            layer_phasors(bins, coarse_, {direction * step_, 0}).conjugate();
        Eigen::ArrayXXcd running = values.colwise() * weight;
        for (Eigen::Index k = 0; k < shares_.size() - against_; ++k) {
            const double energy = running.colwise().sum().abs2().sum();
            if (energy > most) {
                most = energy;
                strongest = running;
            }
            running *= back;
        }
    }
    if (!(most > 0)) {
        return values;
    }
    // Its slow phase, by which all is turned back.
    const Eigen::ArrayXcd echo = strongest.colwise().sum().transpose();
    const Eigen::ArrayXcd product = (strongest.matrix() * echo.conjugate().matrix()).array();
    const double sigma = block_rate_ / (2 * std::numbers::pi * options_.drift_frequency);
    Eigen::ArrayXd phase = unwrapped_phase(gaussian_smooth<std::complex<double>>(product, sigma));
    phase -= phase.mean();
    Eigen::ArrayXXcd still = values;
    for (Eigen::Index j = 0; j < still.cols(); ++j) {
        const double scale = frequencies_[j] / frequencies_.mean();
        for (Eigen::Index i = 0; i < phase.size(); ++i) {
            still(i, j) *= std::polar(1.0, -scale * phase[i]);
        }
    }
    return still;
}

double ShareScan::total_of(const Eigen::ArrayXd& evidence, Eigen::Index still_steps) const {
    // What hardly moves is not motion in this direction.
    const Eigen::Index standing = std::min(against_ + still_steps, shares_.size() - 1);
    return std::max(evidence.maxCoeff() - evidence[standing], 0.0);
}

Eigen::ArrayXd ShareScan::curve(const Eigen::ArrayXXcd& projections, double power,
                                double direction) const {
    const double weight = coarse_.weight.sum();
    const Eigen::Index count = shares_.size();
    if (!(power > 0)) {
        return Eigen::ArrayXd::Zero(count);
    }
    const auto gram = [&](Eigen::Index j) -> Eigen::MatrixXcd {
        const auto& g = gram_[static_cast<std::size_t>(j)];
        return direction > 0 ? g : Eigen::MatrixXcd(g.conjugate());
    };
    // Noise: what the richest set leaves, but not less than the model is good for.
    constexpr double ridge = 0.01;
    double explained = 0;
    for (Eigen::Index j = 0; j < projections.cols(); ++j) {
        Eigen::MatrixXcd m = gram(j);
        const Eigen::VectorXcd h = projections.col(j).matrix();
        m.diagonal().array() += ridge * weight;
        const Eigen::VectorXcd x = m.ldlt().solve(h);
        explained += h.dot(x).real() + ridge * weight * x.squaredNorm();
    }
    const double bins = static_cast<double>(projections.cols());
    const double noise =
        std::max(power - explained / (weight * bins), options_.least_noise * power);
    Eigen::ArrayXd best = Eigen::ArrayXd::Constant(count, -std::numeric_limits<double>::infinity());
    for (const double part : {0.01, 0.05, 0.25}) {  // v over the gate's power
        Eigen::ArrayXd gain = Eigen::ArrayXd::Zero(count);
        for (Eigen::Index j = 0; j < projections.cols(); ++j) {
            const double variance = part * power * pulse_power_[j];
            Eigen::MatrixXcd m = gram(j) / noise;
            m.diagonal().array() += 1 / variance;
            const Eigen::LLT<Eigen::MatrixXcd> factor(m);
            const Eigen::VectorXcd y = factor.matrixL().solve(projections.col(j).matrix() / noise);
            gain += y.array().abs2() - 2 * factor.matrixLLT().diagonal().array().real().log() -
                    std::log(variance);
        }
        double sum = 0;
        for (Eigen::Index k = 0; k < count; ++k) {
            sum += gain[k];
            best[k] = std::max(best[k], sum);
        }
    }
    return best;
}

FastestShare ShareScan::fastest(const Eigen::ArrayXd& evidence, double total, double mirror) const {
    constexpr double least_gain = 10;  // in logarithms: more than chance
    FastestShare found;
    found.total = total;
    const double largest = evidence.maxCoeff();
    const double slack =
        std::max({least_gain, options_.unexplained * total, options_.mirror * mirror});
    Eigen::Index at = 0;
    while (evidence[at] < largest - slack) {
        ++at;
    }
    if (at <= against_) {
        return found;
    }
    const double below = evidence[at - 1];
    const double part = (largest - slack - below) / std::max(evidence[at] - below, 1e-12);
    found.share = shares_[at - 1] + step_ * std::clamp(part, 0.0, 1.0);
    const auto slower = std::max<Eigen::Index>(
        0, against_ + static_cast<Eigen::Index>(options_.distinct * found.share / step_));
    found.evidence = largest - evidence[std::min(slower, at - 1)];
    return found;
}

}  // namespace echosieve
