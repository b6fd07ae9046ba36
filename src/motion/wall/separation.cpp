#include "motion/wall/separation.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <optional>
#include <utility>
#include <vector>

#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/layers/gap_settling.hpp"
#include "motion/layers/group_means.hpp"
#include "motion/layers/joint_motion.hpp"
#include "motion/layers/layer_fit.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/line.hpp"
#include "motion/line/slow_time.hpp"
#include "motion/wall/finder.hpp"
#include "motion/wall/fit.hpp"
#include "motion/wall/model.hpp"
#include "motion/wall/own_motion.hpp"
#include "motion/wall/reference_layer.hpp"
#include "motion/wall/tissue_lag.hpp"

namespace echosieve {

GateSpectrum wall_gate(const LineHistory& line, const WallState& wall, const LayerTimes& times,
                       double half_gate) {
    return gate_spectrum(line, wall.depth, half_gate,
                         wall.sense * wall.share * times.pulse + wall.bulk * times.bulk);
}

namespace {

// Two tissue layers for one: a little slower and a little faster than it.
std::array<LayerShare, 2> divided(const LayerShare& tissue) {
    return {LayerShare{0.7 * tissue.pulse, tissue.bulk - 0.02},
            LayerShare{1.3 * tissue.pulse, tissue.bulk + 0.02}};
}

constexpr double fastest_drift = 1.5;  // [Hz]
constexpr int cycle_steps = 8;         // of the bulk share, a half wavelength
constexpr int most_cycle_steps = 100;  // either way
constexpr int most_offsets = 200;      // of a wall's depth, either way
constexpr double smallest_bulk_step = 0.02;
constexpr double least_cycle_evidence = 30;
constexpr int drift_steps = 5;            // a 12th of a half wavelength each, over the recording
constexpr double smallest_radius = 1e-3;  // [m]

// The line's bulk share where the wall was found.
double motion_bulk(const WallPair& pair, const SeparatedWall& wall) {
    return wall.state.sense < 0 ? pair.near.bulk : pair.far.bulk;
}

// What is left of a motion of mean 0 once its share of the pulse is taken off.
Eigen::ArrayXd without_pulse(const Eigen::ArrayXd& own, const LayerTimes& times) {
    const Eigen::ArrayXd p = times.pulse - times.pulse.mean();
    return own - (own * p).sum() / std::max(p.square().sum(), 1e-300) * p;
}

// Takes a wall's gate apart where the wall is thought to be, and says better where it is.
class WallTaker {
public:
    WallTaker(const LineHistory& line, const WallSeparationOptions& options)
        : line_(line), options_(options) {}

    [[nodiscard]] GateSpectrum gate(const WallState& state, const LayerTimes& times,
                                    double half_gate) const {
        return wall_gate(line_, state, times, half_gate);
    }

    // Wall and two layers of tissue, from several starts.
    void take_three_layers(SeparatedWall& wall, const LayerTimes& times, double half_gate) const {
        WallState& state = wall.state;
        wall.layered.gate = gate(state, times, half_gate);
        // Three layers, since tissue both beside and outside the vessel may lie on the wall; from
        // many starts, on averaged frames.
        const FrameGroups groups =
            quiet_groups(times, group_limits(state, line_.settings, options_.model));
        GateSpectrum coarse = wall.layered.gate;
        coarse.values = group_means(wall.layered.gate, times,
                                    {state.sense * 0.5 * state.share, state.tissue}, groups);
        const LayerTimes coarse_times = group_means(times, groups);
        std::optional<LayerFit> best;
        for (const double part : {0.45, 0.65, 0.85, 1.1}) {
            for (const double tissue : {0.4, 0.7}) {
                for (const double bulk : {-0.1, 0.1, 0.3}) {
                    const double a = state.sense * part * state.share;
                    LayerFit fit =
                        fit_layers(coarse, coarse_times, {{a, bulk}, {tissue * a, 0}, {0.1 * a, 0}},
                                   {.rest = false});
                    put_fastest_first(fit, coarse, coarse_times, state.sense);
                    const double ratio = state.sense * fit.shares[0].pulse / state.share;
                    if (ratio > 0.33 && ratio < 1.4 &&
                        std::abs(fit.shares[0].bulk) < options_.bulk_reach &&
                        (!best || fit.cost < best->cost)) {
                        best = std::move(fit);
                    }
                }
            }
        }
        const double a = state.sense * 0.9 * state.share;
        std::vector<LayerShare> shares = {{a, 0}, {0.55 * a, 0}, {0.1 * a, 0}};
        if (best) {
            shares = best->shares;
        }
        for (LayerShare& share : shares) {
            share.bulk += state.tissue;
        }
        wall.layered.fit =
            fit_layers(wall.layered.gate, times, shares, {.iterations = best ? 3 : 0});
        put_fastest_first(wall.layered.fit, wall.layered.gate, times, state.sense);
        wall.wall_layers = 1;
        wall.reference = 0;
    }

