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
#include "motion/line/grid_search.hpp"
#include "motion/line/numbers.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

using Complex = std::complex<double>;

constexpr int finer_grids =
    3;  // a 27th of the first steps: some micrometres, held to one by the fits after it

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
    out.ridge = layer_ridge * times.weight.sum();
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
    return sum * layered.trust / std::max(layered.fit.noise, least_divisor);
}

// (dp, dq) that explain most.
Eigen::Vector2d moved_over(const std::vector<Sides>& sides, double sound_speed,
                           double half_wavelength, const GapSettlingOptions& options) {
    const auto all_explained = [&](double pulse, double bulk) {
        double sum = 0;
        for (const Sides& gate : sides) {
            sum += explained(gate, pulse, bulk, sound_speed);
        }
        return sum;
    };
    const auto steps = [](double reach) { return held_whole(std::round(reach), 0L, most_counted); };
    double pulse_step = options.pulse_step;
    double bulk_step = half_wavelength / options.steps_a_half_wave;
    BestPlace best;
    best.look_about(steps_about(pulse_step, steps(options.pulse_reach / pulse_step)),
                    steps_about(bulk_step, steps(options.half_waves * options.steps_a_half_wave)),
                    all_explained);
    for (int k = 0; k < finer_grids; ++k) {
        pulse_step /= refined_steps;
        bulk_step /= refined_steps;
        best.look_about(steps_about(pulse_step, refined_steps),
                        steps_about(bulk_step, refined_steps), all_explained);
    }
    return {best.x, best.y};
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
        const std::vector<LayerTimes> seen = times.by_line();
        for (const LayeredGate& layered : gates) {
            sides.push_back(sides_of(layered, seen[layered.line], gap));
        }
        const Eigen::Vector2d moved =
            moved_over(sides, times.sound_speed, half_wavelength, options);
        times.pulse.tail(times.pulse.size() - gap) += moved[0];
        times.bulk.tail(times.bulk.size() - gap) += moved[1];
    }
    if (runs.size() > 1) {
        bridge(times.pulse, measured);
        bridge(times.bulk, measured);
        times.pulse -= times.pulse.mean();
        times.bulk -= times.bulk.mean();
    }
}

}  // namespace echosieve
