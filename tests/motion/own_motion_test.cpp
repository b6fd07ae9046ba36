#include "motion/wall/own_motion.hpp"
#include "motion/layers/layer_fit.hpp"

#include <cmath>
#include <numbers>

#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;
using test::made_frame_rate;
using test::made_gate;
using test::made_times;
using test::MadeGate;
using test::rms;

namespace {

const LayerShare wall_share{-200e-6, 1.02};
const LayerShare tissue_share{-20e-6, 0.97};

// A wall that does `own` [m] beyond the common time courses, with tissue on it.
SeparatedWall wall_with(const LayerTimes& times, const Eigen::ArrayXd& own, double noise,
                        std::uint64_t seed) {
    MadeGate made = made_gate(times, {wall_share, tissue_share}, 0, 21);
    // The wall's own motion: its layer turned once more.
    LayerTimes beyond = times;
    beyond.pulse = own;
    const Eigen::ArrayXXcd turn = layer_phasors(made.gate, beyond, {1, 0});
    made.gate.values +=
        layer_phasors(made.gate, times, wall_share).rowwise() * made.spectra.row(0) * (turn - 1);
    RandomStream random(seed, 1);
    for (std::complex<double>& y : made.gate.values.reshaped()) {
        const double real = random.normal();
        y += noise * std::complex<double>(real, random.normal());
    }
    SeparatedWall wall;
    wall.layered.gate = made.gate;
    wall.layered.fit = fit_layers(made.gate, times, {wall_share, tissue_share}, {.ridge = 1e-6});
    wall.state.sense = -1;
    wall.state.share = -wall.layered.fit.shares[0].pulse;
    wall.state.bulk = wall.layered.fit.shares[0].bulk;
    return wall;
}

Eigen::ArrayXd swing(Eigen::Index frames, double size, double frequency) {
    Eigen::ArrayXd x(frames);
    for (Eigen::Index i = 0; i < frames; ++i) {
        x[i] = size * std::sin(2 * std::numbers::pi * frequency * static_cast<double>(i) /
                               made_frame_rate);
    }
    return x;
}

Eigen::ArrayXd centred(const Eigen::ArrayXd& x) {
    return x - x.mean();
}

}  // namespace

TEST_CASE("what a wall does beyond the common time courses is recovered") {
    const LayerTimes times = made_times(2000);
    const Eigen::ArrayXd own = swing(2000, 8e-6, 4);
    const SeparatedWall wall = wall_with(times, own, 0.05, 1);
    const WallMotion motion = wall_motion(wall, times, made_frame_rate);
    const Eigen::ArrayXd truth =
        wall_share.pulse * times.pulse + wall_share.bulk * times.bulk + own;
    const double error = rms(centred(motion.displacement - truth));
    INFO("error ", error);
    // The tissue's free spectrum and the shares take up 5 % of it and turn it a little, with noise
    // or without, whatever the spread.
    constexpr double part_of_own = 0.2;
    CHECK(error < part_of_own * rms(own));
    CHECK_WITHIN_RELATIVE(rms(motion.own), rms(own), part_of_own);
    // Without that step the shares alone leave it all.
    const LayerShare& s = wall.layered.fit.shares[0];
    CHECK(rms(centred(s.pulse * times.pulse + s.bulk * times.bulk - truth)) > 0.8 * rms(own));
    CHECK(motion.correlation.minCoeff() > 0.9);
    constexpr double strength_tolerance = 0.1;  // a few bins of noise in one frame
    CHECK_WITHIN(motion.strength.abs().mean(), 1.0, strength_tolerance);
}

TEST_CASE("what a wall does by itself is held to its usual spread, by how little the frames say") {
    const LayerTimes times = made_times(2000);
    const SeparatedWall wall = wall_with(times, swing(2000, 8e-6, 4), 0.3, 1);
    const WallMotion free = wall_motion(wall, times, made_frame_rate, {.spread = 1e-3});
    // Curvature H = 1 / (2 n s^2) for a deviation s, that of the penalty 1 / (n spread^2).
    const double s = std::sqrt(1 / (1 / free.deviation.square()).mean());
    for (const double spread : {0.5 * s, s, 2 * s}) {
        CAPTURE(spread);
        const WallMotion held = wall_motion(wall, times, made_frame_rate, {.spread = spread});
        const double kept = (held.own * free.own).sum() / free.own.square().sum();
        constexpr double roughly = 0.03;  // frames differ in what they say
        CHECK_WITHIN(kept, spread * spread / (spread * spread + 2 * s * s), roughly);
    }
}

TEST_CASE("the standard deviation is the scatter over draws of the noise") {
    const LayerTimes times = made_times(800);
    const Eigen::ArrayXd own = Eigen::ArrayXd::Zero(800);
    constexpr std::uint64_t draws = 30;
    Eigen::ArrayXd sum = Eigen::ArrayXd::Zero(800);
    Eigen::ArrayXd square = Eigen::ArrayXd::Zero(800);
    double stated = 0;
    for (std::uint64_t seed = 0; seed < draws; ++seed) {
        const WallMotion motion =
            wall_motion(wall_with(times, own, 0.3, seed), times, made_frame_rate);
        const Eigen::ArrayXd x = centred(motion.displacement);
        sum += x;
        square += x.square();
        stated += motion.deviation.mean() / static_cast<double>(draws);
    }
    const Eigen::ArrayXd mean = sum / static_cast<double>(draws);
    const double scatter = std::sqrt((square / static_cast<double>(draws) - mean.square()).mean());
    INFO("scatter ", scatter, ", stated ", stated);
    // The penalty's own bandwidth is 0.83 of that assumed, the spread takes off a little more, the
    // shares add a little; 30 draws of some 40 independent values tell to a few per cent.
    constexpr double factor = 1.4;
    CHECK(stated < factor * scatter);
    CHECK(stated > scatter / factor);
}

TEST_CASE("frames that are not usable count for nothing") {
    LayerTimes times = made_times(500);
    times.weight.segment(200, 4).setZero();
    SeparatedWall wall = wall_with(times, swing(500, 5e-6, 4), 0.05, 3);
    const WallMotion before = wall_motion(wall, times, made_frame_rate);
    wall.layered.fit.rest.middleRows(200, 4) = 1e3;
    const WallMotion after = wall_motion(wall, times, made_frame_rate);
    CHECK((before.displacement == after.displacement).all());
    CHECK((after.correlation.segment(200, 4) == 0).all());
    CHECK(after.displacement.allFinite());
    CHECK_THROWS_AS(static_cast<void>(wall_motion(wall, times, made_frame_rate, {.cutoff = 0})),
                    InvalidInput);
    CHECK_THROWS_AS(
        static_cast<void>(wall_motion(wall, times, made_frame_rate, {.spread = std::nan("")})),
        InvalidInput);
}
