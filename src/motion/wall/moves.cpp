#include "motion/wall/moves.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <limits>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "echosieve/core/detail/whole_number.hpp"
#include "motion/layers/group_means.hpp"
#include "motion/layers/joint_motion.hpp"
#include "motion/layers/layer_fit.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/line.hpp"
#include "motion/line/numbers.hpp"
#include "motion/line/slow_time.hpp"
#include "motion/wall/fit.hpp"
#include "motion/wall/model.hpp"
#include "motion/wall/own_motion.hpp"
#include "motion/wall/reference_layer.hpp"
#include "motion/wall/shared_beliefs.hpp"
#include "motion/wall/stages.hpp"

namespace echosieve {

namespace {

// Three layers: starts of the wall's share as a part of what the finder saw, of the tissue's share
// on it as a part of the wall's, of the wall's b beside the tissue's: the fit has many minima.
constexpr std::array<double, 4> wall_parts = {0.45, 0.65, 0.85, 1.1};
constexpr std::array<double, 2> tissue_parts = {0.4, 0.7};
constexpr std::array<double, 3> bulk_offsets = {-0.1, 0.1, 0.3};
constexpr double outer_tissue = 0.1;  // of the wall's share: tissue beyond the vessel hardly moves
// What a fit may end with, over what the finder saw: a slower layer is tissue, a faster one ran
// away.
constexpr double least_wall_part = 0.33;
constexpr double most_wall_part = 1.4;
// Where no start ends there.
constexpr double likely_wall_part = 0.9;
constexpr double likely_tissue_part = 0.55;
constexpr int polish_steps = 3;  // of Gauss and Newton, from near where they end

// A steady drift: steps of a twelfth of a half wavelength over the recording, five either way; the
// share with it. The layers' rest still holds the drift that is looked for: half of it is noise.
constexpr double ramp_steps_a_half_wave = 12;
constexpr int ramp_steps = 5;
constexpr std::array<double, 3> ramp_shares = {0.8, 1.0, 1.25};
constexpr double ramp_noise = 0.5;

// Bounds of the share while a wall is placed, over what it is: tissue on the wall may look
// likelier.
constexpr double bound_below = 0.7;
constexpr double bound_above = 1.4;

// Taking apart: depths a quarter of the resolution apart, over the gate but for its tapered ends.
constexpr double depth_step = 0.25;
constexpr double depth_reach = 0.8;
constexpr int most_offsets = 200;     // either way
constexpr double first_noise = 0.05;  // of the gate's power, where the search sets out
constexpr double no_wall = 1e-9;      // power of a wall that is none, over the gate's

// Cycles of the carrier: steps of b that turn the echo by an eighth of a cycle over the range of q,
// and the shares that go with each: up to three times the share where b stays, less elsewhere.
constexpr double cycle_steps = 8;
constexpr double smallest_bulk_step = 0.02;
constexpr int most_cycle_steps = 100;    // either way
constexpr double bulk_range_end = 0.05;  // of q: its 5 % to 95 %
constexpr double least_range = 1e-12;    // [m]
constexpr double cycle_lowest = 0.4;
constexpr double cycle_highest = 1.6;
constexpr double cycle_furthest = 3.2;
constexpr double cycle_share_step = 0.25;      // of the share,
constexpr double cycle_steps_a_half_wave = 6;  // or closer
constexpr double least_cycle_evidence = 30;    // over that of where it is: less is no other cycle

// The layer followed.
constexpr double smallest_inner_part = 0.5;  // of the share: strain takes no more off
// A parabola's step, in steps of b: it was drawn through one on either side.
constexpr double longest_parabola = 2;

constexpr double none_yet = -std::numeric_limits<double>::infinity();

// What is left of a motion of mean 0 once its share of the pulse is taken off.
Eigen::ArrayXd without_pulse(const Eigen::ArrayXd& own, const LayerTimes& times) {
    const Eigen::ArrayXd p = times.pulse - times.pulse.mean();
    return own - (own * p).sum() / std::max(p.square().sum(), least_divisor) * p;
}

// A gate and its time courses averaged, the wall's b that of the tissue.
struct CoarseGate {
    GateSpectrum gate;
    LayerTimes times;
};

// The best of all starts' fits that ends where a wall can be; b from the tissue's on.
std::optional<LayerFit> best_three_layers(const CoarseGate& coarse, const WallState& state,
                                          double bulk_reach) {
    std::optional<LayerFit> best;
    const auto fit_from = [&](double a, double tissue, double bulk) {
        LayerFit fit =
            fit_layers(coarse.gate, coarse.times,
                       {{a, bulk}, {tissue * a, 0}, {outer_tissue * a, 0}}, {.rest = false});
        put_fastest_first(fit, coarse.gate, coarse.times, state.sense);
        const double part = state.sense * fit.shares[0].pulse / state.share;
        if (part > least_wall_part && part < most_wall_part &&
            std::abs(fit.shares[0].bulk) < bulk_reach && (!best || fit.cost < best->cost)) {
            best = std::move(fit);
        }
    };
    for (const double part : wall_parts) {
        for (const double tissue : tissue_parts) {
            for (const double bulk : bulk_offsets) {
                fit_from(state.sense * part * state.share, tissue, bulk);
            }
        }
    }
    return best;
}

// Takes a wall's gate apart where the wall is thought to be, and says better where it is.
class WallMover {
public:
    WallMover(const LineHistory& line, const WallSeparationOptions& options)
        : line_(line), options_(options) {}

