#include "motion/wall/gate_tables.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "echosieve/core/detail/whole_number.hpp"

namespace echosieve {

namespace {

constexpr Eigen::Index margin = 4;  // rows of a table beyond, for the interpolation
// Of the tables, half a radian each where the pulse is furthest from its mean: what turns by more
// is no wall, but a pulse that is none, or a share that ran away.
constexpr Eigen::Index most_table_steps = 1500;
constexpr double least_reach = 1e-3;  // of the pulse, range 1: less is no pulse
// The tissue may be faster than the sheet's outermost layers, when the other wall moves more: by
// this part of the largest share.
constexpr double faster_tissue = 0.5;

}  // namespace

Eigen::Index GateTables::rows_to(double share) const {
    return held_whole(std::ceil(share / step), Eigen::Index{0}, 2 * most_table_steps) + margin;
}

void GateTables::choose_step(const AveragedGate& averaged, double& largest_share) {
    const LayerTimes& times = averaged.times;
    const double reach = std::max((times.pulse - times.pulse.mean()).abs().maxCoeff(), least_reach);
    step = largest_turn / (2 * std::numbers::pi * averaged.gate.frequencies.maxCoeff() * 2 /
                           times.sound_speed * reach);
    const double most = static_cast<double>(most_table_steps) * step;
    if (!(largest_share <= most)) {
        largest_layer = largest_share = most;
    }
}

GateTables::GateTables(const AveragedGate& averaged, double largest_share) {
    choose_step(averaged, largest_share);
    const GateSpectrum& gate = averaged.gate;
    const auto phasors = [&](double share, double bulk) {
        return layer_phasors(gate, averaged.times, {averaged.sense * share, bulk});
    };
    // The row of share 0 is `rows` further on.
    const auto from = [&](Eigen::Index rows) {
        return phasors(-static_cast<double>(rows) * step, 0);
    };
    const Eigen::ArrayXXcd weights =
        averaged.times.weight.cast<std::complex<double>>().replicate(1, gate.bins());
    const Eigen::ArrayXXcd weighted = gate.values * weights;
    below = rows_to(-lowest_tissue * largest_share);
    const Eigen::Index above = rows_to(largest_share);
    const Eigen::Index count = below + 1 + above;
    const Eigen::ArrayXXcd turn = phasors(step, 0);
    const Eigen::ArrayXXcd back = turn.conjugate();
    const Eigen::ArrayXXcd slowest = from(below);
    tissue_projection = TurnedSums(weighted * slowest.conjugate(), back, count);
    // What the wall moves by beside the tissue, the pulse apart, turns its echoes and leaves the
    // tissue's.
    Eigen::ArrayXXcd beside = phasors(0, averaged.wall_bulk);
    if (averaged.own.size() > 0) {
        LayerTimes own = averaged.times;
        own.pulse = averaged.own;
        beside *= layer_phasors(gate, own, {1, 0});
    }
    wall_projection = TurnedSums(weighted * (slowest * beside).conjugate(), back, count);
    // What stands still, seen from the turned-back frames.
    const Eigen::ArrayXXcd still = phasors(0, averaged.tissue);
    still_projection = (weighted * still).colwise().sum().transpose();
    const Eigen::ArrayXXcd still_slowest = weights * slowest * still;
    still_tissue = TurnedSums(still_slowest, turn, count);
    still_wall = TurnedSums(still_slowest * beside, turn, count);
    gram_below = margin;
    gram = TurnedSums(weights * from(gram_below), turn, gram_below + 1 + above);
    cross_below = rows_to(faster_tissue * largest_share);
    cross = TurnedSums(weights * from(cross_below) * beside, turn,
                       cross_below + 1 + rows_to((1 - lowest_tissue) * largest_share));
}

}  // namespace echosieve
