#include "motion/wall/finder.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <map>
#include <optional>
#include <vector>

#include "echosieve/core/error.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/layers/group_means.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/averaged_line.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/repeated_walls.hpp"
#include "motion/wall/share_scan.hpp"
#include "motion/wall/shared_beliefs.hpp"

namespace echosieve {

namespace {

constexpr double largest_bulk_difference = 0.3;  // of a depth's b from 1
// Gates overlap: what only one of them holds is no wall. Those beside a depth lie within one and a
// half spacings, and its share counts up to a twentieth more than theirs.
constexpr double neighbours = 1.5;  // [spacings]
constexpr double share_beyond = 1.05;

}  // namespace

std::vector<ScannedDepth> scan_line(const LineHistory& line, const CommonMotion& motion,
                                    const WallFinderOptions& options) {
    const LayerTimes all{motion.pulse, motion.bulk, line.weights(), line.settings.sound_speed};
    const FrameGroups groups = quiet_groups(
        all, quiet_limits({options.interval, options.longest_interval, options.largest_turn},
                          line.settings, options.usual_motion, largest_bulk_difference));
    const LayerTimes times = group_means(all, groups);
    const LineHistory quiet = averaged_line(line, motion.bulk, groups);
    const Eigen::ArrayXd moments =
        group_means(
            Eigen::ArrayXd::LinSpaced(line.frames(), 0, static_cast<double>(line.frames() - 1)),
            Eigen::ArrayXd::Ones(line.frames()), groups) /
        line.settings.frame_rate;
    const double half_gate = wall_half_gate(line.settings.sensor);
    // Gates of one length have the same frequencies; rounding gives two lengths.
    std::map<std::size_t, ShareScan> scans;
    std::vector<ScannedDepth> depths;
    for (double depth = line.first_depth() + options.dead_zone;
         depth < line.last_depth() - half_gate; depth += options.scan_spacing * half_gate) {
        if (!options.near_range.holds(depth) && !options.far_range.holds(depth)) {
            continue;
        }
        const double bulk = motion.bulk_share_at(depth);
        const GateSpectrum gate = gate_spectrum(quiet, depth, half_gate, bulk * times.bulk);
        const auto scan = scans
                              .try_emplace(gate.grid.count, times, moments, gate.frequencies,
                                           line.settings.sensor, options.scan)
                              .first;
        depths.push_back({depth, bulk, scan->second(gate, bulk)});
    }
    return depths;
}

ShareLine pulse_share_line(const CommonMotion& motion, const Eigen::ArrayXd& weight) {
    const double total = weight.sum();
    ShareLine line{(weight * motion.depths).sum() / total,
                   (weight * motion.pulse_share).sum() / total, 0, 0};
    const Eigen::ArrayXd z = motion.depths - line.depth;
    const Eigen::ArrayXd a = motion.pulse_share - line.share;
    const double depths = (weight * z.square()).sum();
    const double shares = (weight * a.square()).sum();
    const double common = (weight * z * a).sum();
    line.slope = depths > 0 ? common / depths : 0;
    line.linearity = depths * shares > 0 ? common * common / (depths * shares) : 0;
    return line;
}

namespace {

// Belief in a wall at each depth. What is small beside the motion the other way is its mirror
// image, from echoes whose strength changes as they move; what is small beside other depths is
// chance.
std::vector<double> place_scores(const std::vector<ScannedDepth>& depths, std::size_t side,
                                 double spacing, const WallFinderOptions& options) {
    double most = 0;
    for (const ScannedDepth& place : depths) {
        most = std::max(most, place.directions[side].total);
    }
    const std::vector<bool> repeated = repeated_walls(depths, side);
    std::vector<double> scores;
    for (std::size_t k = 0; k < depths.size(); ++k) {
        const ScannedDepth& place = depths[k];
        const FastestShare& found = place.directions[side];
        std::optional<double> beside;
        for (const std::size_t other : {k - 1, k + 1}) {
            if (other < depths.size() &&
                std::abs(depths[other].depth - place.depth) < neighbours * spacing) {
                beside = std::max(beside.value_or(0), depths[other].directions[side].share);
            }
        }
        const double share = beside ? std::min(found.share, share_beyond * *beside) : found.share;
        const FastestShare& other = place.directions[1 - side];
        const bool moves =
            !repeated[k] && found.share >= options.smallest_motion &&
            found.total >= std::max(options.least_evidence, options.mirror * other.total) &&
            found.evidence >= options.least_evidence;
        const double seen = found.total / (found.total + options.usual_part * most);
        scores.push_back(
            moves ? share * share * seen * std::pow(found.evidence, options.evidence_power) : 0);
    }
    return scores;
}

WallCandidate candidate(const ScannedDepth& place, std::size_t side) {
    const FastestShare& found = place.directions[side];
    return {place.depth, found.share, place.bulk, found.evidence, found.total};
}

bool possible(const WallCandidate& near, const WallCandidate& far,
              const WallFinderOptions& options) {
    const double diameter = far.depth - near.depth;
    const double distension = near.share + far.share;
    return options.near_range.holds(near.depth) && options.far_range.holds(far.depth) &&
           diameter >= options.smallest_diameter && diameter <= options.largest_diameter &&
           distension >= options.smallest_distension &&
           std::min(near.share, far.share) >= options.smallest_share * distension;
}

}  // namespace

std::optional<WallPair> find_walls(const LineHistory& line, const CommonMotion& motion,
                                   const WallFinderOptions& options) {
    validate(options);
    if (!motion.usable()) {
        return std::nullopt;
    }
    const std::vector<ScannedDepth> depths = scan_line(line, motion, options);
    const double spacing = options.scan_spacing * wall_half_gate(line.settings.sensor);
    // The sign of p is only a guess: with the other one, what moves down are near walls.
    std::optional<WallPair> best;
    for (const std::size_t near_side : {0U, 1U}) {
        const std::size_t far_side = 1 - near_side;
        const std::vector<double> near_scores = place_scores(depths, near_side, spacing, options);
        const std::vector<double> far_scores = place_scores(depths, far_side, spacing, options);
        for (std::size_t i = 0; i < depths.size(); ++i) {
            for (std::size_t j = i + 1; j < depths.size(); ++j) {
                const WallPair pair{candidate(depths[i], near_side), candidate(depths[j], far_side),
                                    near_side == 0 ? 1.0 : -1.0, near_scores[i] * far_scores[j]};
                if (pair.score > 0 && (!best || pair.score > best->score) &&
                    possible(pair.near, pair.far, options)) {
                    best = pair;
                }
            }
        }
    }
    return best;
}

}  // namespace echosieve
