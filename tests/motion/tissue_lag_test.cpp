#include "motion/wall/tissue_lag.hpp"

#include <cmath>
#include <vector>

#include "motion/layers/layer_fit.hpp"
#include "motion/wall/search.hpp"
#include "support/artery_line.hpp"
#include "support/check.hpp"

using namespace echosieve;
using test::ArteryLine;
using test::ArteryLineOptions;

namespace {

constexpr double rate = 500;  // [Hz]

// All that settle_tissue_lag asks for: the walls roughly taken apart, the tissue's gates.
struct Set {
    ArteryLine made;
    SeparatedWalls walls;
    LayerTimes& times = walls.times;
    std::vector<LayeredGate>& gates = walls.tissue;

    // The pulse handed over is the walls' own, `behind` [s] later.
    Set(const ArteryLineOptions& options, double behind) : made(options) {
        const CommonMotion motion = made.motion();
        times = {delayed(motion.pulse, behind * rate), motion.bulk, made.line.weights(), 1540};
        const auto take = [&](SeparatedWall& wall, double sense, double depth, double share) {
            wall.state.sense = sense;
            wall.state.depth = depth;
            wall.state.share = share * made.range();
            wall.layered.gate = wall_gate(made.line, wall.state, times, 1.3e-3);
            const double a = sense * wall.state.share;
            wall.layered.fit =
                fit_layers(wall.layered.gate, times, {{a, 1}, {0.5 * a, 1}, {0.1 * a, 1}});
            put_fastest_first(wall.layered.fit, wall.layered.gate, times, sense);
        };
        take(walls.near, -1, made.options.near_depth, made.options.near_share);
        take(walls.far, 1, made.options.far_depth, made.options.far_share);
        for (LayeredGate& gate : tissue_gates(made.line, motion, times, {})) {
            if (std::abs(gate.gate.depth - made.options.near_depth) > 1.5e-3 &&
                std::abs(gate.gate.depth - made.options.far_depth) > 1.5e-3) {
                gates.push_back(gate);
            }
        }
    }

    bool settle(const TissueLagOptions& options = {}) {
        WallSeparationOptions separation;
        separation.lag = options;
        return settle_tissue_lag(made.line, walls, separation);
    }
};

double alike(const Eigen::ArrayXd& x, const Eigen::ArrayXd& y) {
    const Eigen::ArrayXd a = x - x.mean();
    const Eigen::ArrayXd b = y - y.mean();
    return (a * b).sum() / std::sqrt(a.square().sum() * b.square().sum());
}

constexpr double lag = 16e-3;
constexpr double grid = 6e-3;  // [s]: of both searches, 3 ms each

}  // namespace

TEST_CASE("walls ahead of the tissue's pulse get theirs, and the tissue its lag") {
    Set set({.tissue_share = 120e-6, .tissue_lag = lag}, lag);
    const Eigen::ArrayXd tissue = set.times.pulse;
    const Eigen::ArrayXd truth = set.made.motion().pulse;
    REQUIRE(set.settle());
    CHECK_WITHIN(set.times.lag / rate, lag, grid);
    CHECK(alike(set.times.pulse, truth) > 0.996);
    CHECK(alike(tissue, truth) < 0.99);
    CHECK(alike(set.times.late().pulse, tissue) > 0.996);
    for (const LayeredGate& gate : set.gates) {
        CHECK(gate.late);
    }
}

TEST_CASE("where the pulse came from a wall the tissue's gates say how late they are") {
    Set set({.tissue_share = 120e-6, .tissue_lag = lag}, 0);
    const Eigen::ArrayXd before = set.times.pulse;
    REQUIRE(set.settle());
    CHECK_WITHIN(set.times.lag / rate, lag, grid);
    CHECK(alike(set.times.pulse, before) > 0.9995);  // the walls' own stays, to a frame or so
}

TEST_CASE("walls and tissue that move at once have no lag, and nothing is changed") {
    Set set({.tissue_share = 120e-6}, 0);
    const LayerTimes before = set.times;
    std::vector<LayerShare> shares;
    for (const LayeredGate& gate : set.gates) {
        shares.push_back(gate.fit.shares[0]);
    }
    CHECK(!set.settle());
    CHECK(set.times.lag == 0);
    CHECK((set.times.pulse == before.pulse).all());
    CHECK((set.times.bulk == before.bulk).all());
    for (std::size_t k = 0; k < shares.size(); ++k) {
        CHECK(!set.gates[k].late);
        CHECK(set.gates[k].fit.shares[0].pulse == shares[k].pulse);
    }
}

TEST_CASE("a lag is not believed for less evidence and gain than asked for") {
    Set set({.tissue_share = 120e-6, .tissue_lag = lag}, lag);
    CHECK(!set.settle({.least_evidence = 1e6, .least_gain = 1e6}));
    CHECK_THROWS_WITH_AS(static_cast<void>(set.settle({.largest_lag = 0})),
                         doctest::Contains("largest_lag = 0"), InvalidInput);
    CHECK_THROWS_WITH_AS(static_cast<void>(set.settle({.least_evidence = -1})),
                         doctest::Contains("least_evidence = -1"), InvalidInput);
    CHECK_THROWS_WITH_AS(static_cast<void>(set.settle({.least_gain = std::nan("")})),
                         doctest::Contains("least_gain = nan"), InvalidInput);
}
