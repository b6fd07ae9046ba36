#include "motion/wall/doubts.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>

#include "motion/line/slow_time.hpp"
#include "motion/wall/share_scatter.hpp"
#include "motion/wall/shared_beliefs.hpp"
#include "motion/wall/smooth_tissue.hpp"

namespace echosieve {

namespace {

// What tissue at a wall's depth would move by if it pulsated in proportion to its depth: a straight
// line through the pulse shares of the gates that no wall is near [m].
double tissue_line_at(double depth, const CommonMotion& motion, const WallPair& pair,
                      double wall_distance) {
    const auto clear = [&](double other) {
        return ((motion.depths - other).abs() >= wall_distance).cast<double>();
    };
    Eigen::ArrayXd weight = motion.weight * clear(pair.near.depth) * clear(pair.far.depth);
    if ((weight > 0).count() < fewest_tissue_gates) {
        weight = motion.weight;
    }
    return pulse_share_line(motion, weight).at(depth);
}

// Rms of what the pulse does slower than any beat: an artery comes back to its size.
double pulse_drift(const LayerTimes& times, double frame_rate) {
    constexpr double slowest_beat = 0.5;  // [Hz]
    const Eigen::ArrayXd fast = without_slow_part(times.pulse, slowest_beat, frame_rate);
    return std::sqrt((times.pulse - fast).square().mean());
}

}  // namespace

bool still_walls(const LineHistory& line, const SeparatedWalls& walls,
                 const WallFinderOptions& finder) {
    const WallState& near = walls.near.state;
    const WallState& far = walls.far.state;
    const double diameter = far.depth - near.depth;
    // The gate that held the wall lay below the dead zone.
    const double shallowest =
        line.first_depth() + finder.dead_zone - wall_half_gate(line.settings.sensor);
    return diameter >= finder.smallest_diameter / 2 && diameter <= finder.largest_diameter &&
           near.depth >= shallowest && std::min(near.share, far.share) >= finder.smallest_motion &&
           std::max(near.share, far.share) <= finder.scan.largest_share &&
           near.share + far.share >= finder.smallest_distension &&
           std::min(walls.near.evidence, walls.far.evidence) >= finder.least_evidence;
}

void set_tissue_lines(SeparatedWalls& walls, const CommonMotion& motion, const WallPair& pair,
                      double wall_distance) {
    for (SeparatedWall* wall : {&walls.near, &walls.far}) {
        wall->tissue_line =
            pair.pulse_sign * tissue_line_at(wall->state.depth, motion, pair, wall_distance);
    }
}

void set_doubts(SeparatedWalls& walls, const LineHistory& line, const CommonMotion& motion,
                const WallModelOptions& options) {
    walls.near.tissue_linearity = walls.far.tissue_linearity =
        pulse_share_line(motion, motion.weight).linearity;
    const double drift = pulse_drift(walls.times, line.settings.frame_rate);
    for (SeparatedWall* wall : {&walls.near, &walls.far}) {
        wall->doubt = {wall_presence(*wall, walls.times, line.settings, options), drift,
                       share_scatter(*wall, walls.times),
                       separability(*wall, walls.times, line.settings)};
    }
}

}  // namespace echosieve
