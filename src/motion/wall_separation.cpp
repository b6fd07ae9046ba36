#include "echosieve/motion/wall_separation.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <optional>
#include <utility>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion.hpp"
#include "echosieve/motion/joint_motion.hpp"
#include "echosieve/motion/layers.hpp"
#include "echosieve/motion/line.hpp"
#include "echosieve/motion/reference_layer.hpp"
#include "echosieve/motion/wall_finder.hpp"

namespace echosieve {

namespace {

Eigen::ArrayXXcd strain_correction(const SeparatedWall& wall, const LayerTimes& times,
                                   const RecordingSettings& settings, double reach) {
    const GateSpectrum& gate = wall.layered.gate;
    const Eigen::ArrayXXcd rest = wall.layered.fit.spectra.row(0);
    const Eigen::ArrayXXcd waveform = gate_samples(gate, rest);
    const auto count = static_cast<Eigen::Index>(gate.grid.count);
    const double scale =
        -2 * std::numbers::pi * settings.sensor.centre_frequency * 2 / settings.sound_speed;
    Eigen::MatrixXcd strained(times.pulse.size(), count);
    Eigen::MatrixXcd transform(count, gate.bins());
    for (Eigen::Index n = 0; n < count; ++n) {
        const double time = gate.grid.time(static_cast<double>(n));
        const double offset = std::clamp(settings.depth(time) - wall.depth, -reach, reach);
        const double turn = scale * wall.slope * offset;
        for (Eigen::Index i = 0; i < strained.rows(); ++i) {
            const double angle = turn * times.pulse[i];
            strained(i, n) =
                waveform(0, n) * std::complex<double>(std::cos(angle) - 1, std::sin(angle));
        }
        for (Eigen::Index j = 0; j < gate.bins(); ++j) {
            const double f = gate.frequencies[j] - gate.grid.mixing_frequency;
            transform(n, j) =
                std::polar(1 / std::sqrt(static_cast<double>(count)),
                           -2 * std::numbers::pi * f * static_cast<double>(n) * gate.grid.step());
        }
    }
    return layer_phasors(gate, times, wall.layered.fit.shares[0]) * (strained * transform).array();
}

void fit_strained(SeparatedWall& wall, const LayerTimes& times, const RecordingSettings& settings,
                  double reach, int alternations, int iterations) {
    LayerFitOptions options;
    options.iterations = iterations;
    for (int k = 0; k < alternations; ++k) {
        if (wall.slope != 0 && wall.layered.fit.spectra.size() > 0) {
            wall.layered.gate.values =
                wall.measured - strain_correction(wall, times, settings, reach);
        }
        wall.layered.fit = fit_layers(wall.layered.gate, times, wall.layered.fit.shares, options);
    }
}

// A tissue layer that moves like the wall has eaten a part of it: back to one tissue layer.
void keep_tissue_slow(SeparatedWall& wall, const LayerTimes& times, double limit) {
    auto& shares = wall.layered.fit.shares;
    const double a = shares[0].pulse;
    const auto fast = [&](const LayerShare& s) { return s.pulse / a > limit; };
    if (shares.size() > 2 && std::any_of(shares.begin() + 1, shares.end(), fast)) {
        const auto slowest = std::min_element(
            shares.begin() + 1, shares.end(),
            [&](const auto& x, const auto& y) { return x.pulse / a < y.pulse / a; });
        wall.layered.fit = fit_layers(wall.layered.gate, times, {shares[0], *slowest});
    }
}

}  // namespace

std::vector<LayeredGate> tissue_gates(const LineHistory& line, const CommonMotion& motion,
                                      const LayerTimes& times,
                                      const WallSeparationOptions& options) {
    std::vector<LayeredGate> gates;
    const double first = motion.depths[0];
    const double last = line.last_depth() - options.tissue_half_gate;
    for (double z = first; z <= last; z += options.tissue_spacing) {
        Eigen::Index nearest = 0;
        (motion.depths - z).abs().minCoeff(&nearest);
        LayeredGate layered{gate_spectrum(line, z, options.tissue_half_gate, 1.0), {}, 1};
        layered.fit = fit_layers(layered.gate, times,
                                 {{motion.pulse_share[nearest], motion.bulk_share[nearest]}},
                                 {.iterations = 3});
        gates.push_back(std::move(layered));
    }
    return gates;
}

void fit_jointly(std::vector<LayeredGate>& gates, LayerTimes& times, int rounds,
                 const JointMotionOptions& options, double frame_rate) {
    for (int round = 0; round < rounds; ++round) {
        for (LayeredGate& layered : gates) {
            layered.fit = fit_layers(layered.gate, times, layered.fit.shares, {.iterations = 3});
        }
        set_trust(gates);
        step_motion(gates, times, options, frame_rate);
        regauge(gates, times, options.slow_frequency, frame_rate);
    }
}

namespace {

// The common motion as the joint fit of the tissue gates has it.
void adopt(CommonMotion& motion, const std::vector<LayeredGate>& gates, const LayerTimes& times) {
    const auto count = static_cast<Eigen::Index>(gates.size());
    motion.pulse = times.pulse;
    motion.bulk = times.bulk;
    motion.depths.resize(count);
    motion.pulse_share.resize(count);
    motion.bulk_share.resize(count);
    motion.weight.resize(count);
    for (Eigen::Index g = 0; g < count; ++g) {
        const LayeredGate& layered = gates[static_cast<std::size_t>(g)];
        motion.depths[g] = layered.gate.depth;
        motion.pulse_share[g] = layered.fit.shares[0].pulse;
        motion.bulk_share[g] = layered.fit.shares[0].bulk;
        motion.weight[g] = layered.trust;
    }
    fit_bulk_line(motion);
}

}  // namespace

std::optional<SeparatedWalls> find_and_separate_walls(const LineHistory& line, CommonMotion motion,
                                                      const WallFinderOptions& finder,
                                                      const WallSeparationOptions& options) {
    validate(options);
    LayerTimes times{motion.pulse, motion.bulk, line.weights(), line.settings.sound_speed};
    std::vector<LayeredGate> tissue = tissue_gates(line, motion, times, options);
    if (tissue.size() < 3) {
        return std::nullopt;
    }
    fit_jointly(tissue, times, options.rounds, options.coarse, line.settings.frame_rate);
    adopt(motion, tissue, times);
    const std::optional<WallPair> pair = find_walls(line, motion, finder);
    if (!pair) {
        return std::nullopt;
    }
    times.pulse *= pair->pulse_sign;
    for (LayeredGate& layered : tissue) {
        for (LayerShare& share : layered.fit.shares) {
            share.pulse *= pair->pulse_sign;
        }
    }
    return separate_walls(line, *pair, std::move(times), std::move(tissue), options);
}

SeparatedWalls separate_walls(const LineHistory& line, const WallPair& pair, LayerTimes times,
                              std::vector<LayeredGate> tissue,
                              const WallSeparationOptions& options) {
    const RecordingSettings& settings = line.settings;
    const double rate = settings.frame_rate;
    std::erase_if(tissue, [&](const LayeredGate& g) {
        return std::abs(g.gate.depth - pair.near.depth) < options.wall_distance ||
               std::abs(g.gate.depth - pair.far.depth) < options.wall_distance;
    });
    // Two layers a wall.
    std::vector<LayeredGate> gates = std::move(tissue);
    gates.push_back({pair.near.gate, pair.near.fit, 1});
    gates.push_back({pair.far.gate, pair.far.fit, 1});
    fit_jointly(gates, times, options.rounds, options.coarse, rate);
    for (LayeredGate& layered : gates) {
        layered.fit = fit_layers(layered.gate, times, layered.fit.shares, {.iterations = 3});
    }
    SeparatedWalls out;
    out.far.layered = std::move(gates.back());
    gates.pop_back();
    out.near.layered = std::move(gates.back());
    gates.pop_back();
    out.near.sense = -1;
    // Three layers a wall, the wall strained, its gate on the layer that is followed.
    const auto path_of = [&](const LayerShare& share) -> Eigen::ArrayXd {
        return Eigen::ArrayXd(share.pulse * times.pulse + share.bulk * times.bulk);
    };
    const auto place = [&](SeparatedWall& wall) {
        const EnergyProfile profile = energy_profile(
            wall.layered.gate, wall.layered.fit.spectra.row(0).transpose(), settings);
        Eigen::Index peak = 0;
        profile.energy.maxCoeff(&peak);
        double start = profile.depths[peak];
        double gate_depth = start;
        for (int pass = 0; pass < 2; ++pass) {
            std::vector<LayerShare> shares = wall.layered.fit.shares;
            wall.layered.gate = gate_spectrum(
                line, gate_depth, wall_half_gate(settings.sensor) + (pass == 0 ? 0.2e-3 : 0),
                path_of(shares[0]));
            wall.layered.fit = fit_layers(wall.layered.gate, times, {shares[0], shares[1]});
            shares = wall.layered.fit.shares;
            wall.layered.fit = fit_layers(wall.layered.gate, times,
                                          {shares[0],
                                           {0.7 * shares[1].pulse, shares[1].bulk - 0.02},
                                           {1.3 * shares[1].pulse, shares[1].bulk + 0.02}});
            keep_tissue_slow(wall, times, options.largest_tissue_share);
            wall.depth = reference_layer_depth(
                energy_profile(wall.layered.gate, wall.layered.fit.spectra.row(0).transpose(),
                               settings),
                wall.sense, start, settings, options.reference);
            gate_depth = wall.depth;
        }
        wall.layered.gate = gate_spectrum(line, wall.depth, wall_half_gate(settings.sensor),
                                          path_of(wall.layered.fit.shares[0]));
        wall.measured = wall.layered.gate.values;
        wall.layered.fit = fit_layers(wall.layered.gate, times, wall.layered.fit.shares);
    };
    place(out.near);
    place(out.far);
    const auto set_slopes = [&] {
        const double slope =
            -options.wall_strain *
            (out.far.layered.fit.shares[0].pulse - out.near.layered.fit.shares[0].pulse) /
            (out.far.depth - out.near.depth);
        out.near.slope = out.far.slope = slope;
    };
    for (LayeredGate& g : gates) {
        const LayerShare t = g.fit.shares[0];
        g.fit = fit_layers(g.gate, times,
                           {{0.7 * t.pulse, t.bulk - 0.02}, {1.3 * t.pulse, t.bulk + 0.02}});
    }
    for (int round = 0; round < options.rounds; ++round) {
        set_slopes();
        for (SeparatedWall* wall : {&out.near, &out.far}) {
            fit_strained(*wall, times, settings, options.strained_reach, round == 0 ? 4 : 2, 3);
            keep_tissue_slow(*wall, times, options.largest_tissue_share);
        }
        for (LayeredGate& g : gates) {
            g.fit = fit_layers(g.gate, times, g.fit.shares, {.iterations = 3});
        }
        gates.push_back(std::move(out.near.layered));
        gates.push_back(std::move(out.far.layered));
        set_trust(gates);
        step_motion(gates, times, options.fine, rate);
        regauge(gates, times, options.fine.slow_frequency, rate);
        out.far.layered = std::move(gates.back());
        gates.pop_back();
        out.near.layered = std::move(gates.back());
        gates.pop_back();
    }
    set_slopes();
    for (SeparatedWall* wall : {&out.near, &out.far}) {
        fit_strained(*wall, times, settings, options.strained_reach, 2, 3);
        keep_tissue_slow(*wall, times, options.largest_tissue_share);
    }
    out.times = std::move(times);
    out.tissue = std::move(gates);
    return out;
}

}  // namespace echosieve
