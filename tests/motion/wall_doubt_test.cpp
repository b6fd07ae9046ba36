#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "motion/wall/share_scatter.hpp"
#include "motion/wall/smooth_tissue.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;
using test::made_gate;
using test::made_settings;
using test::made_times;
using test::MadeGate;

namespace {

constexpr double wall_depth = 13e-3;  // in the middle of the made gate
constexpr double wall_share = 200e-6;

WallState far_wall() {
    WallState wall;
    wall.sense = 1;
    wall.depth = wall_depth;
    wall.share = wall_share;
    wall.bulk = wall.tissue = 1;
    wall.radius = 3e-3;
    return wall;
}

// An echo of the gate: where it lies, how it moves, how strong it is.
struct MadeEcho {
    double depth;
    double share;
    std::complex<double> amplitude;
};

GateSpectrum gate_of(const LayerTimes& times, const std::vector<MadeEcho>& echoes, double noise,
                     std::uint64_t seed) {
    MadeGate made = made_gate(times, {{0, 1}}, noise, seed);
    GateSpectrum& gate = made.gate;
    gate.depth = wall_depth;
    gate.values -= layer_phasors(gate, times, {0, 1}).rowwise() * made.spectra.row(0);
    const double decay = decay_from_bandwidth(1e6);
    const auto count = static_cast<Eigen::Index>(gate.grid.count);
    for (const MadeEcho& echo : echoes) {
        Eigen::ArrayXXcd samples(1, count);
        for (Eigen::Index n = 0; n < count; ++n) {
            const double t =
                gate.grid.time(static_cast<double>(n)) - made_settings().arrival(echo.depth);
            samples(0, n) =
                echo.amplitude * std::exp(-decay * t * t) *
                gate_window((static_cast<double>(n) + 0.5) / static_cast<double>(count));
        }
        gate.values += layer_phasors(gate, times, {echo.share, 1}).rowwise() *
                       gate_spectra(gate, samples).row(0);
    }
    return gate;
}

// Echoes all over the gate with phases of their own, as fast as share(distance from the wall).
template <class Share>
std::vector<MadeEcho> continuum(double strength, Share share) {
    std::vector<MadeEcho> out;
    constexpr double step = 0.15e-3;
    for (int k = -8; k <= 8; ++k) {
        out.push_back({wall_depth + k * step, share(k * step), std::polar(strength, 2.4 * k * k)});
    }
    return out;
}

// The gate as the model takes it apart where the wall is known.
SeparatedWall taken_apart(const LayerTimes& times, GateSpectrum gate) {
    const WallModelOptions options;
    SeparatedWall wall;
    wall.state = far_wall();
    WallModel model(gate, times, {wall.state, largest_layer(wall.state, 1.5)}, made_settings(),
                    options);
    double noise = 0.05 * model.power();
    wall.state = likeliest_wall(model, wall.state, LikelihoodGrid{}, options, noise);
    const WallModel::Layers layers = model.layers(wall.state, noise);
    wall.layered.gate = std::move(gate);
    wall.layered.fit = layered_fit(wall.layered.gate, times, layers, wall.state.own);
    wall.wall_layers = layers.wall_layers;
    wall.reference = layers.reference;
    return wall;
}

std::vector<MadeEcho> wall_on_tissue(double wall, double tissue_part, double tissue) {
    std::vector<MadeEcho> echoes =
        continuum(tissue, [&](double) { return tissue_part * wall_share; });
    echoes.push_back({wall_depth, wall_share, wall});
    echoes.push_back({wall_depth - 0.6e-3, 1.2 * wall_share, 0.6 * wall});
    return echoes;
}

double presence_of(const LayerTimes& times, const std::vector<MadeEcho>& echoes) {
    const SeparatedWall wall = taken_apart(times, gate_of(times, echoes, 0.3, 3));
    return wall_presence(wall, times, made_settings(), {});
}

}  // namespace

TEST_CASE("a wall on slower tissue is present, tissue as fast as a wall is not") {
    const LayerTimes times = made_times(800);
    CHECK(presence_of(times, wall_on_tissue(4, 0.3, 1)) > 3);
    // Weaker than the tissue on it, and still there.
    CHECK(presence_of(times, wall_on_tissue(2, 0.3, 2)) > 3);
    // Tissue all over the gate: even, and slower with the distance by a third a millimetre.
    constexpr double as_good = 0.6;  // a value: a fifth of what a wall shows
    CHECK(presence_of(times, continuum(1.5, [](double) { return wall_share; })) < as_good);
    CHECK(presence_of(times, continuum(1.5, [](double d) {
                          return wall_share * (1 - 0.33 * d / 1e-3);
                      })) < as_good);
}

TEST_CASE("frequencies disagree about a share where the model leaves something out") {
    const LayerTimes times = made_times(800);
    const auto scatter = [&](const GateSpectrum& gate) {
        return share_scatter(taken_apart(times, gate), times);
    };
    const GateSpectrum plain = gate_of(times, wall_on_tissue(3, 0.2, 0.5), 0.1, 3);
    // One of the wall's echoes changes with the beat, which no layer does.
    GateSpectrum changed = plain;
    const GateSpectrum alone = gate_of(times, {{wall_depth - 0.3e-3, 1.1 * wall_share, 2}}, 0, 3);
    changed.values += alone.values.colwise() * times.pulse.cast<std::complex<double>>();
    CHECK(scatter(plain) > 0);
    CHECK(scatter(changed) > 3 * scatter(plain));
}

TEST_CASE("separability is the rms turn of the wall's echo against the tissue's") {
    const LayerTimes times = made_times(800);
    SeparatedWall wall;
    wall.state = far_wall();
    wall.state.bulk = 1;
    wall.wall_layers = 1;
    wall.layered.fit.shares = {{wall_share, 1}, {20e-6, 1}, {80e-6, 1}};
    wall.layered.fit.spectra.resize(3, 2);
    wall.layered.fit.spectra << 5.0, 5.0, 1.0, 1.0, 2.0, 2.0;
    // By energy, 1 to 4: 68 um; so 132 um of the pulse, at 4 MHz and 1540 m/s.
    const double deviation = std::sqrt((times.pulse - times.pulse.mean()).square().mean());
    const double expected = 4 * std::numbers::pi * 4e6 / 1540 * 132e-6 * deviation;
    constexpr double rounding = 1e-9;
    CHECK_WITHIN_RELATIVE(separability(wall, times, made_settings()), expected, rounding);
    // What the wall does by itself tells it from the tissue too.
    wall.state.own = -132e-6 * times.pulse;
    CHECK(separability(wall, times, made_settings()) < rounding);
}