    void make(const Stage& stage, WallInWork& work, const LayerTimes& times) const {
        SeparatedWall& wall = work.wall;
        switch (stage.move) {
            case Move::three_layers:
                return take_three_layers(wall, times);
            case Move::polish:
                return polish(work, times);
            case Move::drift:
                return drift(wall, times);
            case Move::ramp:
                return settle_ramp(wall, times);
            case Move::bound:
                work.bounds = {bound_below * wall.state.share, bound_above * wall.state.share};
                return;
            case Move::take:
                return take(stage, work, times);
            case Move::anchor:
                work.anchor =
                    energy_profile(wall.layered.gate, wall.spectrum(), line_.settings).peak();
                return;
            case Move::refer:
                return refer(work);
            case Move::cycle:
                return settle_cycle(wall, times);
            case Move::wall_bulk:
                return settle_bulk(wall, times, &WallState::bulk, stage.step);
            case Move::tissue_bulk:
                return settle_bulk(wall, times, &WallState::tissue, stage.step);
            case Move::release:
                work.bounds = {};
                return;
        }
    }

private:
    WallModel model_of(const SeparatedWall& wall, const LayerTimes& times, const WallState& state,
                       double largest_share) const {
        return {wall.layered.gate, times, {state, largest_share}, line_.settings, options_.model};
    }

    double evidence_of(const SeparatedWall& wall, const WallState& state,
                       const LayerTimes& times) const {
        WallModel model = model_of(wall, times, state, largest_layer(state, 1));
        return model.evidence(state, noise_of(model, wall.layered, options_.model));
    }

    // Wall and two layers of tissue, since tissue both beside and outside the vessel may lie on the
    // wall; from many starts, on averaged frames.
    void take_three_layers(SeparatedWall& wall, const LayerTimes& times) const {
        WallState& state = wall.state;
        LayeredGate& layered = wall.layered;
        layered.gate = wall_gate(line_, state, times, separation_half_gate(line_.settings.sensor));
        const FrameGroups groups =
            quiet_groups(times, group_limits(state, line_.settings, options_.model));
        CoarseGate coarse{layered.gate, group_means(times, groups)};
        coarse.gate.values = group_means(layered.gate, times,
                                         {state.sense * 0.5 * state.share, state.tissue}, groups);
        const std::optional<LayerFit> best = best_three_layers(coarse, state, options_.bulk_reach);
        const double a = state.sense * likely_wall_part * state.share;
        std::vector<LayerShare> shares = {
            {a, 0}, {likely_tissue_part * a, 0}, {outer_tissue * a, 0}};
        if (best) {
            shares = best->shares;
        }
        for (LayerShare& share : shares) {
            share.bulk += state.tissue;
        }
        layered.fit =
            fit_layers(layered.gate, times, shares, {.iterations = best ? polish_steps : 0});
        put_fastest_first(layered.fit, layered.gate, times, state.sense);
        wall.wall_layers = 1;
        wall.reference = 0;
    }

