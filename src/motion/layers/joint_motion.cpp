#include "motion/layers/joint_motion.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <utility>
#include <vector>

#include "echosieve/core/error.hpp"
#include "motion/courses/time_courses.hpp"
#include "motion/kernels/motion_sums_kernel.hpp"
#include "motion/layers/layer_fit.hpp"
#include "motion/layers/layers.hpp"
#include "motion/layers/moved_layers.hpp"
#include "motion/layers/smooth_step.hpp"
#include "motion/line/numbers.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

constexpr double least_residual = 1e-12;  // of the median gate: without noise all are trusted alike

}  // namespace

void set_trust(std::vector<LayeredGate>& gates) {
    Eigen::ArrayXd residual(static_cast<Eigen::Index>(gates.size()));
    for (Eigen::Index g = 0; g < residual.size(); ++g) {
        residual[g] = gates[static_cast<std::size_t>(g)].fit.residual();
    }
    const double typical = std::max(median(residual), least_residual);
    for (Eigen::Index g = 0; g < residual.size(); ++g) {
        const double ratio = residual[g] / typical;
        gates[static_cast<std::size_t>(g)].trust = 1 / (1 + ratio * ratio);
    }
}

void regauge(std::vector<LayeredGate>& gates, LayerTimes& times, double slow_frequency,
             double frame_rate) {
    if (times.lag != 0) {
        return;  // pulse and bulk motion of the tissue could be mixed, those of the walls not
    }
    const auto split = split_courses(times.pulse, times.bulk, slow_frequency, frame_rate);
    if (!split || gates.empty()) {
        return;
    }
    Eigen::Matrix2d mixture = split->mixture;
    Eigen::ArrayXd pulse = split->pulse;
    if ((pulse * times.pulse).sum() < 0) {  // which way the artery widens is known by now
        pulse = -pulse;
        mixture.col(0) *= -1;
    }
    const auto count = static_cast<Eigen::Index>(gates.size());
    Eigen::ArrayXd a(count);
    Eigen::ArrayXd b(count);
    for (Eigen::Index g = 0; g < count; ++g) {
        auto& shares = gates[static_cast<std::size_t>(g)].fit.shares;
        for (LayerShare& share : shares) {
            const Eigen::Vector2d mixed =
                mixture.transpose() * Eigen::Vector2d(share.pulse, share.bulk);
            share = {mixed[0], mixed[1]};
        }
        a[g] = shares.back().pulse;
        b[g] = shares.back().bulk;
    }
    const auto gauge = gauge_of(a, b);
    if (!gauge) {
        return;
    }
    for (LayeredGate& layered : gates) {
        for (LayerShare& share : layered.fit.shares) {
            share.bulk /= gauge->scale;
            share.pulse -= gauge->bulk_per_pulse * share.bulk;
        }
    }
    times.pulse = pulse - pulse.mean();
    times.bulk = gauge->scale * split->bulk + gauge->bulk_per_pulse * pulse;
    times.bulk -= times.bulk.mean();
}

namespace {

// Sums over gates and bins, a row a frame: H_pp, H_pq, H_qq, g_p, g_q.
constexpr Eigen::Index sums_a_frame = 5;

// Adds what each gate says of the step in each frame, line by line.
class MotionSummer {
public:
    explicit MotionSummer(const LayerTimes& times) : times_(times), seen_(times.by_line()) {
        for (const LayerTimes& seen : seen_) {
            late_.push_back(seen.late());
        }
        sums_.assign(seen_.size(), Eigen::ArrayXXd::Zero(times.pulse.size(), sums_a_frame));
    }

    void add(const LayeredGate& layered) { add(layered, sums_[layered.line]); }

    // Of one gate alone.
    [[nodiscard]] Eigen::ArrayXXd sums_of(const LayeredGate& layered) {
        Eigen::ArrayXXd sums = Eigen::ArrayXXd::Zero(times_.pulse.size(), sums_a_frame);
        add(layered, sums);
        return sums.colwise() * seen_[layered.line].weight;
    }

