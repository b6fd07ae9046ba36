#include "echosieve/motion/layer_start.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "echosieve/motion/layers.hpp"
#include "echosieve/motion/slow_time.hpp"

namespace echosieve {

namespace {

Eigen::ArrayXd block_means(const Eigen::ArrayXd& x, const Eigen::ArrayXd& weight,
                           Eigen::Index length) {
    const Eigen::Index count = (x.size() + length - 1) / length;
    Eigen::ArrayXd means(count);
    for (Eigen::Index i = 0; i < count; ++i) {
        const Eigen::Index rows = std::min(length, x.size() - i * length);
        const double total = weight.segment(i * length, rows).sum();
        means[i] = total > 0 ? (x * weight).segment(i * length, rows).sum() / total
                             : x.segment(i * length, rows).mean();
    }
    return means;
}

}  // namespace

LayerStartSearch::LayerStartSearch(const LayerTimes& times, const Eigen::ArrayXd& frequencies,
                                   const LayerStartOptions& options)
    : options_(options), weight_(times.weight), bulk_(times.bulk), frequencies_(frequencies) {
    validate(options);
    const Eigen::Index length = options.block;
    coarse_.sound_speed = times.sound_speed;
    coarse_.pulse = block_means(times.pulse, times.weight, length);
    coarse_.bulk = block_means(times.bulk, times.weight, length);
    coarse_.weight = block_means(times.weight, Eigen::ArrayXd::Ones(times.weight.size()), length);
    half_wavelength_ = times.sound_speed / 2 / frequencies.mean();
    step_ = half_wavelength_ / options.steps_per_wavelength;
    const double range = quantile(times.pulse, 0.98) - quantile(times.pulse, 0.02);
    walls_ = std::max(static_cast<int>(std::ceil(options.largest_share / range / step_)), 1);
    highest_ = static_cast<int>(options.tissue_reach * walls_);

    // Sums of the phasors of every difference between two shares, for both directions: they are
    // each other's conjugates but for the bulk offset, so both are kept.
    step_phasor_ = phasors(step_, 0);
    for (const double direction : {-1.0, 1.0}) {
        const Eigen::ArrayXXcd turn =
            direction > 0 ? step_phasor_ : Eigen::ArrayXXcd(step_phasor_.conjugate());
        for (const double offset : options.bulk_offsets) {
            Eigen::ArrayXXcd running =
                phasors(0, offset).colwise() * coarse_.weight.cast<Complex>();
            Eigen::ArrayXXcd sums(frequencies.size(), walls_ - lowest);
            for (Eigen::Index k = 0; k < sums.cols(); ++k) {
                sums.col(k) = running.colwise().sum().transpose();
                running *= turn;
            }
            cross_[direction > 0 ? 1 : 0].push_back(std::move(sums));
        }
    }
}

Eigen::ArrayXXcd LayerStartSearch::phasors(double pulse, double bulk) const {
    GateSpectrum bins;
    bins.frequencies = frequencies_;
    return layer_phasors(bins, coarse_, {pulse, bulk});
}

LayerSearch LayerStartSearch::operator()(const GateSpectrum& gate, double direction,
                                         double bulk) const {
    // Turned back by the line's bulk motion, then averaged over blocks of frames: what is left
    // moves little within one.
    const Eigen::Index frames = coarse_.pulse.size();
    Eigen::ArrayXXcd values(frames, gate.bins());
    {
        const LayerTimes fine{bulk_, bulk_, weight_, coarse_.sound_speed};
        const Eigen::ArrayXXcd still =
            (gate.values * layer_phasors(gate, fine, {0, -bulk})).colwise() *
            weight_.cast<Complex>();
        for (Eigen::Index i = 0; i < frames; ++i) {
            const Eigen::Index first = i * options_.block;
            const Eigen::Index rows = std::min(options_.block, still.rows() - first);
            values.row(i) = still.middleRows(first, rows).colwise().sum() /
                            std::max(weight_.segment(first, rows).sum(), 1.0);
        }
    }
    LayerSearch found;
    const Eigen::ArrayXd& weight = coarse_.weight;
    const double total = weight.sum();
    const double power = (values.abs2().colwise() * weight).sum();
    const double d = total * (1 + options_.ridge);
    values.colwise() *= weight.cast<Complex>();
    const Eigen::ArrayXXcd back =
        direction > 0 ? Eigen::ArrayXXcd(step_phasor_.conjugate()) : step_phasor_;
    // h of all shares on the grid, from `from` steps on
    const auto project = [&](double offset, int from, int to) {
        Eigen::ArrayXXcd running = values * phasors(direction * from * step_, offset).conjugate();
        Eigen::ArrayXXcd h(gate.bins(), to - from + 1);
        for (Eigen::Index k = 0; k < h.cols(); ++k) {
            h.col(k) = running.colwise().sum().transpose();
            running *= back;
        }
        return h;
    };
    const Eigen::ArrayXXcd tissue = project(0, lowest, highest_);
    const auto& cross = cross_[direction > 0 ? 1 : 0];
    // Per wall share of the grid, the best tissue and bulk offset, or no tissue at all.
    std::vector<LayerStart> best(static_cast<std::size_t>(walls_));
    for (std::size_t m = 0; m < options_.bulk_offsets.size(); ++m) {
        const double offset = options_.bulk_offsets[m];
        const Eigen::ArrayXXcd wall = project(offset, 0, walls_ - 1);
        for (int i = 0; i < walls_; ++i) {
            LayerStart& entry = best[static_cast<std::size_t>(i)];
            const double alone = power - wall.col(i).abs2().sum() / d;
            if (m == 0 || alone < entry.cost) {
                entry = {{direction * i * step_, bulk + offset}, {0, bulk}, alone};
            }
            for (int j = lowest; j <= highest_ && i - j >= least_difference; ++j) {
                double explained = 0;
                for (Eigen::Index f = 0; f < gate.bins(); ++f) {
                    const Complex h = wall(f, i);
                    const Complex t = tissue(f, j - lowest);
                    const Complex g = cross[m](f, i - j);
                    const Complex hg = std::conj(h) * std::conj(g);
                    explained += (d * (std::norm(h) + std::norm(t)) -
                                  2 * (hg.real() * t.real() - hg.imag() * t.imag())) /
                                 (d * d - std::norm(g));
                }
                if (power - explained < entry.cost) {
                    entry = {{direction * i * step_, bulk + offset},
                             {direction * j * step_, bulk},
                             power - explained};
                }
            }
        }
    }
    // What slower layers alone leave, for every share; then the evidence for the share itself.
    std::vector<double> slower(best.size(), power);
    for (std::size_t i = 0; i < best.size(); ++i) {
        slower[i] = std::min(i > 0 ? slower[i - 1] : power, best[i].cost);
    }
    for (std::size_t i = 1; i < best.size(); ++i) {
        const double without =
            slower[static_cast<std::size_t>(options_.slower_share * static_cast<double>(i))];
        best[i].evidence = std::max(without - best[i].cost, 0.0);
        best[i].evidence_part = without > 0 ? best[i].evidence / without : 0;
    }
    const auto score = [](const LayerStart& start) { return start.evidence * start.evidence_part; };
    for (std::size_t i = 1; i < best.size(); ++i) {
        if ((i + 1 == best.size() || score(best[i]) > score(best[i + 1])) &&
            score(best[i]) >= score(best[i - 1]) && score(best[i]) > 0) {
            found.starts.push_back(best[i]);
        }
    }
    std::sort(found.starts.begin(), found.starts.end(),
              [&](const LayerStart& x, const LayerStart& y) { return score(x) > score(y); });
    if (found.starts.size() > options_.starts) {
        found.starts.resize(options_.starts);
    }
    return found;
}

}  // namespace echosieve