    void polish(WallInWork& work, const LayerTimes& times) const {
        WallState& state = work.wall.state;
        LayeredGate& layered = work.wall.layered;
        layered.fit =
            fit_layers(layered.gate, times, layered.fit.shares, {.iterations = polish_steps});
        put_fastest_first(layered.fit, layered.gate, times, state.sense);
        state.share = held_share(state.sense * layered.fit.shares[0].pulse);
        state.tissue = work.line_bulk;
        state.bulk = std::clamp(layered.fit.shares[0].bulk, state.tissue - options_.bulk_reach,
                                state.tissue + options_.bulk_reach);
    }

    // What the wall does slowly by itself, such as tissue slipping past it: by the phase of its
    // isolated echoes, which may turn further than a cycle; kept if it makes the gate more likely.
    void drift(SeparatedWall& wall, const LayerTimes& times) const {
        const Eigen::ArrayXcd product = echo_products(wall, times) * times.weight;
        const Eigen::ArrayXcd smooth = gaussian_smooth<std::complex<double>>(
            product, gaussian_sigma(fastest_own_drift, line_.settings.frame_rate));
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
    void settle_ramp(SeparatedWall& wall, const LayerTimes& times) const {
        const WallState state = wall.state;
        const Eigen::ArrayXd ramp =
            without_pulse(Eigen::ArrayXd::LinSpaced(times.pulse.size(), -0.5, 0.5), times);
        const double step = line_.half_wavelength() / ramp_steps_a_half_wave;
        double best = none_yet;
        const auto judge = [&](WallState trial) {
            WallModel model =
                model_of(wall, times, trial, largest_layer(state, ramp_shares.back()));
            const double noise = noise_of(model, wall.layered, options_.model, ramp_noise);
            for (const double ratio : ramp_shares) {
                trial.share = ratio * state.share;
                const double evidence = model.evidence(trial, noise);
                if (evidence > best) {
                    best = evidence;
                    wall.state.own = trial.own;
                }
            }
        };
        judge(state);  // as it is
        for (int k = -ramp_steps; k <= ramp_steps; ++k) {
            WallState trial = state;
            trial.own = k == 0 ? Eigen::ArrayXd() : Eigen::ArrayXd(k * step * ramp);
            judge(trial);
        }
    }

    LikelihoodGrid grid_of(const Stage& stage, const ShareBounds& bounds) const {
        LikelihoodGrid grid{.shares = stage.shares, .bounds = bounds};
        if (stage.depths) {
            const Sensor& sensor = line_.settings.sensor;
            const double step = depth_step * (line_.settings.sound_speed / 2 / sensor.bandwidth);
            const int steps = held_whole(
                std::ceil(depth_reach * separation_half_gate(sensor) / step), 0, most_offsets);
            grid.offsets.clear();
            for (int k = -steps; k <= steps; ++k) {
                grid.offsets.push_back(step * k);
            }
        }
        return grid;
    }

    void take(const Stage& stage, WallInWork& work, const LayerTimes& times) const {
        SeparatedWall& wall = work.wall;
        WallState& state = wall.state;
        LayeredGate& layered = wall.layered;
        layered.gate = wall_gate(line_, state, times,
                                 separation_half_gate(line_.settings.sensor) + stage.wider);
        const LikelihoodGrid grid = grid_of(stage, work.bounds);
        WallModel model =
            model_of(wall, times, state, largest_layer(state, std::max(1.0, grid.shares.highest)));
        double noise = first_noise * model.power();
        state = likeliest_wall(model, state, grid, options_.model, noise);
        const WallModel::Layers layers = model.layers(state, noise);
        layered.fit = layered_fit(layered.gate, times, layers, state.own);
        wall.wall_layers = layers.wall_layers;
        wall.reference = layers.reference;
        layered.own_layers = 0;
        if (state.own.size() > 0) {
            layered.own_layers = layers.wall_layers;
            layered.own = own_phasors(layered.gate, times, state.own);
        }
        WallState without = state;
        without.prior.wall_power = no_wall;
        wall.evidence = model.evidence(state, noise) - model.evidence(without, noise);
        wall.mean_evidence = wall.evidence / model.values();
    }

    // Moves the wall's depth to the layer meant, its share along its strain.
    void refer(WallInWork& work) const {
        WallState& state = work.wall.state;
        const EnergyProfile profile =
            energy_profile(work.wall.layered.gate, work.wall.spectrum(), line_.settings);
        const double depth = reference_layer_depth(profile, state.sense, work.anchor,
                                                   line_.settings, options_.reference);
        const double inwards = state.sense * (state.depth - depth);
        const double radius = std::max(state.radius - inwards, smallest_radius);
        state.share = held_share(
            std::max(state.share + state.prior.strain * state.widening() * inwards / radius,
                     smallest_inner_part * state.share));
        state.radius = radius;
        state.depth = depth;
    }

    // The bulk share, together with the share, that is most likely of all within reach: a step from
    // where the wall is now may end in the wrong cycle of the carrier. What it does by itself may
    // have followed that.
    void settle_cycle(SeparatedWall& wall, const LayerTimes& times) const {
        if (!options_.search_cycles) {
            return;
        }
        const WallState state = wall.state;
        const double half_wave = line_.half_wavelength();
        const double range =
            quantile(times.bulk, 1 - bulk_range_end) - quantile(times.bulk, bulk_range_end);
        const double step =
            std::max(half_wave / cycle_steps / std::max(range, least_range), smallest_bulk_step);
        const int steps = held_whole(std::floor(options_.bulk_reach / step), 0, most_cycle_steps);
        double best = none_yet;
        WallState likeliest = state;
        const auto judge = [&](WallState trial, double lowest, double highest) {
            WallModel model = model_of(wall, times, trial,
                                       largest_layer(state, std::max(highest, cycle_highest)));
            const double noise = noise_of(model, wall.layered, options_.model);
            const double by =
                std::min(cycle_share_step * state.share, half_wave / cycle_steps_a_half_wave);
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
        judge(state, cycle_lowest, cycle_furthest);
        for (int k = -steps; k <= steps; ++k) {
            WallState trial = state;
            trial.bulk = state.tissue + k * step;
            judge(trial, cycle_lowest, cycle_highest);
            if (state.own.size() > 0) {
                trial.own = Eigen::ArrayXd();
                judge(trial, cycle_lowest, cycle_highest);
            }
        }
        if (best > here + least_cycle_evidence) {
            wall.state = likeliest;
            wall.other_cycle = true;
        }
    }

    // A bulk share, the wall's or that of the tissue on it, by a parabola through the evidence for
    // three.
    void settle_bulk(SeparatedWall& wall, const LayerTimes& times, double WallState::*bulk,
                     double step) const {
        const WallState state = wall.state;
        std::array evidence = {0.0, 0.0, 0.0};
        double noise = 0;  // the same for all three
        for (const int k : {0, -1, 1}) {
            WallState trial = state;
            trial.*bulk += step * k;
            WallModel model = model_of(wall, times, trial, largest_layer(state, 1));
            if (k == 0) {
                noise = noise_of(model, wall.layered, options_.model);
            }
            evidence[static_cast<std::size_t>(k) + 1] = model.evidence(trial, noise);
        }
        const double slope = (evidence[2] - evidence[0]) / 2;
        const double bend = evidence[2] - 2 * evidence[1] + evidence[0];
        wall.state.*bulk +=
            step * (bend < 0    ? std::clamp(-slope / bend, -longest_parabola, longest_parabola)
                    : slope > 0 ? 1.0
                                : -1.0);
    }

    const LineHistory& line_;
    const WallSeparationOptions& options_;
};

}  // namespace

void walk(std::span<const Stage> stages, WallInWork& work, const LayerTimes& times,
          const LineHistory& line, const WallSeparationOptions& options) {
    const WallMover mover(line, options);
    for (const Stage& stage : stages) {
        mover.make(stage, work, times);
    }
}

}  // namespace echosieve
