#include "echosieve/motion/wall_separation.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
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

// C of the header: what the wall's strain changes in its gate's values.
Eigen::ArrayXXcd strain_correction(const SeparatedWall& wall, const LayerTimes& times,
                                   const RecordingSettings& settings, double reach) {
    const GateSpectrum& gate = wall.layered.gate;
    const Eigen::ArrayXXcd rest = wall.layered.fit.spectra.row(0);
    const Eigen::ArrayXXcd waveform = gate_samples(gate, rest);
    const auto count = static_cast<Eigen::Index>(gate.grid.count);
    const double scale =
        -2 * std::numbers::pi * settings.sensor.centre_frequency * 2 / settings.sound_speed;
    Eigen::ArrayXXcd strained(times.pulse.size(), count);
    for (Eigen::Index n = 0; n < count; ++n) {
        const double time = gate.grid.time(static_cast<double>(n));
        const double offset = std::clamp(settings.depth(time) - wall.depth, -reach, reach);
        const double turn = scale * wall.slope * offset;
        for (Eigen::Index i = 0; i < strained.rows(); ++i) {
            const double angle = turn * times.pulse[i];
            strained(i, n) =
                waveform(0, n) * std::complex<double>(std::cos(angle) - 1, std::sin(angle));
        }
    }
    return layer_phasors(gate, times, wall.layered.fit.shares[0]) * gate_spectra(gate, strained);
}

// Layers and strain correction in turn.
void fit_strained(SeparatedWall& wall, const LayerTimes& times, const RecordingSettings& settings,
                  double reach, int alternations) {
    for (int k = 0; k < alternations; ++k) {
        if (wall.slope != 0 && wall.layered.fit.spectra.size() > 0) {
            wall.layered.gate.values =
                wall.measured - strain_correction(wall, times, settings, reach);
        }
        wall.layered.fit =
            fit_layers(wall.layered.gate, times, wall.layered.fit.shares, {.iterations = 3});
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
        update_motion(gates, times, options, frame_rate);
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
    SeparatedWalls walls =
        separate_walls(line, *pair, std::move(times), std::move(tissue), options);
    // What looked like two walls may not, once it is taken apart.
    const double near = -walls.near.layered.fit.shares[0].pulse;
    const double far = walls.far.layered.fit.shares[0].pulse;
    const bool apart =
        std::min(near, far) >= finder.smallest_motion && near + far >= finder.smallest_distension;
    return apart ? std::optional(std::move(walls)) : std::nullopt;
}

namespace {

// Two tissue layers for one: a little slower and a little faster than it.
std::array<LayerShare, 2> divided(const LayerShare& tissue) {
    return {LayerShare{0.7 * tissue.pulse, tissue.bulk - 0.02},
            LayerShare{1.3 * tissue.pulse, tissue.bulk + 0.02}};
}

// From two layers to three, the gate moving along with the wall and centred on the layer followed.
// The depth of that layer is known only from the separated wall, so this is done twice.
void place_wall(SeparatedWall& wall, const LineHistory& line, const LayerTimes& times,
                const WallSeparationOptions& options) {
    constexpr double margin = 0.2e-3;  // while the gate's place is not yet sure [m]
    const RecordingSettings& settings = line.settings;
    LayeredGate& layered = wall.layered;
    const auto profile = [&] {
        return energy_profile(layered.gate, layered.fit.spectra.row(0).transpose(), settings);
    };
    const auto moved_gate = [&](double depth, double half_gate) {
        const LayerShare& share = layered.fit.shares[0];
        return gate_spectrum(line, depth, half_gate,
                             share.pulse * times.pulse + share.bulk * times.bulk);
    };
    const double half_gate = wall_half_gate(settings.sensor);
    put_fastest_first(layered.fit, layered.gate, times, wall.sense);
    const EnergyProfile first = profile();
    Eigen::Index peak = 0;
    first.energy.maxCoeff(&peak);
    const double start = first.depths[peak];
    wall.depth = start;
    for (const double widened : {margin, 0.0}) {
        layered.gate = moved_gate(wall.depth, half_gate + widened);
        layered.fit =
            fit_layers(layered.gate, times, {layered.fit.shares[0], layered.fit.shares[1]});
        put_fastest_first(layered.fit, layered.gate, times, wall.sense);
        const auto [slower, faster] = divided(layered.fit.shares[1]);
        layered.fit = fit_layers(layered.gate, times, {layered.fit.shares[0], slower, faster});
        put_fastest_first(layered.fit, layered.gate, times, wall.sense);
        keep_tissue_slow(wall, times, options.largest_tissue_share);
        wall.depth =
            reference_layer_depth(profile(), wall.sense, start, settings, options.reference);
    }
    layered.gate = moved_gate(wall.depth, half_gate);
    wall.measured = layered.gate.values;
    layered.fit = fit_layers(layered.gate, times, layered.fit.shares);
}

// Both walls strain alike: by how much their shares differ over the diameter.
void set_slopes(SeparatedWalls& walls, double strain) {
    const double widening =
        walls.far.layered.fit.shares[0].pulse - walls.near.layered.fit.shares[0].pulse;
    walls.near.slope = -strain * widening / (walls.far.depth - walls.near.depth);
    walls.far.slope = walls.near.slope;
}

}  // namespace

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
    // The walls' gates are the last two in the joint fits, and by themselves in between.
    const auto take_walls = [&] {
        out.far.layered = std::move(gates.back());
        gates.pop_back();
        out.near.layered = std::move(gates.back());
        gates.pop_back();
    };
    take_walls();
    out.near.sense = -1;
    place_wall(out.near, line, times, options);
    place_wall(out.far, line, times, options);
    for (LayeredGate& g : gates) {
        const auto [slower, faster] = divided(g.fit.shares[0]);
        g.fit = fit_layers(g.gate, times, {slower, faster});
    }
    const auto fit_walls = [&](int alternations) {
        set_slopes(out, options.wall_strain);
        for (SeparatedWall* wall : {&out.near, &out.far}) {
            fit_strained(*wall, times, settings, options.strained_reach, alternations);
            put_fastest_first(wall->layered.fit, wall->layered.gate, times, wall->sense);
            keep_tissue_slow(*wall, times, options.largest_tissue_share);
        }
    };
    for (int round = 0; round < options.rounds; ++round) {
        fit_walls(round == 0 ? 4 : 2);
        for (LayeredGate& g : gates) {
            g.fit = fit_layers(g.gate, times, g.fit.shares, {.iterations = 3});
        }
        gates.push_back(std::move(out.near.layered));
        gates.push_back(std::move(out.far.layered));
        update_motion(gates, times, options.fine, rate);
        take_walls();
    }
    fit_walls(2);
    out.times = std::move(times);
    out.tissue = std::move(gates);
    return out;
}

}  // namespace echosieve
