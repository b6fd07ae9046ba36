// Gates of several lines over one artery in the joint fit: their motion at the bound of all of them
// together (layer_limits.hpp), their delays.
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <span>
#include <utility>
#include <vector>

#include "echosieve/motion/layer_limits.hpp"
#include "motion/layers/joint_motion.hpp"
#include "motion/layers/layer_fit.hpp"
#include "motion/line/plain.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;
using test::made_gate;
using test::MadeGate;
using test::rms;

namespace {

constexpr double frame_rate = 25;  // [Hz]
constexpr Eigen::Index frames = 80;
const std::vector<LayerShare> wall_and_tissue = {{-200e-6, 1.02}, {-20e-6, 0.97}};

// Two and a half beats and a breath, each line as long as the others.
LayerTimes beats(std::size_t lines) {
    LayerTimes times{Eigen::ArrayXd(frames), Eigen::ArrayXd(frames), Eigen::ArrayXd::Ones(frames),
                     1540};
    for (Eigen::Index i = 0; i < frames; ++i) {
        const double turn = 2 * std::numbers::pi * static_cast<double>(i) / frame_rate;
        times.pulse[i] = 0.4 * std::sin(0.8 * turn) + 0.15 * std::sin(1.6 * turn + 1);
        times.bulk[i] = 150e-6 * std::sin(0.3 * turn);
    }
    times.pulse -= times.pulse.mean();
    times.bulk -= times.bulk.mean();
    if (lines > 1) {
        times.lines.assign(lines, {times.weight});
    }
    return times;
}

// A wall on tissue in each line, with spectra and noise of its own.
std::vector<MadeGate> made_lines(const LayerTimes& truth, double noise, std::uint64_t seed) {
    std::vector<MadeGate> made;
    for (std::size_t l = 0; l < std::max<std::size_t>(truth.lines.size(), 1); ++l) {
        made.push_back(made_gate(truth.seen_by(l), wall_and_tissue, noise, 1000 * seed + l));
    }
    return made;
}

std::vector<LayeredGate> gates_of(std::vector<MadeGate> made, const LayerTimes& times) {
    std::vector<LayeredGate> gates;
    for (std::size_t l = 0; l < made.size(); ++l) {
        LayeredGate layered;
        layered.gate = std::move(made[l].gate);
        layered.line = l;
        layered.fit = fit_layers(layered.gate, times.seen_by(l), wall_and_tissue);
        gates.push_back(std::move(layered));
    }
    return gates;
}

// Least deviation of the wall's displacement, all lines together, any motion of both layers.
double bound_of(const std::vector<MadeGate>& made, const LayerTimes& truth, double noise) {
    std::vector<LayerSetting> settings;
    for (const MadeGate& one : made) {
        LayerSetting setting;
        setting.frequencies = vector_of(one.gate.frequencies);
        setting.noise = 2 * noise * noise;
        for (std::size_t k = 0; k < wall_and_tissue.size(); ++k) {
            const Eigen::ArrayXd moved =
                wall_and_tissue[k].pulse * truth.pulse + wall_and_tissue[k].bulk * truth.bulk;
            const auto spectrum = one.spectra.row(static_cast<Eigen::Index>(k));
            setting.layers.push_back({{spectrum.begin(), spectrum.end()}, vector_of(moved)});
        }
        settings.push_back(std::move(setting));
    }
    return layer_limits(std::span<const LayerSetting>(settings))[0].rms;
}

// The lines' mean wall, joint fits from a pulse and a bulk motion that are a little off [m].
Eigen::ArrayXd mean_wall(std::vector<MadeGate> made, const LayerTimes& truth) {
    constexpr int rounds = 100;
    constexpr double off = 0.02;
    const JointMotionOptions free{.pulse_cutoff = 1e4, .bulk_cutoff = 1e4};  // any course at all
    LayerTimes times = truth;
    times.pulse += off * times.pulse.square();
    times.bulk *= 1 + off;
    std::vector<LayeredGate> gates = gates_of(std::move(made), times);
    fit_jointly(gates, times, rounds, free, frame_rate);
    refit_shares(gates, times);
    Eigen::ArrayXd sum = Eigen::ArrayXd::Zero(frames);
    for (const LayeredGate& layered : gates) {
        const LayerShare& wall = layered.fit.shares[0];
        sum += wall.pulse * times.pulse + wall.bulk * times.bulk;
    }
    return sum / static_cast<double>(gates.size());
}

// Error over the bound, both over all trials.
double error_over_bound(std::size_t lines, std::size_t trials) {
    constexpr double noise = 0.1;  // 20 dB below each layer, a bin
    const LayerTimes truth = beats(lines);
    const Eigen::ArrayXd wall =
        wall_and_tissue[0].pulse * truth.pulse + wall_and_tissue[0].bulk * truth.bulk;
    double errors = 0, bounds = 0;
    for (std::size_t trial = 0; trial < trials; ++trial) {
        const std::vector<MadeGate> made = made_lines(truth, noise, 7 + trial);
        bounds += std::pow(bound_of(made, truth, noise), 2);
        Eigen::ArrayXd error = mean_wall(made, truth) - wall;
        error -= error.mean();
        errors += error.square().mean();
    }
    MESSAGE(lines << " lines: bound " << 1e6 * std::sqrt(bounds / static_cast<double>(trials))
                  << " um, error " << 1e6 * std::sqrt(errors / static_cast<double>(trials))
                  << " um");
    return std::sqrt(errors / bounds);
}

}  // namespace

TEST_CASE("the wall of one, four and sixteen lines is known to their bound") {
    // 80 frames a trial: 3 % of chance in the error, and the gain's one number a line.
    CHECK(error_over_bound(1, 16) < 1.15);
    CHECK(error_over_bound(4, 8) < 1.15);
    CHECK(error_over_bound(16, 4) < 1.15);
}
