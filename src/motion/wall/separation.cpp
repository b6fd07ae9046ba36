#include "motion/wall/separation.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <span>
#include <utility>
#include <vector>

#include "motion/layers/gap_settling.hpp"
#include "motion/layers/joint_motion.hpp"
#include "motion/layers/layer_fit.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/finder.hpp"
#include "motion/wall/fit.hpp"
#include "motion/wall/moves.hpp"
#include "motion/wall/shared_beliefs.hpp"
#include "motion/wall/stages.hpp"
#include "motion/wall/tissue_lag.hpp"

namespace echosieve {

namespace {

// Two tissue layers for one: a little slower and a little faster than it.
constexpr double slower_part = 0.7;
constexpr double faster_part = 1.3;
constexpr double divided_bulk = 0.02;

std::vector<LayerShare> divided(const LayerShare& tissue) {
    return {LayerShare{slower_part * tissue.pulse, tissue.bulk - divided_bulk},
            LayerShare{faster_part * tissue.pulse, tissue.bulk + divided_bulk}};
}

WallState start_state(const WallPair& pair, double sense) {
    const WallCandidate& found = sense < 0 ? pair.near : pair.far;
    WallState state;
    state.sense = sense;
    state.depth = found.depth;
    state.share = found.share;
    state.bulk = found.bulk;
    state.tissue = found.bulk;
    state.radius = (pair.far.depth - pair.near.depth) / 2;
    return state;
}

void leave_out_tissue_near_walls(SeparatedWalls& walls, double wall_distance) {
    std::erase_if(walls.tissue, [&](const LayeredGate& g) {
        return std::abs(g.gate.depth - walls.near.state.depth) < wall_distance ||
               std::abs(g.gate.depth - walls.far.state.depth) < wall_distance;
    });
}

// The walls' gates are the last two in the joint fits, and by themselves in between.
template <class Fit>
void with_walls(SeparatedWalls& walls, Fit fit) {
    std::vector<LayeredGate>& gates = walls.tissue;
    gates.push_back(std::move(walls.near.layered));
    gates.push_back(std::move(walls.far.layered));
    fit();
    for (SeparatedWall* wall : {&walls.far, &walls.near}) {
        wall->layered = std::move(gates.back());
        gates.pop_back();
        const std::vector<LayerShare>& shares = wall->layered.fit.shares;
        // A wall that turned round is none: it is found too small in the end.
        wall->state.share = held_share(wall->state.sense * shares[wall->reference].pulse);
        wall->state.bulk = shares[wall->reference].bulk;
        wall->state.tissue = shares.back().bulk;
    }
}

// Both walls widen alike; what they move by beyond it they move together.
void share_widening(SeparatedWalls& walls) {
    const double mean = (walls.near.state.share + walls.far.state.share) / 2;
    walls.near.state.radial_share = mean;
    walls.far.state.radial_share = mean;
}

void share_radius(SeparatedWalls& walls) {
    const double radius =
        std::max((walls.far.state.depth - walls.near.state.depth) / 2, smallest_radius);
    walls.near.state.radius = radius;
    walls.far.state.radius = radius;
}

void divide_tissue(SeparatedWalls& walls) {
    for (LayeredGate& g : walls.tissue) {
        g.fit = fit_layers(g.gate, walls.times.late(), divided(g.fit.shares[0]));
    }
}

void refit_tissue(SeparatedWalls& walls) {
    for (LayeredGate& g : walls.tissue) {
        g.fit = fit_layers(g.gate, walls.times.late(), g.fit.shares, {.iterations = refit_steps});
    }
}

}  // namespace

SeparatedWalls separate_walls(const LineHistory& line, const WallPair& pair, LayerTimes times,
                              std::vector<LayeredGate> tissue,
                              const WallSeparationOptions& options) {
    validate(options);
    const double rate = line.settings.frame_rate;
    SeparatedWalls walls;
    walls.times = std::move(times);
    walls.tissue = std::move(tissue);
    walls.near.state = start_state(pair, -1);
    walls.far.state = start_state(pair, 1);
    std::array<WallInWork, 2> both{{{walls.near, pair.near.bulk}, {walls.far, pair.far.bulk}}};
    const auto walk_both = [&](std::span<const Stage> stages) {
        for (WallInWork& work : both) {
            walk(stages, work, walls.times, line, options);
        }
    };
    leave_out_tissue_near_walls(walls, options.wall_distance);
    walk_both(rough_stages);
    if (settle_tissue_lag(line, walls, options)) {
        walk_both(rough_stages);
    }
    with_walls(walls, [&] {
        settle_gaps(walls.tissue, walls.times, line.runs(), line.half_wavelength(), options.gaps);
        fit_jointly(walls.tissue, walls.times, options.rounds, options.coarse, rate);
    });
    share_widening(walls);
    walk_both(placing_stages);
    leave_out_tissue_near_walls(walls, options.wall_distance);
    divide_tissue(walls);
    for (int round = 0; round < options.fine_rounds; ++round) {
        share_widening(walls);
        share_radius(walls);
        walk_both(fine_stages);
        if (round > 0) {
            refit_tissue(walls);
        }
        with_walls(walls, [&] { update_motion(walls.tissue, walls.times, options.fine, rate); });
    }
    walk_both(last_stages);
    return walls;
}

}  // namespace echosieve
