#include "motion/layers/layers.hpp"
#include "motion/layers/layer_fit.hpp"

#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

#include "motion/courses/phase_track.hpp"
#include "motion/wall/fit.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;

using test::made_gate;
using test::made_times;
using test::MadeGate;

TEST_CASE("two layers without noise are taken apart exactly") {
    const LayerTimes times = made_times(900);
    const LayerShare wall{-180e-6, 1.02};
    const LayerShare tissue{-20e-6, 0.97};
    const MadeGate made = made_gate(times, {wall, tissue}, 0, 1);
    LayerFitOptions exact;
    exact.ridge = 1e-12;
    exact.iterations = 40;
    exact.tolerance = 0;
    const LayerFit fit = fit_layers(made.gate, times, {{-160e-6, 1.0}, {0, 1.0}}, exact);
    constexpr double share_tolerance =
        1e-12;  // [m]: a millionth of the motion, what the ridge leaves
    constexpr double spectrum_tolerance = 1e-6;  // of spectra of order one
    CHECK_WITHIN(fit.shares[0].pulse, wall.pulse, share_tolerance);
    CHECK_WITHIN(fit.shares[1].pulse, tissue.pulse, share_tolerance);
    CHECK_WITHIN(fit.shares[0].bulk, wall.bulk, 1e4 * share_tolerance);  // per metre of 150 um
    CHECK_WITHIN((fit.spectra - made.spectra).abs().maxCoeff(), 0.0, spectrum_tolerance);
    CHECK_WITHIN(fit.rest.abs().maxCoeff(), 0.0, spectrum_tolerance);
    const Eigen::ArrayXXcd isolated = isolated_layer(made.gate, times, fit, 0);
    const Eigen::ArrayXXcd expected =
        layer_phasors(made.gate, times, wall).rowwise() * made.spectra.row(0);
    CHECK_WITHIN((isolated - expected).abs().maxCoeff(), 0.0, spectrum_tolerance);
}

TEST_CASE("what layers leave of a gate is the direct sum, a wall's own motion among it") {
    // Every count of frames beside whole registers.
    for (const Eigen::Index frames : {8, 9, 13, 15, 64}) {
        const LayerTimes times = made_times(frames);
        const std::vector<LayerShare> shares = {{-180e-6, 1.02}, {-150e-6, 1.02}, {-20e-6, 0.97}};
        const MadeGate made = made_gate(times, shares, 0.3, 4);
        const Eigen::ArrayXd own = 40e-6 * Eigen::ArrayXd::LinSpaced(frames, -1, 1).square();
        constexpr std::size_t walls = 2;
        for (const bool by_itself : {false, true}) {
            CAPTURE(frames);
            CAPTURE(by_itself);
            Eigen::ArrayXXcd expected = made.gate.values;
            for (std::size_t k = 0; k < shares.size(); ++k) {
                Eigen::ArrayXXcd echoes = layer_phasors(made.gate, times, shares[k]).rowwise() *
                                          made.spectra.row(static_cast<Eigen::Index>(k));
                if (by_itself && k < walls) {
                    echoes *= own_phasors(made.gate, times, own);
                }
                expected -= echoes;
            }
            const LayerFit fit = layered_fit(made.gate, times, {shares, made.spectra, walls, 0, 0},
                                             by_itself ? own : Eigen::ArrayXd());
            constexpr double rounding = 1e-13;  // of sums of three terms of order one
            CHECK_WITHIN((fit.rest - expected).abs().maxCoeff(), 0.0, rounding);
        }
    }
}

TEST_CASE("with noise the shares stay within a few micrometres and the noise is measured") {
    const LayerTimes times = made_times(1500);
    const LayerShare wall{230e-6, 1.1};
    const LayerShare tissue{15e-6, 1.0};
    const double noise = 0.2;
    const MadeGate made = made_gate(times, {wall, tissue}, noise, 2);
    const LayerFit fit = fit_layers(made.gate, times, {{200e-6, 1.0}, {0, 1.0}});
    // Bound: noise / (slope sqrt(frames bins) rms p) = 0.2 / (33e3 * 1.4 * 100 * 0.38), below 0.2
    // um; the ridge adds.
    constexpr double few_micrometres = 2e-6;
    CHECK_WITHIN(fit.shares[0].pulse, wall.pulse, few_micrometres);
    CHECK_WITHIN(fit.shares[1].pulse, tissue.pulse, few_micrometres);
    constexpr double spread = 0.05;  // of a mean square over 10,500 values: 1 %, and the ridge's
    CHECK_WITHIN_RELATIVE(fit.noise, 2 * noise * noise, spread);
}

