#include "motion/wall/separation.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <iterator>
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

// What a wall's fit takes over from its gate's layers.
void adopt_shares(SeparatedWall& wall) {
    const std::vector<LayerShare>& shares = wall.layered.fit.shares;
    // A wall that turned round is none: it is found too small in the end.
    wall.state.share = held_share(wall.state.sense * shares[wall.reference].pulse);
    wall.state.bulk = shares[wall.reference].bulk;
    wall.state.tissue = shares.back().bulk;
}

// The gates of all lines together in the joint fits, each line's walls the last two of its own;
// each line by itself in between.
template <class Fit>
void with_walls(std::span<LineWalls> lines, Fit fit) {
    std::vector<LayeredGate> gates;
    std::vector<std::size_t> counts;
    for (std::size_t l = 0; l < lines.size(); ++l) {
        SeparatedWalls& walls = lines[l].walls;
        counts.push_back(walls.tissue.size());
        std::ranges::move(walls.tissue, std::back_inserter(gates));
        walls.tissue.clear();
        if (lines[l].found) {
            gates.push_back(std::move(walls.near.layered));
            gates.push_back(std::move(walls.far.layered));
        }
        for (std::size_t g = gates.size() - counts[l] - (lines[l].found ? 2 : 0); g < gates.size();
             ++g) {
            gates[g].line = l;
        }
    }
    fit(gates);
    auto next = gates.begin();
    for (std::size_t l = 0; l < lines.size(); ++l) {
        SeparatedWalls& walls = lines[l].walls;
        for (std::size_t g = 0; g < counts[l]; ++g) {
            walls.tissue.push_back(std::move(*next++));
        }
        for (SeparatedWall* wall : {&walls.near, &walls.far}) {
            if (lines[l].found) {
                wall->layered = std::move(*next++);
                adopt_shares(*wall);
            }
        }
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

void refit_tissue(SeparatedWalls& walls, double ridge) {
    for (LayeredGate& g : walls.tissue) {
        g.fit = fit_layers(g.gate, walls.times.late(), g.fit.shares,
                           {.ridge = ridge, .iterations = refit_steps});
    }
}

void walk_both(std::span<const Stage> stages, LineWalls& line,
               const WallSeparationOptions& options) {
    SeparatedWalls& walls = line.walls;
    for (const bool far : {false, true}) {
        WallInWork work{far ? walls.far : walls.near,
                        far ? line.pair.far.bulk : line.pair.near.bulk};
        walk(stages, work, walls.times, line.line, options);
    }
}

// Where the walls are, and tissue that is ready for the fine stages.
void place(LineWalls& line, const WallSeparationOptions& options) {
    share_widening(line.walls);
    walk_both(placing_stages, line, options);
    leave_out_tissue_near_walls(line.walls, options.wall_distance);
    divide_tissue(line.walls);
}

LineWalls line_walls(const LineHistory& line, const WallPair& pair, LayerTimes times,
                     std::vector<LayeredGate> tissue) {
    LineWalls out{line, pair, {}};
    out.walls.times = std::move(times);
    out.walls.tissue = std::move(tissue);
    out.walls.near.state = start_state(pair, -1);
    out.walls.far.state = start_state(pair, 1);
    return out;
}

// One step of the time courses with all gates, and what each line sees of them.
void step_courses(std::span<LineWalls> lines, LayerTimes& times,
                  const WallSeparationOptions& options) {
    with_walls(lines, [&](std::vector<LayeredGate>& gates) {
        update_motion(gates, times, options.fine, lines[0].line.settings.frame_rate);
    });
    for (std::size_t l = 0; l < lines.size(); ++l) {
        lines[l].walls.times = times.seen_by(l);
    }
}

}  // namespace

void refine_walls(std::span<LineWalls> lines, LayerTimes& times, int rounds,
                  const WallSeparationOptions& options) {
    for (int round = 0; round < rounds; ++round) {
        for (LineWalls& line : lines) {
            if (line.found) {
                share_widening(line.walls);
                share_radius(line.walls);
                walk_both(fine_stages, line, options);
            }
            if (round > 0) {
                refit_tissue(line.walls, ridge_of(times));
            }
        }
        step_courses(lines, times, options);
    }
    for (LineWalls& line : lines) {
        if (line.found) {
            walk_both(last_stages, line, options);
        }
    }
}

LineWalls place_walls(const LineHistory& line, const WallPair& pair, LayerTimes times,
                      std::vector<LayeredGate> tissue, const WallSeparationOptions& options) {
    validate(options);
    LineWalls out = line_walls(line, pair, std::move(times), std::move(tissue));
    leave_out_tissue_near_walls(out.walls, options.wall_distance);
    walk_both(rough_stages, out, options);
    place(out, options);
    return out;
}

SeparatedWalls separate_walls(const LineHistory& line, const WallPair& pair, LayerTimes times,
                              std::vector<LayeredGate> tissue,
                              const WallSeparationOptions& options) {
    validate(options);
    const double rate = line.settings.frame_rate;
    LineWalls work = line_walls(line, pair, std::move(times), std::move(tissue));
    SeparatedWalls& walls = work.walls;
    leave_out_tissue_near_walls(walls, options.wall_distance);
    walk_both(rough_stages, work, options);
    if (settle_tissue_lag(line, walls, options)) {
        walk_both(rough_stages, work, options);
    }
    with_walls({&work, 1}, [&](std::vector<LayeredGate>& gates) {
        settle_gaps(gates, walls.times, line.runs(), line.half_wavelength(), options.gaps);
        fit_jointly(gates, walls.times, options.rounds, options.coarse, rate);
    });
    place(work, options);
    LayerTimes courses = walls.times;
    refine_walls({&work, 1}, courses, options.fine_rounds, options);
    return std::move(walls);
}

}  // namespace echosieve
