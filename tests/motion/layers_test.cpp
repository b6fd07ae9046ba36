#include "echosieve/motion/layers.hpp"

#include <cmath>
#include <complex>
#include <numbers>

#include "echosieve/core/random.hpp"
#include "echosieve/motion/layer_start.hpp"
#include "echosieve/motion/phase_track.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr double speed = 1540;

LayerTimes times_of(Eigen::Index frames) {
    LayerTimes times{Eigen::ArrayXd(frames), Eigen::ArrayXd(frames), Eigen::ArrayXd::Ones(frames),
                     speed};
    for (Eigen::Index i = 0; i < frames; ++i) {
        const double t = static_cast<double>(i) / 1000;
        times.pulse[i] = 0.5 * std::sin(2 * std::numbers::pi * 1.3 * t) + 0.2 * std::sin(16.4 * t);
        times.bulk[i] = 150e-6 * std::sin(2 * std::numbers::pi * 0.3 * t);
    }
    return times;
}

// A gate made of two layers with random spectra.
GateSpectrum two_layers(const LayerTimes& times, const LayerShare& wall, const LayerShare& tissue,
                        Eigen::ArrayXXcd& spectra, double noise, std::uint64_t seed) {
    GateSpectrum gate;
    gate.frequencies = Eigen::ArrayXd::LinSpaced(7, 3.1e6, 4.9e6);
    gate.grid = {15e-6, 3.6e6, 14, 4e6};
    RandomStream random(seed, 0);
    spectra.resize(2, 7);
    for (Eigen::Index k = 0; k < spectra.size(); ++k) {
        spectra.data()[k] = {random.normal(), random.normal()};
    }
    gate.values = layer_phasors(gate, times, wall).rowwise() * spectra.row(0) +
                  layer_phasors(gate, times, tissue).rowwise() * spectra.row(1);
    for (Eigen::Index k = 0; k < gate.values.size(); ++k) {
        gate.values.data()[k] += noise * std::complex<double>(random.normal(), random.normal());
    }
    return gate;
}

}  // namespace

TEST_CASE("two layers without noise are taken apart exactly") {
    const LayerTimes times = times_of(900);
    const LayerShare wall{-180e-6, 1.02};
    const LayerShare tissue{-20e-6, 0.97};
    Eigen::ArrayXXcd spectra;
    const GateSpectrum gate = two_layers(times, wall, tissue, spectra, 0, 1);
    LayerFitOptions exact;
    exact.ridge = 1e-12;
    exact.iterations = 40;
    exact.tolerance = 0;
    const LayerFit fit = fit_layers(gate, times, {{-160e-6, 1.0}, {0, 1.0}}, exact);
    constexpr double share_tolerance =
        1e-12;  // [m]: a millionth of the motion, what the ridge leaves
    constexpr double spectrum_tolerance = 1e-6;  // of spectra of order one
    CHECK_WITHIN(fit.shares[0].pulse, wall.pulse, share_tolerance);
    CHECK_WITHIN(fit.shares[1].pulse, tissue.pulse, share_tolerance);
    CHECK_WITHIN(fit.shares[0].bulk, wall.bulk, 1e4 * share_tolerance);  // per metre of 150 um
    CHECK_WITHIN((fit.spectra - spectra).abs().maxCoeff(), 0.0, spectrum_tolerance);
    const Eigen::ArrayXXcd isolated = isolated_layer(gate, times, fit, 0);
    const Eigen::ArrayXXcd expected = layer_phasors(gate, times, wall).rowwise() * spectra.row(0);
    CHECK_WITHIN((isolated - expected).abs().maxCoeff(), 0.0, spectrum_tolerance);
}

TEST_CASE("with noise the shares stay within a few micrometres and the noise is measured") {
    const LayerTimes times = times_of(1500);
    const LayerShare wall{230e-6, 1.1};
    const LayerShare tissue{15e-6, 1.0};
    Eigen::ArrayXXcd spectra;
    const double noise = 0.2;
    const GateSpectrum gate = two_layers(times, wall, tissue, spectra, noise, 2);
    const LayerFit fit = fit_layers(gate, times, {{200e-6, 1.0}, {0, 1.0}});
    // Bound: noise / (slope sqrt(frames bins) rms p) = 0.2 / (33e3 * 1.4 * 100 * 0.38), below 0.2
    // um; the ridge adds.
    constexpr double few_micrometres = 2e-6;
    CHECK_WITHIN(fit.shares[0].pulse, wall.pulse, few_micrometres);
    CHECK_WITHIN(fit.shares[1].pulse, tissue.pulse, few_micrometres);
    CHECK_WITHIN_RELATIVE(fit.noise, 2 * noise * noise, 0.05);
}

TEST_CASE("the fit never ends above the cost of its start") {
    const LayerTimes times = times_of(400);
    Eigen::ArrayXXcd spectra;
    const GateSpectrum gate = two_layers(times, {300e-6, 1}, {10e-6, 1}, spectra, 0.5, 3);
    for (const double start : {-400e-6, -100e-6, 0.0, 150e-6, 700e-6}) {
        const std::vector<LayerShare> shares = {{start, 1}, {5e-6, 1}};
        const double before = detail::evaluate_layers(gate, times, shares, 0.01).cost;
        CHECK(fit_layers(gate, times, shares).cost <= before);
    }
}

TEST_CASE(
    "the exhaustive start's cost is the two-layer cost, and its best start leads to the truth") {
    const LayerTimes times = times_of(800);
    const LayerShare wall{260e-6, 1.1};
    const LayerShare tissue{20e-6, 1.0};
    Eigen::ArrayXXcd spectra;
    const GateSpectrum gate = two_layers(times, wall, tissue, spectra, 0.1, 4);
    LayerStartOptions options;
    options.frame_step = 1;
    const auto starts = find_layer_starts(gate, times, 1, 1.0, options);
    REQUIRE(!starts.empty());
    for (const LayerStart& start : starts) {
        const double direct =
            detail::evaluate_layers(gate, times, {start.wall, start.tissue}, options.ridge).cost;
        constexpr double rounding = 1e-9;
        CHECK_WITHIN_RELATIVE(start.cost, direct, rounding);
    }
    const LayerFit fit = fit_layers(gate, times, {starts[0].wall, starts[0].tissue});
    constexpr double few_micrometres = 2e-6;
    CHECK_WITHIN(fit.shares[0].pulse, wall.pulse, few_micrometres);
}

TEST_CASE("layers refuse what they can't use") {
    const LayerTimes times = times_of(50);
    Eigen::ArrayXXcd spectra;
    const GateSpectrum gate = two_layers(times, {1e-4, 1}, {0, 1}, spectra, 0.1, 5);
    CHECK_THROWS_AS(static_cast<void>(fit_layers(gate, times, {})), InvalidInput);
    LayerTimes none = times;
    none.weight.setZero();
    CHECK_THROWS_AS(static_cast<void>(fit_layers(gate, none, {{0, 1}})), InvalidInput);
}

TEST_CASE("a phase track follows a moving echo across several wavelengths") {
    LineHistory line;
    line.settings = {125e6, 1000, 10e-6, {4e6, 1e6}, speed};
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