    void take(SeparatedWall& wall, const LayerTimes& times, double half_gate,
              const LikelihoodGrid& search) const {
        WallState& state = wall.state;
        const GateSpectrum moved = gate(state, times, half_gate);
        WallModel model(moved, times, state,
                        largest_layer(state, std::max(1.0, search.highest_ratio)), line_.settings,
                        options_.model);
        double noise = 0.05 * model.power();
        state = likeliest_wall(model, state, search, options_.model, noise);
        const WallModel::Layers layers = model.layers(state, noise);
        wall.layered.gate = moved;
        wall.layered.fit = layered_fit(moved, times, layers, state.own);
        wall.wall_layers = layers.wall_layers;
        wall.reference = layers.reference;
        wall.layered.own_layers = state.own.size() > 0 ? layers.wall_layers : 0;
        if (state.own.size() > 0) {
            wall.layered.own = own_phasors(moved, times, state.own);
        }
        WallState without = state;
        without.prior.wall_power = 1e-9;
        wall.evidence = model.evidence(state, noise) - model.evidence(without, noise);
        wall.mean_evidence = wall.evidence / model.values();
    }

    // What the wall does slowly by itself, such as tissue slipping past it: by the phase of its
    // isolated echoes, which may turn further than a cycle; kept if it makes the gate more likely.
    void drift(SeparatedWall& wall, const LayerTimes& times) const {
        const double rate = line_.settings.frame_rate;
        const Eigen::ArrayXcd product = echo_products(wall, times) * times.weight;
        const Eigen::ArrayXcd smooth =
            gaussian_smooth<std::complex<double>>(product, gaussian_sigma(fastest_drift, rate));
        Eigen::ArrayXd own = -unwrapped_phase(smooth) /
                             line_.phase_per_metre(line_.settings.sensor.centre_frequency);
        if (wall.state.own.size() > 0) {
            own += wall.state.own;
        }
        own = without_pulse(own - own.mean(), times);
        WallState trial = wall.state;
        trial.own = own;
        if (evidence_of(wall, trial, times) > evidence_of(wall, wall.state, times)) {
            wall.state.own = own;
        }
    }

    // The steady drift of the wall past the tissue that is most likely, where a step from rest
    // would end in the wrong cycle of the carrier.
    void settle_drift(SeparatedWall& wall, const LayerTimes& times) const {
        const WallState state = wall.state;
        const Eigen::Index frames = times.pulse.size();
        const Eigen::ArrayXd ramp =
            without_pulse(Eigen::ArrayXd::LinSpaced(frames, -0.5, 0.5), times);
        const double step = line_.half_wavelength() / 12;
        double best = -std::numeric_limits<double>::infinity();
        for (int k = -drift_steps - 1; k <= drift_steps; ++k) {
            WallState trial = state;
            if (k >= -drift_steps) {
                trial.own = k == 0 ? Eigen::ArrayXd() : Eigen::ArrayXd(k * step * ramp);
            }
            WallModel model(wall.layered.gate, times, trial, largest_layer(state, 1.25),
                            line_.settings, options_.model);
            const double noise = noise_of(model, wall.layered, options_.model, 0.5);
            for (const double ratio : {0.8, 1.0, 1.25}) {
                trial.share = ratio * state.share;
                const double evidence = model.evidence(trial, noise);
                if (evidence > best) {
                    best = evidence;
                    wall.state.own = trial.own;
                }
            }
        }
    }

    // The bulk share, together with the share, that is most likely of all within reach: a step from
    // where the wall is now may end in the wrong cycle of the carrier. What it does by itself may
    // have followed that.
    void settle_cycle(SeparatedWall& wall, const LayerTimes& times) const {
        const WallState state = wall.state;
        const double range = quantile(times.bulk, 0.95) - quantile(times.bulk, 0.05);
        const double step = std::max(line_.half_wavelength() / cycle_steps / std::max(range, 1e-12),
                                     smallest_bulk_step);
        const int steps = held_whole(std::floor(options_.bulk_reach / step), 0, most_cycle_steps);
        double best = -std::numeric_limits<double>::infinity();
        WallState likeliest = state;
        const auto judge = [&](WallState trial, double lowest, double highest) {
            WallModel model(wall.layered.gate, times, trial,
                            largest_layer(state, std::max(highest, 1.6)), line_.settings,
                            options_.model);
            const double noise = noise_of(model, wall.layered, options_.model);
            const double by = std::min(0.25 * state.share, line_.half_wavelength() / 6);
            for (double share = lowest * state.share; share <= highest * state.share; share += by) {
                trial.share = share;
                const double evidence = model.evidence(trial, noise);
                if (evidence > best) {
                    best = evidence;
                    likeliest = trial;
                }
            }
        };
        judge(state, 1, 1);
        const double here = best;
        judge(state, 0.4, 3.2);
        for (int k = -steps; k <= steps; ++k) {
            WallState trial = state;
            trial.bulk = state.tissue + k * step;
            judge(trial, 0.4, 1.6);
            if (state.own.size() > 0) {
                trial.own = Eigen::ArrayXd();
                judge(trial, 0.4, 1.6);
            }
        }
        if (best > here + least_cycle_evidence) {  // less is no other cycle
            wall.state = likeliest;
            wall.other_cycle = true;
        }
    }

