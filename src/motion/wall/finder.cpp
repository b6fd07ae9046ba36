#include "motion/wall/finder.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <map>
#include <optional>
#include <vector>

#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"
#include "motion/courses/common_motion.hpp"
#include "motion/layers/group_means.hpp"
#include "motion/layers/layers.hpp"
#include "motion/line/averaged_line.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/share_scan.hpp"

namespace echosieve {

namespace {

constexpr double largest_bulk_difference = 0.3;  // of a depth's b from 1

}  // namespace

std::vector<ScannedDepth> scan_line(const LineHistory& line, const CommonMotion& motion,
                                    const WallFinderOptions& options) {
    const double rate = line.settings.frame_rate;
    const LayerTimes all{motion.pulse, motion.bulk, line.weights(), line.settings.sound_speed};
    const auto in_frames = [&](double interval) {
        return held_whole(std::round(interval * rate), Eigen::Index{1}, line.frames());
    };
    const double most =
        options.largest_turn / line.phase_per_metre(line.settings.sensor.centre_frequency);
    const FrameGroups groups =
        quiet_groups(all, {in_frames(options.interval), in_frames(options.longest_interval),
                           most / options.usual_motion, most / largest_bulk_difference});
    const LayerTimes times = group_means(all, groups);
    const LineHistory quiet = averaged_line(line, motion.bulk, groups);
    const Eigen::ArrayXd moments =
        group_means(
            Eigen::ArrayXd::LinSpaced(line.frames(), 0, static_cast<double>(line.frames() - 1)),
            Eigen::ArrayXd::Ones(line.frames()), groups) /
        rate;
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
    std::vector<double> scores;
    for (std::size_t k = 0; k < depths.size(); ++k) {
        const ScannedDepth& place = depths[k];
        const FastestShare& found = place.directions[side];
        // Gates overlap: what only one of them holds is no wall.
        std::optional<double> beside;
        for (const std::size_t other : {k - 1, k + 1}) {
            if (other < depths.size() &&
                std::abs(depths[other].depth - place.depth) < 1.5 * spacing) {
                beside = std::max(beside.value_or(0), depths[other].directions[side].share);
            }
        }
        const double share = beside ? std::min(found.share, 1.05 * *beside) : found.share;
        const FastestShare& other = place.directions[1 - side];
        const bool moves =
            found.share >= options.smallest_motion &&
            found.total >= std::max(options.least_evidence, options.mirror * other.total) &&
            found.evidence >= options.least_evidence;
        const double seen = found.total / (found.total + options.usual_part * most);
        scores.push_back(
            moves ? share * share * seen * std::pow(found.evidence, options.evidence_power) : 0);
    }
    return scores;
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
                const ScannedDepth& n = depths[i];
                const ScannedDepth& f = depths[j];
                const double score = near_scores[i] * far_scores[j];
                const double diameter = f.depth - n.depth;
                const double a = n.directions[near_side].share;
                const double b = f.directions[far_side].share;
                const bool possible =
                    options.near_range.holds(n.depth) && options.far_range.holds(f.depth) &&
                    diameter >= options.smallest_diameter && diameter <= options.largest_diameter &&
                    a + b >= options.smallest_distension &&
                    std::min(a, b) >= options.smallest_share * (a + b);
                if (possible && score > 0 && (!best || score > best->score)) {
                    best = WallPair{{n.depth, a, n.bulk, n.directions[near_side].evidence,
                                     n.directions[near_side].total},
                                    {f.depth, b, f.bulk, f.directions[far_side].evidence,
                                     f.directions[far_side].total},
                                    near_side == 0 ? 1.0 : -1.0,
                                    score};
                }
            }
        }
    }
    return best;
}

}  // namespace echosieve
