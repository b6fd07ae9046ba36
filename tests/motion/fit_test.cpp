#include "motion/wall/fit.hpp"

#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;
using test::made_gate;
using test::made_settings;
using test::made_times;
using test::MadeGate;

namespace {

using Complex = std::complex<double>;

WallState far_wall() {
    WallState wall;
    wall.sense = 1;
    wall.depth = 13e-3;  // in the middle of the made gate
    wall.share = 200e-6;
    wall.bulk = wall.tissue = 1;
    wall.radius = 3e-3;
    return wall;
}

// The spectrum of an echo at `depth`, as the gate's window shows it.
Eigen::ArrayXXcd echo_at(const GateSpectrum& gate, double depth) {
    const double decay = decay_from_bandwidth(1e6);
    const auto count = static_cast<Eigen::Index>(gate.grid.count);
    Eigen::ArrayXXcd samples(1, count);
    for (Eigen::Index n = 0; n < count; ++n) {
        const double t = gate.grid.time(static_cast<double>(n)) - made_settings().arrival(depth);
        samples(0, n) = std::exp(-decay * t * t) *
                        gate_window((static_cast<double>(n) + 0.5) / static_cast<double>(count));
    }
    return gate_spectra(gate, samples);
}

// A far wall of two echoes, 0.7 mm apart, strained by `strain`, in noise.
MadeGate wall_gate_of(const LayerTimes& times, double strain, double noise, std::uint64_t seed) {
    const WallState wall = far_wall();
    MadeGate made = made_gate(times, {{0, 1}}, noise, seed);
    made.gate.values -= layer_phasors(made.gate, times, {0, 1}).rowwise() * made.spectra.row(0);
    for (const double d : {0.0, 0.7e-3}) {
        const double share = wall.share * (1 + strain * d / (wall.radius - d));
        made.gate.values += layer_phasors(made.gate, times, {share, 1}).rowwise() *
                            (4 * echo_at(made.gate, wall.depth - d)).row(0);
    }
    return made;
}

WallState likeliest(const LayerTimes& times, const MadeGate& made, double start,
                    const LikelihoodGrid& search = {}) {
    WallState wall = far_wall();
    wall.share = start;
    const WallModelOptions options;
    WallModel model(made.gate, times, {wall, 900e-6}, made_settings(), options);
    double noise = 0.05 * model.power();
    return likeliest_wall(model, wall, search, options, noise);
}

}  // namespace

TEST_CASE("share and place of a wall are found from a start a quarter off") {
    const LayerTimes times = made_times(1000);
    const MadeGate made = wall_gate_of(times, 0.85, 0.1, 3);
    for (const double start : {160e-6, 250e-6}) {
        CAPTURE(start);
        LikelihoodGrid search;
        search.offsets = {-0.6e-3, -0.3e-3, 0, 0.3e-3, 0.6e-3};
        const WallState found = likeliest(times, made, start, search);
        CHECK_WITHIN_RELATIVE(found.share, 200e-6, 0.03);
        CHECK_WITHIN(found.depth, 13e-3, 0.3e-3);            // the search's step
        CHECK(found.share_deviation > 0.003 * found.share);  // the grid's own
        CHECK(found.share_deviation < 0.02 * found.share);
    }
}

TEST_CASE("the strain is learned from how much faster the lumen's side moves") {
    const LayerTimes times = made_times(1000);
    const auto strain_of = [&](double truth) {
        return likeliest(times, wall_gate_of(times, truth, 0.05, 5), 200e-6).prior.strain;
    };
    // Before the gate is seen: 0.85 +- 0.2.
    CHECK(strain_of(0.5) < 0.7);
    CHECK(strain_of(1.2) > 1.0);
}

TEST_CASE("share and strain are their means over the posterior, the belief in the strain with it") {
    // Noise that leaves several strains possible.
    const LayerTimes times = made_times(400);
    const MadeGate made = wall_gate_of(times, 1.3, 3, 5);
    const WallModelOptions options;
    WallModel model(made.gate, times, {far_wall(), 900e-6}, made_settings(), options);
    double noise = 0.05 * model.power();
    const WallState found = likeliest_wall(model, far_wall(), LikelihoodGrid{}, options, noise);
    struct Means {
        double share = 0;
        double strain = 0;
    };
    const auto means = [&](double belief) {
        double sum = 0;
        Means out;
        const double top = model.evidence(found, noise);
        for (const double z : {-1.5, -0.5, 0.5, 1.5}) {
            WallState wall = found;
            wall.prior.strain = options.strain_mean + z * options.strain_spread;
            for (double part = 0.8; part <= 1.2; part += 0.005) {
                wall.share = part * found.share;
                const double weight =
                    std::exp(model.evidence(wall, noise) - top - belief * z * z / 2);
                sum += weight;
                out.share += weight * wall.share;
                out.strain += weight * wall.prior.strain;
            }
        }
        return Means{out.share / sum, out.strain / sum};
    };
    const Means with = means(1);
    constexpr double fine = 0.01;  // the search's steps of the share are 1.25 %
    REQUIRE(std::abs(means(0).strain - with.strain) > 4 * fine);
    CHECK_WITHIN(found.prior.strain, with.strain, fine);
    CHECK_WITHIN_RELATIVE(found.share, with.share, 0.1 * fine);
}