    // Moves the wall's depth to the layer meant, its share along its strain.
    void refer(SeparatedWall& wall, double start) const {
        WallState& state = wall.state;
        const EnergyProfile profile =
            energy_profile(wall.layered.gate, wall.spectrum(), line_.settings);
        const double depth =
            reference_layer_depth(profile, state.sense, start, line_.settings, options_.reference);
        const double inwards = state.sense * (state.depth - depth);
        const double radius = std::max(state.radius - inwards, smallest_radius);
        state.share = held_share(
            std::max(state.share + state.prior.strain * state.widening() * inwards / radius,
                     0.5 * state.share));
        state.radius = radius;
        state.depth = depth;
    }

    // A bulk share, the wall's or that of the tissue on it, by a parabola through the evidence for
    // three.
    void settle_bulk(SeparatedWall& wall, const LayerTimes& times, double WallState::*bulk,
                     double step) const {
        const WallState state = wall.state;
        std::array<double, 3> evidence{};
        double noise = 0;  // the same for all three
        for (const int k : {0, -1, 1}) {
            WallState trial = state;
            trial.*bulk += step * k;
            WallModel model(wall.layered.gate, times, trial, largest_layer(state, 1),
                            line_.settings, options_.model);
            if (k == 0) {
                noise = noise_of(model, wall.layered, options_.model);
            }
            evidence[static_cast<std::size_t>(k) + 1] = model.evidence(trial, noise);
        }
        const double slope = (evidence[2] - evidence[0]) / 2;
        const double bend = evidence[2] - 2 * evidence[1] + evidence[0];
        wall.state.*bulk += step * (bend < 0    ? std::clamp(-slope / bend, -2.0, 2.0)
                                    : slope > 0 ? 1.0
                                                : -1.0);
    }

private:
    [[nodiscard]] double evidence_of(const SeparatedWall& wall, const WallState& state,
                                     const LayerTimes& times) const {
        WallModel model(wall.layered.gate, times, state, largest_layer(state, 1), line_.settings,
                        options_.model);
        return model.evidence(state, noise_of(model, wall.layered, options_.model));
    }

