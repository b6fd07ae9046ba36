#include "motion/wall/search.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <utility>
#include <vector>

#include "motion/courses/common_motion.hpp"
#include "motion/courses/pulse_candidates.hpp"
#include "motion/layers/gap_settling.hpp"
#include "motion/layers/joint_motion.hpp"
#include "motion/layers/layer_fit.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/finder.hpp"
#include "motion/wall/report.hpp"
#include "motion/wall/separation.hpp"

namespace echosieve {

std::vector<LayeredGate> tissue_gates(const LineHistory& line, const CommonMotion& motion,
                                      const LayerTimes& times,
                                      const WallSeparationOptions& options) {
    std::vector<LayeredGate> gates;
    const double first = motion.depths[0];
    const double last = line.last_depth() - options.tissue_half_gate;
    for (double z = first; z <= last; z += options.tissue_spacing) {
        Eigen::Index nearest = 0;
        (motion.depths - z).abs().minCoeff(&nearest);
        LayeredGate layered{
            gate_spectrum(line, z, options.tissue_half_gate,
                          motion.bulk_share_at(z) * (times.bulk - times.bulk.mean()), 1.0),
            {},
            1};
        layered.fit = fit_layers(layered.gate, times,
                                 {{motion.pulse_share[nearest], motion.bulk_share[nearest]}},
                                 {.iterations = 3});
        gates.push_back(std::move(layered));
    }
    return gates;
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

// A guess of the pulse, and the walls that it shows.
struct Hypothesis {
    LayerTimes times;
    std::vector<LayeredGate> tissue;
    CommonMotion motion;
    std::optional<WallPair> pair;
    double evidence = 0;  // at both walls, as scanned
    double promise = 0;   // that times the opposition squared
    bool moved = false;   // by the search over cycles, when it was taken apart last
    bool lost = false;    // no walls then, or one that hardly shows
};

// Shares of the tissue gates for another pulse.
std::vector<LayeredGate> refitted(std::vector<LayeredGate> gates, const LayerTimes& times) {
    for (LayeredGate& layered : gates) {
        layered.fit =
            fit_layers(layered.gate, times, {{0, layered.fit.shares[0].bulk}}, {.iterations = 3});
    }
    return gates;
}

// What tissue at a wall's depth would move by if it pulsated in proportion to its depth: a straight
// line through the pulse shares of the gates that no wall is near [m].
double tissue_line_at(double depth, const CommonMotion& motion, const WallPair& pair,
                      double wall_distance) {
    const auto clear = [&](double other) {
        return ((motion.depths - other).abs() >= wall_distance).cast<double>();
    };
    Eigen::ArrayXd weight = motion.weight * clear(pair.near.depth) * clear(pair.far.depth);
    if ((weight > 0).count() < 3) {
        weight = motion.weight;
    }
    return pulse_share_line(motion, weight).at(depth);
}

// The tissue's pulse first, then the others, the most promising first.
std::vector<Hypothesis> all_hypotheses(const LineHistory& line, const CommonMotion& motion,
                                       const LayerTimes& times,
                                       const std::vector<LayeredGate>& tissue,
                                       const WallFinderOptions& finder,
                                       const WallSearchOptions& options) {
    const std::vector<PulseCandidate> candidates = pulse_candidates(
        line, motion,
        {line.first_depth() + finder.dead_zone, finder.smallest_diameter, finder.largest_diameter},
        options.candidates);
    std::vector<Hypothesis> hypotheses;
    for (std::size_t k = 0; k < candidates.size() && k <= options.most_candidates; ++k) {
        if (candidates[k].opposition < options.least_opposition * candidates[0].opposition) {
            break;
        }
        Hypothesis next{times, tissue, motion, std::nullopt};
        if (k > 0) {
            next.times.pulse = candidates[k].pulse;
            next.tissue = refitted(std::move(next.tissue), next.times);
            adopt(next.motion, next.tissue, next.times);
        }
        next.pair = find_walls(line, next.motion, finder);
        if (next.pair) {
            next.evidence = next.pair->near.total + next.pair->far.total;
            next.promise = next.evidence * candidates[k].opposition * candidates[k].opposition;
        }
        hypotheses.push_back(std::move(next));
    }
    if (hypotheses.empty()) {
        return hypotheses;
    }
    std::stable_sort(
        hypotheses.begin() + 1, hypotheses.end(),
        [](const Hypothesis& x, const Hypothesis& y) { return x.promise > y.promise; });
    return hypotheses;
}

struct TakenApart {
    SeparatedWalls walls;
    bool usable = false;  // they have not turned out to be none
};

// The walls of a hypothesis, taken apart from `start` times the shares that were scanned.
TakenApart walls_of(const LineHistory& line, Hypothesis hypothesis, const WallFinderOptions& finder,
                    const WallSeparationOptions& options, double start) {
    const double sign = hypothesis.pair->pulse_sign;
    hypothesis.pair->near.share *= start;
    hypothesis.pair->far.share *= start;
    hypothesis.times.pulse *= sign;
    for (LayeredGate& layered : hypothesis.tissue) {
        for (LayerShare& share : layered.fit.shares) {
            share.pulse *= sign;
        }
    }
    SeparatedWalls walls = separate_walls(line, *hypothesis.pair, std::move(hypothesis.times),
                                          std::move(hypothesis.tissue), options);
    for (SeparatedWall* wall : {&walls.near, &walls.far}) {
        wall->tissue_line = sign * tissue_line_at(wall->state.depth, hypothesis.motion,
                                                  *hypothesis.pair, options.wall_distance);
    }
    const double diameter = walls.far.state.depth - walls.near.state.depth;
    // The gate that held the wall lay below the dead zone.
    const double shallowest =
        line.first_depth() + finder.dead_zone - wall_half_gate(line.settings.sensor);
    const double near = walls.near.state.share;
    const double far = walls.far.state.share;
    const bool apart =
        diameter >= finder.smallest_diameter / 2 && diameter <= finder.largest_diameter &&
        walls.near.state.depth >= shallowest && std::min(near, far) >= finder.smallest_motion &&
        std::max(near, far) <= finder.scan.largest_share &&
        near + far >= finder.smallest_distension &&
        std::min(walls.near.evidence, walls.far.evidence) >= finder.least_evidence;
    return {std::move(walls), apart};
}

// The less trusted wall's confidence.
double confidence_of(const SeparatedWalls& walls, double frame_rate,
                     const WallMotionOptions& motion, const WallConfidenceOptions& confidence) {
    const auto report = [&](const SeparatedWall& wall) {
        return wall_report(wall, wall_motion(wall, walls.times, frame_rate, motion), frame_rate);
    };
    WallReport near = report(walls.near);
    WallReport far = report(walls.far);
    set_confidence(near, far, confidence);
    return std::min(near.confidence, far.confidence);
}

}  // namespace

std::optional<SeparatedWalls> find_and_separate_walls(const LineHistory& line, CommonMotion motion,
                                                      const WallFinderOptions& finder,
                                                      const WallSeparationOptions& separation,
                                                      const WallSearchOptions& options,
                                                      const WallMotionOptions& motion_options,
                                                      const WallConfidenceOptions& confidence) {
    validate(finder);
    validate(separation);
    validate(options);
    validate(motion_options);
    validate(confidence);
    LayerTimes times{motion.pulse, motion.bulk, line.weights(), line.settings.sound_speed};
    std::vector<LayeredGate> tissue = tissue_gates(line, motion, times, separation);
    if (tissue.size() < 3) {
        return std::nullopt;
    }
    settle_gaps(tissue, times, line.runs(), line.half_wavelength(), separation.gaps);
    fit_jointly(tissue, times, separation.rounds, separation.coarse, line.settings.frame_rate);
    adopt(motion, tissue, times);
    const double linearity = pulse_share_line(motion, motion.weight).linearity;
    std::vector<Hypothesis> hypotheses =
        all_hypotheses(line, motion, times, tissue, finder, options);
    double most = 0;
    for (const Hypothesis& h : hypotheses) {
        most = std::max(most, h.promise);
    }
    std::optional<SeparatedWalls> best;
    double best_confidence = -1;
    // Takes the hypotheses apart that are wanted, until one is sure.
    const auto try_those = [&](const WallSeparationOptions& way, double start, auto wanted) {
        for (Hypothesis& h : hypotheses) {
            if (best_confidence >= options.sure) {
                return;
            }
            if (!h.pair || h.promise < options.least_promise * most || !wanted(h)) {
                continue;
            }
            auto [walls, usable] = walls_of(line, h, finder, way, start);
            h.moved = walls.near.other_cycle || walls.far.other_cycle;
            h.lost = !usable || std::min(walls.near.mean_evidence, walls.far.mean_evidence) <
                                    options.hardly_seen;
            if (!usable) {
                continue;
            }
            walls.near.tissue_linearity = linearity;
            walls.far.tissue_linearity = linearity;
            const double sure =
                confidence_of(walls, line.settings.frame_rate, motion_options, confidence);
            if (sure > best_confidence) {
                best = std::move(walls);
                best_confidence = sure;
            }
        }
    };
    try_those(separation, 1, [](const Hypothesis&) { return true; });
    // The search over cycles may go astray where the pulse is still far from right.
    WallSeparationOptions without = separation;
    without.search_cycles = false;
    try_those(without, 1, [](const Hypothesis& h) { return h.moved; });
    // Tissue up to a part of the wall's share is allowed for: a share that starts far too large
    // leaves the wall to it, and grows.
    if (best_confidence < confidence.least_confidence) {
        try_those(separation, options.smaller_start, [](const Hypothesis& h) { return h.lost; });
    }
    return best;
}

}  // namespace echosieve