    // Over the usable frames of all lines, each line's as early as p is.
    [[nodiscard]] Eigen::ArrayXXd sums() const {
        Eigen::ArrayXXd total = sums_[0].colwise() * seen_[0].weight;
        make_earlier(total, 0);
        for (std::size_t k = 1; k < sums_.size(); ++k) {
            Eigen::ArrayXXd of_line = sums_[k].colwise() * seen_[k].weight;
            make_earlier(of_line, k);
            total += of_line;
        }
        return total;
    }
    [[nodiscard]] const LayerTimes& seen_by(std::size_t line) const { return seen_[line]; }

private:
    void make_earlier(Eigen::ArrayXXd& sums, std::size_t line) const {
        const double delay = times_.lines.empty() ? 0 : times_.lines[line].delay;
        for (Eigen::Index k = 0; delay != 0 && k < sums.cols(); ++k) {
            sums.col(k) = delayed(sums.col(k), -delay);
        }
    }

    void add(const LayeredGate& layered, Eigen::ArrayXXd& sums) {
        set_slopes(layered);
        kernels::MotionSumTask task{};
        task.moved = walked_layers(delays_, layered.gate, work_);
        task.pulse = reinterpret_cast<const double*>(by_pulse_.data());
        task.bulk = reinterpret_cast<const double*>(by_bulk_.data());
        if (layered.own_layers > 0) {
            task.moved.own = reinterpret_cast<const double*>(layered.own.data());
            task.moved.own_layers = layered.own_layers;
        }
        task.rest = reinterpret_cast<const double*>(layered.fit.rest.data());
        task.weight = layered.trust / std::max(layered.fit.noise, least_divisor);
        task.out = sums.data();
        kernels::sum_motion_of(default_instruction_set())(task);
    }

    // The layers' delays, and J_p, J_q but for the layers' phasors.
    void set_slopes(const LayeredGate& layered) {
        const LayerFit& fit = layered.fit;
        const LayerTimes& seen = (layered.late ? late_ : seen_)[layered.line];
        const Eigen::Index bins = layered.gate.bins();
        const auto layers = static_cast<Eigen::Index>(fit.shares.size());
        delays_.resize(times_.pulse.size(), layers);
        by_pulse_.resize(layers, bins);
        by_bulk_.resize(layers, bins);
        // With a lag the tissue says nothing of p.
        const double pulse_part = layered.late && times_.lag != 0 ? 0 : 1;
        for (Eigen::Index k = 0; k < layers; ++k) {
            const LayerShare& share = fit.shares[static_cast<std::size_t>(k)];
            delays_.col(k) = layer_delays(seen, share);
            for (Eigen::Index j = 0; j < bins; ++j) {
                const std::complex<double> s =
                    std::complex<double>(0, -2 * std::numbers::pi * layered.gate.frequencies[j] *
                                                2 / times_.sound_speed) *
                    fit.spectra(k, j);
                by_pulse_(k, j) = pulse_part * share.pulse * s;
                by_bulk_(k, j) = share.bulk * s;
            }
        }
    }

    const LayerTimes& times_;
    std::vector<LayerTimes> seen_, late_;  // per line
    std::vector<Eigen::ArrayXXd> sums_;
    Eigen::ArrayXXd delays_;               // [frames x layers]
    Eigen::ArrayXXcd by_pulse_, by_bulk_;  // [layers x bins]
    Eigen::ArrayXd work_;
};

}  // namespace

