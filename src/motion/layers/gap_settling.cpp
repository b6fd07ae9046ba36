#include "motion/layers/gap_settling.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

#include "echosieve/core/detail/whole_number.hpp"
#include "motion/layers/layer_fit.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

using Complex = std::complex<double>;

// A gate's sums over the frames before and after a gap, per bin.
struct Sides {
    std::vector<Eigen::MatrixXcd> gram[2];
    std::vector<Eigen::VectorXcd> projection[2];
    const LayeredGate* layered = nullptr;
    double ridge = 0;
};

Sides sides_of(const LayeredGate& layered, const LayerTimes& times, Eigen::Index gap) {
    Sides out;
    out.layered = &layered;
    const GateSpectrum& gate = layered.gate;
    const auto layers = static_cast<Eigen::Index>(layered.fit.shares.size());
    std::vector<Eigen::ArrayXXcd> phasors;
    for (std::size_t k = 0; k < layered.fit.shares.size(); ++k) {
        phasors.push_back(layer_phasors(gate, times, layered.fit.shares[k]));
        if (k < layered.own_layers) {
            phasors.back() *= layered.own;
        }
    }
    out.ridge = LayerFitOptions{}.ridge * times.weight.sum();
    const Eigen::Index frames = times.pulse.size();
    for (const int side : {0, 1}) {
        const Eigen::Index first = side == 0 ? 0 : gap;
        const Eigen::Index count = side == 0 ? gap : frames - gap;
        const Eigen::ArrayXcd weight = times.weight.segment(first, count).cast<Complex>();
        Eigen::MatrixXcd basis(count, layers);
        for (Eigen::Index j = 0; j < gate.bins(); ++j) {
            for (Eigen::Index k = 0; k < layers; ++k) {
                basis.col(k) =
                    (phasors[static_cast<std::size_t>(k)].col(j).segment(first, count) * weight)
                        .matrix();
            }
            out.gram[side].push_back(basis.adjoint() * basis);  // weights are 0 or 1
            out.projection[side].push_back(basis.adjoint() *
                                           gate.values.col(j).segment(first, count).matrix());
        }
    }
    return out;
}

double explained(const Sides& sides, double pulse, double bulk, double sound_speed) {
    const LayeredGate& layered = *sides.layered;
    const auto layers = static_cast<Eigen::Index>(layered.fit.shares.size());
    double sum = 0;
    Eigen::VectorXcd turn(layers);
    Eigen::MatrixXcd gram(layers, layers);
    Eigen::VectorXcd right(layers);
    for (Eigen::Index j = 0; j < layered.gate.bins(); ++j) {
        const auto at = static_cast<std::size_t>(j);
        const double scale = 2 * std::numbers::pi * layered.gate.frequencies[j] * 2 / sound_speed;
        for (Eigen::Index k = 0; k < layers; ++k) {
            const LayerShare& share = layered.fit.shares[static_cast<std::size_t>(k)];
            turn[k] = std::polar(1.0, scale * (share.pulse * pulse + share.bulk * bulk));
        }
        right = sides.projection[0][at] + turn.cwiseProduct(sides.projection[1][at]);
        gram = sides.gram[0][at] +
               turn.asDiagonal() * sides.gram[1][at] * turn.conjugate().asDiagonal();
        gram.diagonal().array() += sides.ridge;
        sum += right.dot(gram.llt().solve(right)).real();
    }
    return sum * layered.trust / std::max(layered.fit.noise, 1e-300);
}

}  // namespace

void settle_gaps(const std::vector<LayeredGate>& gates, LayerTimes& times,
                 const std::vector<FrameRun>& runs, double half_wavelength,
                 const GapSettlingOptions& options) {
    validate(options);
    std::vector<bool> measured(static_cast<std::size_t>(times.pulse.size()), runs.size() < 2);
    for (const FrameRun& run : runs) {
        std::fill_n(measured.begin() + static_cast<std::ptrdiff_t>(run.first), run.count, true);
    }
    for (std::size_t s = 1; s < runs.size(); ++s) {
        const auto gap = static_cast<Eigen::Index>(runs[s].first);
        std::vector<Sides> sides;
        for (const LayeredGate& layered : gates) {
            sides.push_back(sides_of(layered, times, gap));
        }
        double best_pulse = 0;
        double best_bulk = 0;
        double most = -1;
        const auto search = [&](double pulse, double bulk, double pulse_step, double bulk_step,
                                long pulse_steps, long bulk_steps) {
            for (long i = -pulse_steps; i <= pulse_steps; ++i) {
                for (long j = -bulk_steps; j <= bulk_steps; ++j) {
                    const double dp = pulse + static_cast<double>(i) * pulse_step;
                    const double dq = bulk + static_cast<double>(j) * bulk_step;
                    double sum = 0;
                    for (const Sides& gate : sides) {
                        sum += explained(gate, dp, dq, times.sound_speed);
                    }
                    if (sum > most) {
                        most = sum;
                        best_pulse = dp;
                        best_bulk = dq;
                    }
                }
            }
        };
        double pulse_step = options.pulse_step;
        double bulk_step = half_wavelength / options.steps_a_half_wave;
        search(0, 0, pulse_step, bulk_step,
               held_whole(std::round(options.pulse_reach / pulse_step), 0L, most_counted),
               held_whole(std::round(options.half_waves * options.steps_a_half_wave), 0L,
                          most_counted));
        for (int k = 0; k < 3; ++k) {
            pulse_step /= 3;
            bulk_step /= 3;
            search(best_pulse, best_bulk, pulse_step, bulk_step, 3, 3);
        }
        times.pulse.tail(times.pulse.size() - gap) += best_pulse;
        times.bulk.tail(times.bulk.size() - gap) += best_bulk;
    }
    if (runs.size() > 1) {
        bridge(times.pulse, measured);
        bridge(times.bulk, measured);
        times.pulse -= times.pulse.mean();
        times.bulk -= times.bulk.mean();
    }
}

}  // namespace echosieve
