#include "motion/wall/tissue_lag.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <span>
#include <vector>

#include "motion/layers/layer_fit.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/grid_search.hpp"
#include "motion/line/numbers.hpp"
#include "motion/wall/fit.hpp"
#include "motion/wall/model.hpp"
#include "motion/wall/shared_beliefs.hpp"

namespace echosieve {

namespace {

// Read off synthetic recordings, seeds 1 to 230 of both simulators.
// Of the tissue behind p [s]: from coarse to fine.
constexpr double tissue_first_step = 12e-3;
constexpr std::array<double, 2> tissue_finer_steps = {6e-3, 3e-3};
constexpr int trial_steps = 3;  // of Gauss and Newton, from the shares without a lag
// Of p behind the walls [s].
constexpr double walls_first_step = 8e-3;
// Then m alone, in steps of an eighth of a half wavelength, and both together, finer and finer.
struct LagGrid {
    GridAxis lag;            // [s]
    double half_wave_parts;  // of a step of m
    long mixes;              // steps of m, either way
};
constexpr std::array<LagGrid, 3> walls_finer_grids = {{
    {{}, 8, 5},
    {steps_about(3e-3, 3), 16, 2},
    {steps_about(1e-3, 2), 32, 1},
}};
// Over what three layers say, which tissue may have halved or doubled.
constexpr std::array<double, 8> lag_shares = {0.5, 0.64, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5};

// One step the other way, too: what is ahead has no lag.
GridAxis first_axis(double step, double furthest) {
    return {step, 1, std::lround(furthest / step)};
}

// By how much later than p [s] the tissue pulsates: 0 unless that explains it much better.
double lag_of_tissue(const LineHistory& line, const LayerTimes& times,
                     const std::vector<LayeredGate>& gates, const TissueLagOptions& options) {
    const auto explained = [&](double lag) {
        LayerTimes late = times;
        late.pulse = delayed(times.pulse, lag * line.settings.frame_rate);
        double sum = 0;
        double total = 0;
        for (const LayeredGate& layered : gates) {
            const LayerFit fit = fit_layers(layered.gate, late, layered.fit.shares,
                                            {.iterations = trial_steps, .rest = false});
            sum += layered.trust * std::log(std::max(fit.cost, least_divisor));
            total += layered.trust;
        }
        return -(sum / std::max(total, least_divisor));
    };
    const double without = explained(0);
    BestPlace best{0, 0, without};
    best.look_about(first_axis(tissue_first_step, options.largest_lag), explained);
    for (const double step : tissue_finer_steps) {
        best.look_about(steps_about(step, 1), explained);
    }
    return best.value - without > options.least_gain ? best.x : 0;
}

// The walls' pulse, `lag` frames earlier, and m of it taken out of the bulk motion.
LayerTimes earlier(const LayerTimes& times, double lag, double mixed) {
    LayerTimes out = times;
    out.pulse = delayed(times.pulse, -lag);
    out.bulk = times.bulk - mixed * times.pulse;
    return out;
}

// The largest log evidence of a wall over the shares tried.
double most_likely(const LineHistory& line, const SeparatedWall& wall, const LayerTimes& times,
                   const WallModelOptions& options) {
    WallState state = wall.state;
    const double start = held_share(state.sense * wall.layered.fit.shares[0].pulse);
    state.bulk = wall.layered.fit.shares[0].bulk;
    state.share = start;
    WallModel model(wall.layered.gate, times, {state, largest_layer(state, lag_shares.back())},
                    line.settings, options);
    const double noise = noise_of(model, wall.layered, options);
    double most = -std::numeric_limits<double>::infinity();
    for (const double ratio : lag_shares) {
        state.share = ratio * start;
        most = std::max(most, model.evidence(state, noise));
    }
    return most;
}

// How early the walls are [s], and m [m]: zero unless both gates ask for it.
BestPlace lag_of_walls(const LineHistory& line, const SeparatedWalls& walls,
                       const WallSeparationOptions& options) {
    const auto likelihood = [&](double lag, double mixed) {
        const LayerTimes trial = earlier(walls.times, lag * line.settings.frame_rate, mixed);
        double sum = 0;
        for (const SeparatedWall* wall : {&walls.near, &walls.far}) {
            sum += most_likely(line, *wall, trial, options.model);
        }
        return sum;
    };
    const double without = likelihood(0, 0);
    BestPlace best{0, 0, without};
    best.look_about(first_axis(walls_first_step, options.lag.largest_lag), {}, likelihood);
    if (best.value - without < options.lag.least_evidence) {
        return {};
    }
    for (const LagGrid& grid : walls_finer_grids) {
        best.look_about(grid.lag,
                        steps_about(line.half_wavelength() / grid.half_wave_parts, grid.mixes),
                        likelihood);
    }
    return best;
}

}  // namespace

bool settle_tissue_lag(const LineHistory& line, SeparatedWalls& walls,
                       const WallSeparationOptions& options) {
    validate(options.lag);
    const double rate = line.settings.frame_rate;
    const BestPlace ahead = lag_of_walls(line, walls, options);
    const double behind = ahead.x + lag_of_tissue(line, walls.times, walls.tissue, options.lag);
    if (ahead.x == 0 && behind == 0) {
        return false;
    }
    walls.times = earlier(walls.times, ahead.x * rate, ahead.y);
    walls.times.lag = behind * rate;
    for (LayeredGate& layered : walls.tissue) {
        layered.late = true;
        for (LayerShare& share : layered.fit.shares) {
            share.pulse += ahead.y * share.bulk;
        }
    }
    return true;
}

}  // namespace echosieve