    const LineHistory& line_;
    const WallSeparationOptions& options_;
};

}  // namespace

SeparatedWalls separate_walls(const LineHistory& line, const WallPair& pair, LayerTimes times,
                              std::vector<LayeredGate> tissue,
                              const WallSeparationOptions& options) {
    validate(options);
    const RecordingSettings& settings = line.settings;
    const double rate = settings.frame_rate;
    SeparatedWalls out;
    WallTaker taker(line, options);
    const double half_gate = separation_half_gate(settings.sensor);
    const double resolution = settings.sound_speed / 2 / settings.sensor.bandwidth;
    const auto start_state = [&](const WallCandidate& found, double sense) {
        WallState state;
        state.sense = sense;
        state.depth = found.depth;
        state.share = found.share;
        state.bulk = found.bulk;
        state.tissue = found.bulk;
        state.radius = (pair.far.depth - pair.near.depth) / 2;
        return state;
    };
    out.near.state = start_state(pair.near, -1);
    out.far.state = start_state(pair.far, 1);
    std::vector<LayeredGate> gates = std::move(tissue);
    const auto clear_of_walls = [&] {
        std::erase_if(gates, [&](const LayeredGate& g) {
            return std::abs(g.gate.depth - out.near.state.depth) < options.wall_distance ||
                   std::abs(g.gate.depth - out.far.state.depth) < options.wall_distance;
        });
    };
    // The walls' gates are the last two in the joint fits, and by themselves in between.
    const auto with_walls = [&](const auto& fit) {
        gates.push_back(std::move(out.near.layered));
        gates.push_back(std::move(out.far.layered));
        fit();
        out.far.layered = std::move(gates.back());
        gates.pop_back();
        out.near.layered = std::move(gates.back());
        gates.pop_back();
        for (SeparatedWall* wall : {&out.near, &out.far}) {
            const auto& shares = wall->layered.fit.shares;
            // A wall that turned round is none: it is found too small in the end.
            wall->state.share = held_share(wall->state.sense * shares[wall->reference].pulse);
            wall->state.bulk = shares[wall->reference].bulk;
            wall->state.tissue = shares.back().bulk;
        }
    };
    clear_of_walls();
    for (SeparatedWall* wall : {&out.near, &out.far}) {
        taker.take_three_layers(*wall, times, half_gate);
    }
    if (settle_tissue_lag(line, out.near, out.far, times, gates, options.lag, options.model)) {
        for (SeparatedWall* wall : {&out.near, &out.far}) {
            taker.take_three_layers(*wall, times, half_gate);
        }
    }
    with_walls([&] {
        settle_gaps(gates, times, line.runs(), line.half_wavelength(), options.gaps);
        fit_jointly(gates, times, options.rounds, options.coarse, rate);
    });
    LikelihoodGrid wide{.lowest_ratio = 0.75, .highest_ratio = 1.33, .ratios = 11};
    wide.offsets.clear();
    const int steps = held_whole(std::ceil(0.8 * half_gate / (0.25 * resolution)), 0, most_offsets);
    for (int k = -steps; k <= steps; ++k) {
        wide.offsets.push_back(0.25 * resolution * k);
    }
    // Both walls widen alike; what they move by beyond it they move together.
    const auto share_widening = [&] {
        const double mean = (out.near.state.share + out.far.state.share) / 2;
        out.near.state.radial_share = mean;
        out.far.state.radial_share = mean;
    };
    share_widening();
    const LikelihoodGrid close{.lowest_ratio = 0.9, .highest_ratio = 1.12, .ratios = 9};
    for (SeparatedWall* wall : {&out.near, &out.far}) {
        wall->layered.fit =
            fit_layers(wall->layered.gate, times, wall->layered.fit.shares, {.iterations = 3});
        put_fastest_first(wall->layered.fit, wall->layered.gate, times, wall->state.sense);
        wall->state.share = held_share(wall->state.sense * wall->layered.fit.shares[0].pulse);
        wall->state.tissue = motion_bulk(pair, *wall);
        wall->state.bulk =
            std::clamp(wall->layered.fit.shares[0].bulk, wall->state.tissue - options.bulk_reach,
                       wall->state.tissue + options.bulk_reach);
        taker.drift(*wall, times);
        taker.settle_drift(*wall, times);
        wall->state.smallest_share = 0.7 * wall->state.share;
        wall->state.largest_share = 1.4 * wall->state.share;
        taker.take(*wall, times, half_gate + 0.3e-3, wide);
        EnergyProfile profile = energy_profile(wall->layered.gate, wall->spectrum(), settings);
        Eigen::Index peak = 0;
        profile.energy.maxCoeff(&peak);
        const double start = profile.depths[peak];
        taker.refer(*wall, start);
        if (options.search_cycles) {
            taker.settle_cycle(*wall, times);
        }
        wall->state.smallest_share = 0.7 * wall->state.share;
        wall->state.largest_share = 1.4 * wall->state.share;
        taker.take(*wall, times, half_gate + 0.3e-3, wide);
        taker.refer(*wall, start);
        taker.take(*wall, times, half_gate, close);
        taker.refer(*wall, start);
    }
    for (SeparatedWall* wall : {&out.near, &out.far}) {
        wall->state.smallest_share = 0;
        wall->state.largest_share = 0;
    }
    clear_of_walls();
    for (LayeredGate& g : gates) {
        const auto [slower, faster] = divided(g.fit.shares[0]);
        g.fit = fit_layers(g.gate, times.late(), {slower, faster});
    }
    for (int round = 0; round < options.fine_rounds; ++round) {
        share_widening();
        const double radius =
            std::max((out.far.state.depth - out.near.state.depth) / 2, smallest_radius);
        for (SeparatedWall* wall : {&out.near, &out.far}) {
            wall->state.radius = radius;
            taker.settle_bulk(*wall, times, &WallState::bulk, 0.02);
            taker.settle_bulk(*wall, times, &WallState::tissue, 0.04);
            taker.take(*wall, times, half_gate, close);
            taker.drift(*wall, times);
            taker.take(*wall, times, half_gate, close);
        }
        if (round > 0) {
            for (LayeredGate& g : gates) {
                g.fit = fit_layers(g.gate, times.late(), g.fit.shares, {.iterations = 3});
            }
        }
        with_walls([&] { update_motion(gates, times, options.fine, rate); });
    }
    for (SeparatedWall* wall : {&out.near, &out.far}) {
        taker.take(*wall, times, half_gate, close);
    }
    out.times = std::move(times);
    out.tissue = std::move(gates);
    return out;
}

}  // namespace echosieve
