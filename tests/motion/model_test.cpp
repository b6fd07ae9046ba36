#include "motion/wall/model.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "motion/wall/fit.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;

using test::made_gate;
using test::made_settings;
using test::made_times;
using test::MadeGate;

namespace {

using Complex = std::complex<double>;

WallState some_wall() {
    WallState wall;
    wall.sense = -1;
    wall.depth = 13e-3;  // in the middle of the made gate
    wall.share = 200e-6;
    wall.bulk = 1.1;
    wall.tissue = 0.95;
    wall.radius = 3.5e-3;
    return wall;
}

// The spectra of the sheet's pulses in the gate's window (Tukey, a taper of 0.6), [sheet x bins].
Eigen::ArrayXXcd sheet_pulses(const GateSpectrum& gate, const WallState& wall,
                              const Eigen::ArrayXd& distances) {
    const double decay = decay_from_bandwidth(1e6);
    const auto count = static_cast<Eigen::Index>(gate.grid.count);
    Eigen::ArrayXXcd spectra = Eigen::ArrayXXcd::Zero(distances.size(), gate.bins());
    for (Eigen::Index k = 0; k < distances.size(); ++k) {
        const double arrival = made_settings().arrival(wall.depth - wall.sense * distances[k]);
        for (Eigen::Index n = 0; n < count; ++n) {
            const double t = gate.grid.time(static_cast<double>(n)) - arrival;
            const double x = (static_cast<double>(n) + 0.5) / static_cast<double>(count);
            const double edge = std::min({x / 0.3, (1 - x) / 0.3, 1.0});
            const double value =
                std::exp(-decay * t * t) * (0.5 - 0.5 * std::cos(std::numbers::pi * edge));
            for (Eigen::Index j = 0; j < gate.bins(); ++j) {
                const double turn = -2 * std::numbers::pi * (gate.frequencies[j] - 4e6) *
                                    static_cast<double>(n) * gate.grid.step();
                spectra(k, j) += std::polar(value / std::sqrt(static_cast<double>(count)), turn);
            }
        }
    }
    return spectra;
}

// The log likelihood with the covariance of all values written out.
double slow_evidence(const GateSpectrum& gate, const LayerTimes& times, const WallState& wall,
                     double noise, double power) {
    const Eigen::Index frames = gate.values.rows();
    const Eigen::Index bins = gate.bins();
    const double spacing = WallModelOptions{}.spacing * 1540 / 2 / 1e6;
    const double outside = std::ceil(0.35e-3 / spacing);
    const double inside = std::ceil(1.1e-3 / spacing);
    const Eigen::ArrayXd d =
        spacing * Eigen::ArrayXd::LinSpaced(static_cast<Eigen::Index>(outside + inside) + 1,
                                            -outside, inside);
    const Eigen::ArrayXXcd pulses = sheet_pulses(gate, wall, d);
    const double c = wall.prior.tissue_reach;
    const double span = (c + 0.15) * wall.share;
    const double layers = std::clamp(std::ceil(3.5 * span / (1540.0 / 2 / 4e6)), 6.0, 24.0);
    Eigen::MatrixXcd covariance = noise * Eigen::MatrixXcd::Identity(frames * bins, frames * bins);
    for (double k = 0; k < layers; ++k) {
        const double part = -0.15 + (c + 0.15) * k / (layers - 1);
        const double taper = std::clamp(1.2 - part / c, 0.05, 0.7) / 0.7;
        const Eigen::ArrayXXcd e =
            layer_phasors(gate, times, {wall.sense * part * wall.share, wall.tissue});
        for (Eigen::Index j = 0; j < bins; ++j) {
            const double x = (gate.frequencies[j] - 4e6) / 0.5e6;
            const double variance = wall.prior.tissue_power * power * 10 / layers * taper *
                                    std::max(std::pow(4.0, -x * x), 0.01);
            covariance.block(j * frames, j * frames, frames, frames) +=
                variance * e.col(j).matrix() * e.col(j).matrix().adjoint();
        }
    }
    const Eigen::ArrayXXcd still = layer_phasors(gate, times, {0, 0});
    for (Eigen::Index j = 0; j < gate.bins(); ++j) {
        const double x = (gate.frequencies[j] - 4e6) / 0.5e6;
        covariance.block(j * frames, j * frames, frames, frames) +=
            0.1 * power * std::max(std::pow(4.0, -x * x), 0.01) * still.col(j).matrix() *
            still.col(j).matrix().adjoint();
    }
    for (Eigen::Index k = 0; k < d.size(); ++k) {
        const double within = std::min(d[k], 0.3 * wall.radius);
        const double a = wall.share * (1 + wall.prior.strain * within / (wall.radius - within));
        const Eigen::ArrayXXcd e =
            layer_phasors(gate, times, {wall.sense * a, wall.bulk}).rowwise() * pulses.row(k);
        const Eigen::VectorXcd u = e.reshaped().matrix();
        const double variance = wall.prior.wall_power * power * std::exp(-std::abs(d[k]) / 0.5e-3);
        covariance += variance * u * u.adjoint();
    }
    const Eigen::LLT<Eigen::MatrixXcd> factor(covariance);
    const Eigen::VectorXcd y = gate.values.reshaped().matrix();
    return -2 * Eigen::MatrixXcd(factor.matrixL()).diagonal().array().real().log().sum() -
           factor.matrixL().solve(y).squaredNorm();
}

}  // namespace

