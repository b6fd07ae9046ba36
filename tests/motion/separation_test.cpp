#include "motion/wall/separation.hpp"

#include <cmath>
#include <optional>

#include "motion/wall/own_motion.hpp"
#include "motion/wall/search.hpp"
#include "support/artery_line.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;
using test::ArteryLine;
using test::ArteryLineOptions;
using test::rms;

namespace {

// The walls as a finder would have them: their gates half a millimetre off, their shares `part` of
// what they are.
WallPair found_pair(const ArteryLine& made, double part) {
    WallPair pair;
    pair.near = {made.options.near_depth - 0.5e-3, part * made.options.near_share * made.range()};
    pair.far = {made.options.far_depth + 0.5e-3, part * made.options.far_share * made.range()};
    return pair;
}

LayerTimes times_of(const ArteryLine& made) {
    const CommonMotion motion = made.motion();
    return {motion.pulse, motion.bulk, made.line.weights(), made.line.settings.sound_speed};
}

SeparatedWalls separated(const ArteryLine& made, const WallPair& pair,
                         const WallSeparationOptions& options = {}) {
    const LayerTimes times = times_of(made);
    return separate_walls(made.line, pair, times,
                          tissue_gates(made.line, made.motion(), times, options), options);
}

// rms error of a wall's motion, mean removed [m].
double motion_error(const ArteryLine& made, const SeparatedWalls& walls, double sense) {
    const SeparatedWall& wall = sense < 0 ? walls.near : walls.far;
    const WallMotion motion = wall_motion(wall, walls.times, made.line.settings.frame_rate);
    const Eigen::ArrayXd error = motion.displacement - made.wall_course(sense);
    return rms(error - error.mean());
}

double share_of(const ArteryLine& made, double sense) {
    return (sense < 0 ? made.options.near_share : made.options.far_share) * made.range();
}

// One layer a wall, 5 dB over the tissue: 0.2 to 1.2 um with the lines below; a cycle lost would
// be tens of micrometres, tissue left on the wall several.
constexpr double fine_motion = 1.5e-6;
// Tissue echoes on a pulse's flank move its edge, by which outer layers are told: 154 um at most
// here, a fifth of the resolution.
constexpr double fine_depth = 0.2e-3;

void check_motion(const ArteryLine& made, const SeparatedWalls& walls) {
    for (const double sense : {-1.0, 1.0}) {
        CAPTURE(sense);
        CHECK_WITHIN(motion_error(made, walls, sense), 0, fine_motion);
    }
}

}  // namespace

TEST_CASE("both walls are taken out of the tissue, from shares that are only roughly right") {
    for (const double part : {0.6, 1.6}) {
        CAPTURE(part);
        const ArteryLine made({});
        const SeparatedWalls walls = separated(made, found_pair(made, part));
        check_motion(made, walls);
        for (const double sense : {-1.0, 1.0}) {
            CAPTURE(sense);
            const SeparatedWall& wall = sense < 0 ? walls.near : walls.far;
            CHECK(wall.state.sense == sense);
            CHECK_WITHIN(wall.state.depth,
                         sense < 0 ? made.options.near_depth : made.options.far_depth, fine_depth);
            // p and q are fixed up to a mixture: shares alone are no more than near the truth.
            CHECK_WITHIN_RELATIVE(wall.state.share, share_of(made, sense), 0.15);
            CHECK(wall.state.share_deviation > 0);
            CHECK(wall.state.share_deviation < 0.02 * wall.state.share);
            CHECK(wall.wall_layers > 1);
            CHECK(wall.layered.fit.residual() < 0.01);
            CHECK(wall.mean_evidence > 1);
            CHECK(!wall.other_cycle);
        }
        CHECK(walls.near.state.radius == walls.far.state.radius);
        CHECK_WITHIN(walls.near.state.radius, 3e-3, fine_depth);
        CHECK(walls.near.state.radial_share == walls.far.state.radial_share);
    }
}

TEST_CASE("a wall's own part of the bulk motion is found, over a cycle of the carrier too") {
    const ArteryLine uneven({.near_bulk = 1.25, .far_bulk = 0.8});
    const SeparatedWalls near_by = separated(uneven, found_pair(uneven, 1));
    check_motion(uneven, near_by);
    CHECK(near_by.near.state.bulk > near_by.near.state.tissue + 0.15);
    CHECK(near_by.far.state.bulk < near_by.far.state.tissue - 0.1);
    // 0.6 of 0.28 mm more than the tissue: nearly a half wavelength.
    const ArteryLine far_off({.near_bulk = 1.6});
    const SeparatedWalls found = separated(far_off, found_pair(far_off, 1));
    check_motion(far_off, found);
    CHECK(found.near.other_cycle);
    CHECK(!found.far.other_cycle);
    CHECK_WITHIN(found.near.state.bulk, 1.6, 0.1);
    WallSeparationOptions without;
    without.search_cycles = false;
    CHECK(!separated(far_off, found_pair(far_off, 1), without).near.other_cycle);
}