TEST_CASE("a share is less sure of fewer frames and of noisier ones") {
    const auto deviation = [](Eigen::Index frames, double noise) {
        const LayerTimes times = made_times(frames);
        return likeliest(times, wall_gate_of(times, 0.85, noise, 7), 200e-6).share_deviation;
    };
    const double sure = deviation(1600, 0.05);
    CHECK(deviation(200, 0.05) > 1.5 * sure);
    CHECK(deviation(200, 3) > 1.2 * deviation(200, 0.05));
}

TEST_CASE("a share stays within its bounds while it is looked for") {
    const LayerTimes times = made_times(400);
    const MadeGate made = wall_gate_of(times, 0.85, 0.1, 3);
    WallState wall = far_wall();
    wall.share = 130e-6;
    const WallModelOptions options;
    WallModel model(made.gate, times, {wall, 900e-6}, made_settings(), options);
    double noise = 0.05 * model.power();
    LikelihoodGrid search;
    search.bounds = {110e-6, 150e-6};
    const WallState found = likeliest_wall(model, wall, search, options, noise);
    CHECK(found.share <= 150e-6);
    CHECK(found.share >= 110e-6);
    CHECK(found.share > 140e-6);  // as near to 0.2 mm as it may
    CHECK(noise >= options.least_noise * model.power());
}

TEST_CASE("a wall's spectrum and its echoes are those of its own layers") {
    const LayerTimes times = made_times(50);
    const std::vector<LayerShare> shares = {{200e-6, 1.1}, {230e-6, 1.1}, {0, 0}, {50e-6, 1}};
    const MadeGate made = made_gate(times, shares, 0, 9);
    SeparatedWall wall;
    wall.layered.gate = made.gate;
    wall.layered.fit.shares = shares;
    wall.layered.fit.spectra = made.spectra;
    wall.wall_layers = 2;
    const Eigen::ArrayXcd spectrum = (made.spectra.row(0) + made.spectra.row(1)).transpose();
    CHECK((wall.spectrum() - spectrum).abs().maxCoeff() < 1e-14);
    Eigen::ArrayXXcd echoes =
        layer_phasors(made.gate, times, shares[0]).rowwise() * made.spectra.row(0);
    echoes += layer_phasors(made.gate, times, shares[1]).rowwise() * made.spectra.row(1);
    constexpr double rounding = 1e-13;
    CHECK((wall.echoes(times) - echoes).abs().maxCoeff() < rounding);
    wall.state.own = 30e-6 * Eigen::ArrayXd::LinSpaced(50, 0, 1);
    const Eigen::ArrayXXcd own = own_phasors(made.gate, times, wall.state.own);
    CHECK((wall.echoes(times) - echoes * own).abs().maxCoeff() < rounding);
    for (const Eigen::Index i : {0, 49}) {
        const double turns = made.gate.frequencies[3] * 2 / 1540 * wall.state.own[i];
        CHECK_WITHIN(own(i, 3), std::polar(1.0, -2 * std::numbers::pi * turns), rounding);
    }
    wall.state.sense = -1;
    wall.state.share = 210e-6;
    wall.state.bulk = 1.1;
    CHECK(wall.share().pulse == -210e-6);
    CHECK(wall.share().bulk == 1.1);
}

TEST_CASE("noise to compare states at is what the layers leave, or what the model is good for") {
    const LayerTimes times = made_times(100);
    const MadeGate made = wall_gate_of(times, 0.85, 0.5, 3);
    const WallModelOptions options;
    const WallModel model(made.gate, times, {far_wall(), 900e-6}, made_settings(), options);
    LayeredGate layered;
    layered.fit.power = 2;
    layered.fit.noise = 0.5;
    CHECK_WITHIN_RELATIVE(noise_of(model, layered, options), 0.25 * model.power(), 1e-12);
    CHECK_WITHIN_RELATIVE(noise_of(model, layered, options, 0.5), 0.125 * model.power(), 1e-12);
    layered.fit.noise = 1e-6;
    CHECK_WITHIN_RELATIVE(noise_of(model, layered, options), options.least_noise * model.power(),
                          1e-12);
}

TEST_CASE("a wall search outside its domain is refused by name") {
    const auto refused = [](auto change, const char* name) {
        LikelihoodGrid search;
        change(search);
        CHECK_THROWS_WITH_AS(validate(search), doctest::Contains(name), InvalidInput);
    };
    refused([](auto& s) { s.offsets.clear(); }, "number of offsets = 0");
    refused([](auto& s) { s.shares.lowest = 0; }, "lowest = 0");
    refused([](auto& s) { s.shares.lowest = 2; }, "lowest = 2");
    refused([](auto& s) { s.shares.count = 0; }, "count = 0");
}