void step_delays(const std::vector<LayeredGate>& gates, LayerTimes& times, double frame_rate) {
    constexpr double usual_delay = 3e-3;  // D: 16 mm along a vessel at 5 m/s [s]
    const std::size_t count = times.lines.size();
    if (count < 2) {
        return;
    }
    MotionSummer summer(times);
    std::vector<Eigen::ArrayXd> slopes, told;
    for (std::size_t l = 0; l < count; ++l) {
        slopes.push_back(slope_of(summer.seen_by(l).pulse));
        told.push_back(without_slow_part(slopes.back(), fastest_own_drift, frame_rate));
    }
    const double prior = 1 / (usual_delay * usual_delay * frame_rate * frame_rate);
    std::vector<double> score(count, 0), information(count, prior);
    for (const LayeredGate& layered : gates) {
        const std::size_t l = layered.line;
        const Eigen::ArrayXXd sums = summer.sums_of(layered);
        score[l] -= (sums.col(3) * told[l]).sum();
        information[l] += (sums.col(0) * told[l] * slopes[l]).sum();
    }
    double mean = 0;
    for (std::size_t l = 0; l < count; ++l) {
        double& delay = times.lines[l].delay;
        delay += (score[l] - prior * delay) / information[l];
        mean += delay / static_cast<double>(count);
    }
    for (LineTimes& line : times.lines) {
        line.delay -= mean;
    }
}

void step_motion(const std::vector<LayeredGate>& gates, LayerTimes& times,
                 const JointMotionOptions& options, double frame_rate) {
    MotionSummer summer(times);
    for (const LayeredGate& layered : gates) {
        summer.add(layered);
    }
    const Eigen::ArrayXXd sums = summer.sums();
    Eigen::ArrayXXd curvature(sums.rows(), 4);
    curvature.col(0) = sums.col(0);
    curvature.col(2) = sums.col(1);
    curvature.col(3) = sums.col(2);
    Eigen::ArrayXXd gradient = sums.rightCols(2);
    const double pulse_curvature = curvature.col(0).mean();
    const double bulk_curvature = curvature.col(3).mean();
    if (!(pulse_curvature > 0) || !(bulk_curvature > 0)) {
        return;
    }
    // In units in which both curvatures are one, for the solver's sake.
    const double p = 1 / std::sqrt(pulse_curvature);
    const double q = 1 / std::sqrt(bulk_curvature);
    curvature.col(0) *= p * p;
    curvature.col(1) = curvature.col(2) * p * q;
    curvature.col(2) *= p * q;
    curvature.col(3) *= q * q;
    gradient.col(0) *= p;
    gradient.col(1) *= q;
    Eigen::ArrayXd penalty(2);
    penalty << roughness_penalty(1, options.pulse_cutoff, frame_rate),
        roughness_penalty(1, options.bulk_cutoff, frame_rate);
    const Eigen::ArrayXXd step = smooth_steps(curvature, gradient, penalty);
    times.pulse += p * step.col(0);
    times.bulk += q * step.col(1);
}

void update_motion(std::vector<LayeredGate>& gates, LayerTimes& times,
                   const JointMotionOptions& options, double frame_rate) {
    set_trust(gates);
    LayerTimes later = times;  // both steps from where the gates' rests are of
    step_delays(gates, later, frame_rate);
    step_motion(gates, times, options, frame_rate);
    times.lines = std::move(later.lines);
    regauge(gates, times, options.slow_frequency, frame_rate);
}

double ridge_of(const LayerTimes& times) noexcept {
    return times.lines.empty() ? layer_ridge
                               : layer_ridge / static_cast<double>(times.lines.size());
}

void refit_shares(std::vector<LayeredGate>& gates, const LayerTimes& times) {
    const std::vector<LayerTimes> seen = times.by_line();
    std::vector<LayerTimes> late;
    for (const LayerTimes& line : seen) {
        late.push_back(line.late());
    }
    for (LayeredGate& layered : gates) {
        layered.fit =
            fit_layers(layered.gate, (layered.late ? late : seen)[layered.line], layered.fit.shares,
                       {.ridge = ridge_of(times), .iterations = refit_steps});
    }
}

void fit_jointly(std::vector<LayeredGate>& gates, LayerTimes& times, int rounds,
                 const JointMotionOptions& options, double frame_rate) {
    for (int round = 0; round < rounds; ++round) {
        refit_shares(gates, times);
        update_motion(gates, times, options, frame_rate);
    }
}

}  // namespace echosieve