TEST_CASE("a wall that slips past the tissue is followed by what it does by itself") {
    for (const double drift : {60e-6, 150e-6}) {
        CAPTURE(drift);
        const ArteryLine made({.near_drift = drift});
        const SeparatedWalls walls = separated(made, found_pair(made, 1));
        check_motion(made, walls);
        REQUIRE(walls.near.state.own.size() == made.options.frames);
        // Most of the ramp; the rest is called bulk motion.
        CHECK(rms(walls.near.state.own) > 0.4 * drift / std::sqrt(12.0));
        CHECK(walls.near.layered.own_layers == walls.near.wall_layers);
    }
}

TEST_CASE("of two layers a wall the one asked for is followed") {
    const ArteryLine made({.second_layer = 6});
    const double apart = made.options.layer_distance;
    const SeparatedWalls outer = separated(made, found_pair(made, 1));
    check_motion(made, outer);
    CHECK_WITHIN(outer.near.state.depth, made.options.near_depth - apart, fine_depth);
    CHECK_WITHIN(outer.far.state.depth, made.options.far_depth + apart, fine_depth);
    WallSeparationOptions options;
    options.reference.layer = WallLayer::inner;
    const SeparatedWalls inner = separated(made, found_pair(made, 1), options);
    constexpr double edge = 0.3e-3;  // inner layers are told by the pulse's edge as well
    CHECK_WITHIN(inner.near.state.depth, made.options.near_depth, edge);
    CHECK_WITHIN(inner.far.state.depth, made.options.far_depth, edge);
}

TEST_CASE("tissue that lags behind the walls is noticed, and the pulse put right") {
    const ArteryLine made({.tissue_share = 120e-6, .tissue_lag = 15e-3});
    const SeparatedWalls walls = separated(made, found_pair(made, 1));
    CHECK_WITHIN(walls.times.lag / made.line.settings.frame_rate, 15e-3, 4e-3);
    // Half of the tissue's share without it.
    constexpr double lagging = 8e-6;
    CHECK_WITHIN(motion_error(made, walls, -1), 0, lagging);
    CHECK_WITHIN(motion_error(made, walls, 1), 0, lagging);
    for (const LayeredGate& gate : walls.tissue) {
        CHECK(gate.late);
    }
}

TEST_CASE("tissue gates near the walls are left out, the others have two layers each") {
    const ArteryLine made({});
    const WallSeparationOptions options;
    const SeparatedWalls walls = separated(made, found_pair(made, 1));
    REQUIRE(walls.tissue.size() > 5);
    for (const LayeredGate& gate : walls.tissue) {
        CHECK(gate.fit.shares.size() == 2);
        for (const double wall : {walls.near.state.depth, walls.far.state.depth}) {
            CHECK(std::abs(gate.gate.depth - wall) >= options.wall_distance);
        }
    }
    CHECK(walls.times.lag == 0);
    CHECK_WITHIN(walls.times.pulse.mean(), 0, 1e-12);
    CHECK_WITHIN(walls.times.bulk.mean(), 0, 1e-12);
}

TEST_CASE("a wall's gate moves along with it") {
    // Beside such a wall there is nothing: its energy in the gate changes only if it moves in the
    // window.
    const ArteryLine made({.wall_amplitude = 1e5, .noise = 0});
    const LayerTimes times = times_of(made);
    WallState state;
    state.sense = 1;
    state.depth = made.options.far_depth - 0.3e-3;  // on a flank of the window
    state.share = share_of(made, 1);
    const auto spread = [&](const WallState& moved) {
        const GateSpectrum gate = wall_gate(made.line, moved, times, 0.6e-3);
        const Eigen::ArrayXd energy = gate.values.abs2().rowwise().sum();
        return energy.maxCoeff() / energy.minCoeff() - 1;
    };
    constexpr double sampled = 0.15;  // the window falls between four or so samples a pulse
    CHECK(spread(state) < sampled);
    WallState against = state;
    against.sense = -1;
    CHECK(spread(against) > 3 * sampled);
    WallState without_bulk = state;
    without_bulk.bulk = 0;
    CHECK(spread(without_bulk) > 2 * sampled);
}

TEST_CASE("separation options outside their domain are refused by name") {
    const auto refused = [](auto change, const char* name) {
        WallSeparationOptions options;
        change(options);
        CHECK_THROWS_WITH_AS(validate(options), doctest::Contains(name), InvalidInput);
    };
    refused([](auto& o) { o.tissue_half_gate = 0; }, "tissue_half_gate = 0");
    refused([](auto& o) { o.tissue_spacing = 0; }, "tissue_spacing = 0");
    refused([](auto& o) { o.wall_distance = 0; }, "wall_distance = 0");
    refused([](auto& o) { o.bulk_reach = 0; }, "bulk_reach = 0");
    refused([](auto& o) { o.rounds = 0; }, "rounds = 0");
    refused([](auto& o) { o.fine_rounds = 0; }, "fine_rounds = 0");
    refused([](auto& o) { o.coarse.pulse_cutoff = 0; }, "pulse_cutoff = 0");
    refused([](auto& o) { o.fine.bulk_cutoff = 0; }, "bulk_cutoff = 0");
    refused([](auto& o) { o.gaps.pulse_step = 0; }, "pulse_step = 0");
    refused([](auto& o) { o.lag.largest_lag = 0; }, "largest_lag = 0");
    refused([](auto& o) { o.reference.reach = -1; }, "reach = -1");
    refused([](auto& o) { o.model.thickness = 0; }, "thickness = 0");
}
