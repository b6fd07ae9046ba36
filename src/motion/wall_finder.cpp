#include "echosieve/motion/wall_finder.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <optional>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/motion/common_motion.hpp"
#include "echosieve/motion/layer_start.hpp"
#include "echosieve/motion/layers.hpp"
#include "echosieve/motion/line.hpp"

namespace echosieve {

namespace {

// How much a wall should move against its tissue: 1 for much, 0 for not at all.
double motion_belief(double relative_motion, const WallFinderOptions& options) {
    return relative_motion / (relative_motion + options.usual_motion);
}

// A depth of the scan: what a wall moving in one direction takes away from the misfit of one layer.
struct Scanned {
    double depth = 0;
    double score = 0;
    std::vector<LayerStart> starts;
};

Scanned scanned(double depth, LayerSearch found, const WallFinderOptions& options) {
    Scanned place{depth, 0, std::move(found.starts)};
    for (const LayerStart& start : place.starts) {
        const double gain = std::max(found.one_layer - start.cost, 0.0);
        const double motion = std::abs(start.wall.pulse - start.tissue.pulse);
        place.score = std::max(place.score, gain * gain / std::max(found.one_layer, 1e-300) *
                                                motion_belief(motion, options));
    }
    return place;
}

// Depths whose gain is largest among their neighbours of the same direction, best first.
std::vector<Scanned> best_places(std::vector<Scanned> scan, const WallFinderOptions& options) {
    std::vector<Scanned> places;
    for (std::size_t k = 0; k < scan.size(); ++k) {
        const bool peak = (k == 0 || scan[k].score >= scan[k - 1].score) &&
                          (k + 1 == scan.size() || scan[k].score > scan[k + 1].score);
        if (peak && scan[k].score > 0) {
            places.push_back(scan[k]);
        }
    }
    std::sort(places.begin(), places.end(),
              [](const Scanned& a, const Scanned& b) { return a.score > b.score; });
    if (places.size() > options.candidates) {
        places.resize(options.candidates);
    }
    return places;
}

}  // namespace

std::optional<WallCandidate> judge_wall(const LineHistory& line, const LayerTimes& times,
                                        double depth, double sign,
                                        const std::vector<LayerStart>& starts,
                                        const WallFinderOptions& options) {
    WallCandidate wall;
    wall.depth = depth;
    wall.gate = gate_spectrum(line, depth, options.half_gate);
    double best = 0;
    for (const LayerStart& start : starts) {
        LayerFit fit = fit_layers(wall.gate, times, {start.wall, start.tissue});
        const double motion = fit.shares[0].pulse - fit.shares[1].pulse;
        if (!(sign * fit.shares[0].pulse > 0 && sign * motion > 0)) {
            continue;
        }
        const double one_layer = std::min(fit_layers(wall.gate, times, {fit.shares[0]}).cost,
                                          fit_layers(wall.gate, times, {fit.shares[1]}).cost);
        const double gain = std::max(one_layer - fit.cost, 0.0);
        const double score = gain * gain / std::max(one_layer, 1e-300) *
                             motion_belief(std::abs(motion), options);
        if (score > best) {
            best = score;
            wall.fit = std::move(fit);
            wall.gain = gain;
            wall.gain_part = gain / one_layer;
        }
    }
    if (!(best > 0)) {
        return std::nullopt;
    }
    return wall;
}

namespace {

// Belief that a candidate is a wall with tissue on it: well explained, moving against its tissue,
// and not the ring-down of the sensor, which does not breathe.
double wall_belief(const WallCandidate& wall, const WallFinderOptions& options) {
    const double explained = 1 - wall.fit.residual();
    const bool breathes = std::min(wall.fit.shares[0].bulk, wall.fit.shares[1].bulk) > 0.5;
    return wall.gain_part * explained * explained *
           motion_belief(wall.relative_motion(), options) * (breathes ? 1 : 0.05);
}

// 0 if the two can't be the walls of an artery.
double pair_score(const WallCandidate& n, const WallCandidate& f,
                  const WallFinderOptions& options) {
    const double diameter = f.depth - n.depth;
    const bool possible =
        diameter >= options.smallest_diameter && diameter <= options.largest_diameter &&
        n.relative_motion() >= options.smallest_motion &&
        f.relative_motion() >= options.smallest_motion && n.gain_part >= options.lowest_gain &&
        f.gain_part >= options.lowest_gain && n.fit.residual() <= options.largest_residual &&
        f.fit.residual() <= options.largest_residual;
    return possible ? std::sqrt(n.gain * f.gain) * wall_belief(n, options) *
                          wall_belief(f, options)
                    : 0;
}

}  // namespace

std::optional<WallPair> find_walls(const LineHistory& line, const CommonMotion& motion,
                                   const WallFinderOptions& options) {
    validate(options);
    if (!motion.usable()) {
        return std::nullopt;
    }
    constexpr std::array<double, 2> directions = {-1, 1};
    const double half_gate = options.half_gate;
    Eigen::Index bins = 0;
    LayerStartOptions start = options.start;
    start.block = std::max<Eigen::Index>(
        1, std::lround(options.scan_interval * line.settings.frame_rate));
    const LayerTimes times{motion.pulse, motion.bulk, line.weights(), line.settings.sound_speed};
    std::optional<LayerStartSearch> search;
    std::array<std::vector<Scanned>, 2> scan;
    for (double depth = line.first_depth() + options.dead_zone;
         depth < line.last_depth() - half_gate; depth += options.scan_spacing * half_gate) {
        const GateSpectrum gate = gate_spectrum(line, depth, half_gate);
        if (!search || gate.bins() != bins) {
            search.emplace(times, gate.frequencies, start);
            bins = gate.bins();
        }
        for (const std::size_t side : {0U, 1U}) {
            scan[side].push_back(scanned(
                depth, (*search)(gate, directions[side], motion.bulk_share_at(depth)), options));
        }
    }
    std::array<std::vector<WallCandidate>, 2> walls;
    for (const std::size_t side : {0U, 1U}) {
        for (const Scanned& place : best_places(std::move(scan[side]), options)) {
            if (auto wall = judge_wall(line, times, place.depth, directions[side], place.starts, options)) {
                    if(getenv("DBG"))fprintf(stderr,"   dir %+.0f z %.2f a %.0f/%.0f b %.2f/%.2f gain %.3g part %.3f res %.3f belief %.3f\n",directions[side],1e3*wall->depth,1e6*wall->fit.shares[0].pulse,1e6*wall->fit.shares[1].pulse,wall->fit.shares[0].bulk,wall->fit.shares[1].bulk,wall->gain,wall->gain_part,wall->fit.residual(),wall_belief(*wall,options)); //DBG
                walls[side].push_back(std::move(*wall));
            }
        }
    }
    // The sign of p is only a guess: with the other one, the walls that move down are near walls.
    std::optional<WallPair> best;
    for (const double sign : {1.0, -1.0}) {
        for (const WallCandidate& n : walls[sign > 0 ? 0 : 1]) {
            for (const WallCandidate& f : walls[sign > 0 ? 1 : 0]) {
                const double score = pair_score(n, f, options);
                if (score > 0 && (!best || score > best->score)) {
                    best = WallPair{n, f, sign, score};
                }
            }
        }
    }
    if (best && best->pulse_sign < 0) {
        for (WallCandidate* wall : {&best->near, &best->far}) {
            for (LayerShare& share : wall->fit.shares) {
                share.pulse = -share.pulse;
            }
        }
    }
    return best;
}

}  // namespace echosieve