TEST_CASE("the evidence is the Gaussian likelihood with its covariance written out") {
    // Frames one by one, since the slow way has them all in one matrix.
    WallModelOptions options;
    options.interval = 0;
    options.longest_interval = 0;
    LayerTimes times = made_times(900);
    times.pulse = Eigen::ArrayXd(times.pulse(Eigen::seq(0, 899, 20)));
    times.bulk = Eigen::ArrayXd(times.bulk(Eigen::seq(0, 899, 20)));
    times.weight = Eigen::ArrayXd::Ones(times.pulse.size());
    const MadeGate made = made_gate(times, {{-200e-6, 1.1}, {-40e-6, 0.95}, {10e-6, 0.95}}, 0.3, 3);
    const WallState wall = some_wall();
    WallModel model(made.gate, times, {wall, 600e-6}, made_settings(), options);
    CHECK_WITHIN_RELATIVE(model.power(), made.gate.values.abs2().mean(), 1e-12);
    const double noise = 0.1 * model.power();
    for (const double share : {120e-6, 200e-6, 290e-6}) {
        for (const double strain : {0.0, 0.9}) {
            WallState trial = wall;
            trial.share = share;
            trial.prior.strain = strain;
            CAPTURE(share);
            CAPTURE(strain);
            // Interpolation between grid shares that turn a phasor by 0.2 at most errs by 4e-5 of
            // it: of some thousands of logarithms that the layers explain, a few tenths.
            constexpr double interpolation = 0.3;
            CHECK_WITHIN(model.evidence(trial, noise),
                         slow_evidence(made.gate, times, trial, noise, model.power()),
                         interpolation);
        }
    }
}

TEST_CASE("the share of a sheet with tissue on it is found, and its layers leave the noise") {
    const LayerTimes times = made_times(1600);
    WallState wall = some_wall();
    // A sheet of one echo, strained with its place, and three layers of tissue.
    MadeGate made = made_gate(times, {{-20e-6, 0.95}, {-60e-6, 0.95}, {10e-6, 0.95}}, 0.05, 8);
    Eigen::ArrayXd at(1);
    at << 0.0;
    const Eigen::ArrayXXcd pulse = 4 * sheet_pulses(made.gate, wall, at);
    made.gate.values += layer_phasors(made.gate, times, {-200e-6, 1.1}).rowwise() * pulse.row(0);
    WallModelOptions options;
    WallModel model(made.gate, times, {wall, 800e-6}, made_settings(), options);
    WallState start = wall;
    start.share = 160e-6;
    double noise = 0.05 * model.power();
    const WallState found = likeliest_wall(model, start, LikelihoodGrid{}, options, noise);
    // Two standard deviations of the worst case, and the grid of the search.
    constexpr double part = 0.03;
    CHECK_WITHIN_RELATIVE(found.share, 200e-6, part);
    CHECK(found.share_deviation > 0);
    CHECK(found.share_deviation < part * found.share);
    const WallModel::Layers layers = model.layers(found, noise);
    CHECK(layers.wall_layers > layers.reference);
    CHECK(layers.noise < 0.1 * model.power());
    const LayerFit fit = layered_fit(made.gate, times, layers, {});
    CHECK(fit.residual() < 0.1);
    CHECK_WITHIN(std::abs(fit.shares[layers.reference].pulse), found.share, 1e-12);
}

TEST_CASE("a wall model refuses what it can't use") {
    const LayerTimes times = made_times(60);
    const MadeGate made = made_gate(times, {{1e-4, 1.0}}, 0.1, 1);
    CHECK_THROWS_AS(WallModel(made.gate, times, {some_wall(), 0}, made_settings()), InvalidInput);
    WallModelOptions options;
    options.thickness = std::nan("");
    CHECK_THROWS_AS(WallModel(made.gate, times, {some_wall(), 1e-4}, made_settings(), options),
                    InvalidInput);
}

