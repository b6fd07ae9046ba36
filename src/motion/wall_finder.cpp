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

// 1 for a wall that moves much, 0 for none: tissue outside a wall moves with it, but less.
double motion_belief(double pulse_share, const WallFinderOptions& options) {
    const double a = std::abs(pulse_share);
    return a * a / ((a + options.usual_motion) * (a + options.usual_motion));
}

// Evidence need not be large beside what is left, since clutter leaves much; but not small either.
double evidence_belief(double part) {
    constexpr double usual = 0.2;
    return part / (part + usual);
}

double start_score(const LayerStart& start, const WallFinderOptions& options) {
    return std::sqrt(std::sqrt(start.evidence)) * evidence_belief(start.evidence_part) *
           motion_belief(start.wall.pulse, options);
}

// A depth of the scan: the evidence for a wall that moves in one direction.
struct Scanned {
    double depth = 0;
    double score = 0;
    std::vector<LayerStart> starts;
};

Scanned scanned(double depth, LayerSearch found, const WallFinderOptions& options) {
    Scanned place{depth, 0, std::move(found.starts)};
    std::sort(place.starts.begin(), place.starts.end(),
              [&](const LayerStart& x, const LayerStart& y) {
                  return start_score(x, options) > start_score(y, options);
              });
    if (!place.starts.empty()) {
        place.score = start_score(place.starts[0], options);
    }
    return place;
}

// Depths whose score is largest among their neighbours of the same direction, best first.
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
    wall.gate = gate_spectrum(line, depth, wall_half_gate(line.settings.sensor));
    double best = 0;
    for (const LayerStart& start : starts) {
        LayerFit fit = fit_layers(wall.gate, times, {start.wall, start.tissue});
        put_fastest_first(fit, wall.gate, times, sign);
        // Layers of free spectra that move alike divide a wall between them at will.
        if (fit.shares[1].pulse / fit.shares[0].pulse > 0.8) {
            fit = fit_layers(wall.gate, times, {start.wall, {0, start.tissue.bulk}},
                             {.iterations = 0});
        }
        const double score = start_score(start, options);
        if (sign * fit.shares[0].pulse > 0 && score > best) {
            best = score;
            wall.fit = std::move(fit);
            wall.evidence = start.evidence;
            wall.evidence_part = start.evidence_part;
        }
    }
    if (!(best > 0)) {
        return std::nullopt;
    }
    return wall;
}

namespace {

// Tissue outside a wall follows it, the less the further away; where it moves as much as the
// candidate, that is not a wall. `direction` is the candidate's, -1 or +1.
double outside_belief(const WallCandidate& wall, double direction, double sense,
                      const CommonMotion& motion) {
    constexpr double first = 1.2e-3;  // [m]
    constexpr double last = 4e-3;     // [m]
    double weight = 0;
    double sum = 0;
    for (Eigen::Index g = 0; g < motion.depths.size(); ++g) {
        const double beyond = sense * (motion.depths[g] - wall.depth);
        if (beyond > first && beyond < last) {
            weight += motion.weight[g];
            sum += motion.weight[g] * std::max(direction * motion.pulse_share[g], 0.0);
        }
    }
    const double ratio =
        weight > 0 ? sum / weight / std::max(std::abs(wall.fit.shares[0].pulse), 1e-12) : 0;
    return std::clamp((0.9 - ratio) / 0.3, 0.0, 1.0);
}

// Belief that a candidate is a wall: moving, with evidence, explained, and not the ring-down of the
// sensor, which does not breathe.
double wall_belief(const WallCandidate& wall, const WallFinderOptions& options) {
    const bool breathes = std::min(wall.fit.shares[0].bulk, wall.fit.shares[1].bulk) > 0.5;
    return evidence_belief(wall.evidence_part) * (1 - wall.fit.residual()) *
           motion_belief(wall.fit.shares[0].pulse, options) * (breathes ? 1 : 0.05);
}

// Part of the variance of the pulse shares that a straight line over depth explains, 0 to 1. Around
// an artery they turn over: tissue above it goes up, tissue below it down, both less the further
// away.
double pulse_linearity(const CommonMotion& motion) {
    const double total = motion.weight.sum();
    const Eigen::ArrayXd z = motion.depths - (motion.weight * motion.depths).sum() / total;
    const Eigen::ArrayXd a =
        motion.pulse_share - (motion.weight * motion.pulse_share).sum() / total;
    const double spread = (motion.weight * z.square()).sum() * (motion.weight * a.square()).sum();
    const double common = (motion.weight * z * a).sum();
    return spread > 0 ? common * common / spread : 0;
}

// 0 if the two can't be the walls of an artery.
double pair_score(const WallCandidate& n, const WallCandidate& f, double sign,
                  const CommonMotion& motion, const WallFinderOptions& options) {
    const double diameter = f.depth - n.depth;
    const double near_motion = std::abs(n.fit.shares[0].pulse);
    const double far_motion = std::abs(f.fit.shares[0].pulse);
    const double near_share = near_motion / (near_motion + far_motion);
    const bool possible =
        diameter >= options.smallest_diameter && diameter <= options.largest_diameter &&
        std::min(near_motion, far_motion) >= options.smallest_motion &&
        near_motion + far_motion >= options.smallest_distension &&
        near_share >= options.smallest_share && 1 - near_share >= options.smallest_share &&
        std::min(n.evidence_part, f.evidence_part) >= options.lowest_evidence &&
        std::max(n.fit.residual(), f.fit.residual()) <= options.largest_residual;
    return possible ? std::sqrt(std::sqrt(n.evidence * f.evidence)) * wall_belief(n, options) *
                          wall_belief(f, options) * outside_belief(n, -sign, -1, motion) *
                          outside_belief(f, sign, 1, motion)
                    : 0;
}

}  // namespace

std::optional<WallPair> find_walls(const LineHistory& line, const CommonMotion& motion,
                                   const WallFinderOptions& options) {
    validate(options);
    if (!motion.usable() || pulse_linearity(motion) > options.largest_linearity) {
        return std::nullopt;
    }
    constexpr std::array<double, 2> directions = {-1, 1};
    const double half_gate = wall_half_gate(line.settings.sensor);
    Eigen::Index bins = 0;
    LayerStartOptions start = options.start;
    start.block =
        std::max<Eigen::Index>(1, std::lround(options.scan_interval * line.settings.frame_rate));
    const LayerTimes times{motion.pulse, motion.bulk, line.weights(), line.settings.sound_speed};
    std::optional<LayerStartSearch> search;
    std::array<std::vector<Scanned>, 2> scan;
    for (double depth = line.first_depth() + options.dead_zone;
         depth < line.last_depth() - half_gate; depth += options.scan_spacing * half_gate) {
        if (!options.near_range.holds(depth) && !options.far_range.holds(depth)) {
            continue;
        }
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
            if (auto wall =
                    judge_wall(line, times, place.depth, directions[side], place.starts, options)) {
                walls[side].push_back(std::move(*wall));
            }
        }
    }
    // The sign of p is only a guess: with the other one, the walls that move down are near walls.
    std::optional<WallPair> best;
    for (const double sign : {1.0, -1.0}) {
        for (const WallCandidate& n : walls[sign > 0 ? 0 : 1]) {
            if (!options.near_range.holds(n.depth)) {
                continue;
            }
            for (const WallCandidate& f : walls[sign > 0 ? 1 : 0]) {
                const double score =
                    options.far_range.holds(f.depth) ? pair_score(n, f, sign, motion, options) : 0;
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