TEST_CASE("the fit never ends above the cost of its start") {
    const LayerTimes times = made_times(400);
    const MadeGate made = made_gate(times, {{300e-6, 1}, {10e-6, 1}}, 0.5, 3);
    for (const double start : {-400e-6, -100e-6, 0.0, 150e-6, 700e-6}) {
        const std::vector<LayerShare> shares = {{start, 1}, {5e-6, 1}};
        const double before = fit_layers(made.gate, times, shares, {.iterations = 0}).cost;
        CHECK(fit_layers(made.gate, times, shares).cost <= before);
    }
}

TEST_CASE("layers refuse what they can't use") {
    const LayerTimes times = made_times(50);
    const MadeGate made = made_gate(times, {{1e-4, 1}, {0, 1}}, 0.1, 5);
    CHECK_THROWS_AS(static_cast<void>(fit_layers(made.gate, times, {})), InvalidInput);
    LayerTimes none = times;
    none.weight.setZero();
    CHECK_THROWS_AS(static_cast<void>(fit_layers(made.gate, none, {{0, 1}})), InvalidInput);
}

TEST_CASE("a phase track follows a moving echo across several wavelengths") {
    LineHistory line;
    line.settings = {125e6, 1000, 10e-6, {4e6, 1e6}, 1540};
    line.grid = {10e-6, 4e6, 40, 4e6};
    const Eigen::Index frames = 1200;
    line.samples.setZero(frames, 40);
    line.usable.assign(static_cast<std::size_t>(frames), true);
    Eigen::ArrayXd truth(frames);
    const double depth = 11.3e-3;
    for (Eigen::Index i = 0; i < frames; ++i) {
        truth[i] = 500e-6 * std::sin(2 * std::numbers::pi * 0.9 * static_cast<double>(i) / 1000);
        const double arrival = line.settings.arrival(depth + truth[i]);
        for (Eigen::Index k = 0; k < 40; ++k) {
            const double time = line.grid.time(static_cast<double>(k));
            const double u = (time - arrival) * 1e6;
            line.samples(i, k) =
                std::exp(-3.572 * u * u) *
                std::polar(1.0, 2 * std::numbers::pi * (4e6 * (time - arrival) - 4e6 * time));
        }
    }
    const PhaseTracks tracks = phase_tracks(line, {});
    Eigen::Index best = 0;
    tracks.coherence.maxCoeff(&best);
    const Eigen::ArrayXd error = tracks.displacement.col(best) - (truth - truth.mean());
    // The echo leaves the +-0.6 mm gate in part and slow-time smoothing rounds the turns:
    // micrometres, not more.
    constexpr double smoothing_error = 5e-6;
    CHECK_WITHIN(std::sqrt(error.square().mean()), 0.0, smoothing_error);
    LineHistory tiny = line;
    tiny.samples = line.samples.leftCols(3);
    tiny.grid.count = 3;
    CHECK(phase_tracks(tiny, {}).depths.size() == 0);
}

TEST_CASE("the fastest layer in a direction is put first, and nothing else changes") {
    const LayerTimes times = made_times(600);
    const GateSpectrum gate = made_gate(times, {{-180e-6, 1.02}, {-20e-6, 0.97}}, 0.05, 5).gate;
    const LayerFit before = fit_layers(gate, times, {{-20e-6, 0.97}, {-180e-6, 1.02}});
    LayerFit after = before;
    put_fastest_first(after, gate, times, -1);
    CHECK(after.shares[0].pulse == before.shares[1].pulse);
    CHECK(after.shares[1].pulse == before.shares[0].pulse);
    constexpr double rounding = 1e-9;  // of spectra of order one, solved in another order
    CHECK_WITHIN((after.spectra.row(0) - before.spectra.row(1)).abs().maxCoeff(), 0.0, rounding);
    CHECK_WITHIN_RELATIVE(after.cost, before.cost, rounding);
    // In the other direction the slower one leads already.
    LayerFit kept = before;
    put_fastest_first(kept, gate, times, 1);
    CHECK(kept.shares[0].pulse == before.shares[0].pulse);
}