TEST_CASE("a share that runs away, or a pulse with one frame far off, fills no memory") {
    LayerTimes times = made_times(400);
    const MadeGate made = made_gate(times, {{-200e-6, 1.1}, {10e-6, 0.95}}, 0.1, 3);
    const WallState wall = some_wall();
    WallModel usual(made.gate, times, {wall, 600e-6}, made_settings());
    const double noise = 0.1 * usual.power();
    // 1 km over the pulse would need tables of 10^8 rows. What they can't hold is no wall.
    WallModel far(made.gate, times, {wall, 1e3}, made_settings());
    CHECK_WITHIN_RELATIVE(far.evidence(wall, noise), usual.evidence(wall, noise), 1e-9);
    WallState away = wall;
    away.share = 1e3;
    CHECK(far.evidence(away, noise) == -std::numeric_limits<double>::infinity());
    const WallModel::Layers held = far.layers(away, noise);
    CHECK(held.spectra.allFinite());
    CHECK(std::abs(held.shares[0].pulse) < 0.1);
    away.share = std::nan("");
    CHECK(far.evidence(away, noise) == -std::numeric_limits<double>::infinity());
    // The steps of a table shrink as the pulse's furthest frame grows.
    times.pulse[17] = 1e7;
    WallModel spiked(made.gate, times, {wall, 600e-6}, made_settings());
    CHECK(spiked.evidence(wall, noise) == -std::numeric_limits<double>::infinity());
    double found_noise = noise;
    const WallState kept = likeliest_wall(spiked, wall, LikelihoodGrid{}, {}, found_noise);
    CHECK(kept.share <= largest_wall_share);
    CHECK(found_noise > 0);
    CHECK(held_share(std::nan("")) == smallest_wall_share);
    CHECK(held_share(-1) == smallest_wall_share);
    CHECK(held_share(1) == largest_wall_share);
    CHECK(held_share(2e-4) == 2e-4);
}

TEST_CASE("a wide band's sheet has no more layers than are worth it") {
    LayerTimes times = made_times(300);
    const MadeGate made = made_gate(times, {{-200e-6, 1.1}, {10e-6, 0.95}}, 0.1, 3);
    RecordingSettings wide = made_settings();
    wide.sensor.bandwidth = 15e6;  // 106 layers of a quarter of its resolution
    wide.sensor.centre_frequency = 20e6;
    WallModel model(made.gate, times, {some_wall(), 600e-6}, wide);
    CHECK(model.layers(some_wall(), 0.1 * model.power()).wall_layers <= 34);
}

TEST_CASE("the evidence does not depend on what was asked before") {
    const LayerTimes times = made_times(800);
    const MadeGate made = made_gate(times, {{-200e-6, 1.1}, {-40e-6, 0.95}}, 0.1, 3);
    const WallState wall = some_wall();
    WallModel model(made.gate, times, {wall, 600e-6}, made_settings());
    const double noise = 0.05 * model.power();
    std::vector<WallState> states(6, wall);
    states[1].depth += 0.2e-3;
    states[2].share *= 1.2;
    states[3].prior.wall_power = 4;
    states[4].prior.tissue_reach = 0.5;
    states[5].radius *= 1.1;
    std::vector<double> fresh;
    for (const WallState& state : states) {
        WallModel anew(made.gate, times, {wall, 600e-6}, made_settings());
        fresh.push_back(anew.evidence(state, noise));
    }
    for (const std::size_t k : {0U, 1U, 2U, 1U, 3U, 4U, 0U, 5U, 3U}) {
        CHECK(model.evidence(states[k], noise) == fresh[k]);
        static_cast<void>(model.layers(states[k], noise));
    }
}

TEST_CASE("frames averaged where little moves hold what all frames do") {
    const LayerTimes times = made_times(1600);
    const WallState wall = some_wall();
    MadeGate made = made_gate(times, {{-20e-6, 0.95}, {-60e-6, 0.95}, {10e-6, 0.95}}, 0.05, 8);
    Eigen::ArrayXd at(1);
    at << 0.0;
    const Eigen::ArrayXXcd pulse = 4 * sheet_pulses(made.gate, wall, at);
    made.gate.values += layer_phasors(made.gate, times, {-200e-6, 1.1}).rowwise() * pulse.row(0);
    WallModelOptions even;
    even.longest_interval = 0;
    const WallModelOptions quiet;
    std::array<double, 2> share{};
    for (const std::size_t k : {0U, 1U}) {
        const WallModelOptions& options = k == 0 ? even : quiet;
        WallModel model(made.gate, times, {wall, 800e-6}, made_settings(), options);
        double noise = 0.05 * model.power();
        share[k] = likeliest_wall(model, wall, LikelihoodGrid{}, options, noise).share;
    }
    constexpr double part = 0.004;  // of the share: a tenth of its usual standard deviation
    CHECK_WITHIN_RELATIVE(share[1], share[0], part);
}

TEST_CASE("what the layers of a wall leave is what its sums say") {
    const LayerTimes times = made_times(600);
    const MadeGate made = made_gate(times, {{-200e-6, 1.1}, {-40e-6, 0.95}}, 0.2, 5);
    WallState wall = some_wall();
    WallModelOptions options;
    options.interval = 0;
    options.longest_interval = 0;
    WallModel model(made.gate, times, {wall, 600e-6}, made_settings(), options);
    const WallModel::Layers layers = model.layers(wall, 0.1 * model.power());
    const LayerFit fit = layered_fit(made.gate, times, layers, {});
    constexpr double interpolation = 1e-3;  // of the gate's power
    CHECK_WITHIN(layers.noise / model.power(), fit.noise / model.power(), interpolation);
}
