#include "motion/layers/gap_settling.hpp"
#include "motion/layers/layer_fit.hpp"

#include <cmath>
#include <vector>

#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

constexpr Eigen::Index frames = 1200;
constexpr double half_wave = 192.5e-6;
const std::vector<FrameRun> runs = {{0, 500}, {600, 600}};

// Tissue and a wall with tissue on it, the frames between the runs without weight.
std::vector<LayeredGate> gates_of(const LayerTimes& times) {
    std::vector<LayeredGate> gates;
    const std::vector<std::vector<LayerShare>> shares = {{{-40e-6, 1.02}},
                                                         {{60e-6, 0.97}},
                                                         {{-180e-6, 1.0}, {-50e-6, 1.0}},
                                                         {{250e-6, 1.05}, {60e-6, 1.0}}};
    for (std::size_t k = 0; k < shares.size(); ++k) {
        LayeredGate layered;
        layered.gate = made_gate(times, shares[k], 0.2, 10 + k).gate;
        layered.fit = fit_layers(layered.gate, times, shares[k], {.iterations = 0});
        gates.push_back(layered);
    }
    return gates;
}

LayerTimes interrupted_times() {
    LayerTimes times = made_times(frames);
    times.weight.segment(500, 100) = 0;
    times.pulse -= times.pulse.mean();
    times.bulk -= times.bulk.mean();
    return times;
}

}  // namespace

TEST_CASE("what p and q did over a gap is found by the likelihood of all layers") {
    const LayerTimes truth = interrupted_times();
    const std::vector<LayeredGate> gates = gates_of(truth);
    for (const double dp : {-0.43, 0.0, 0.7}) {
        for (const double dq : {-1.9 * half_wave, 0.0, 1.1 * half_wave}) {
            CAPTURE(dp);
            CAPTURE(dq);
            LayerTimes wrong = truth;
            wrong.pulse.tail(600) += dp;
            wrong.bulk.tail(600) += dq;
            settle_gaps(gates, wrong, runs, half_wave);
            // The last grid's steps are 0.05 / 27 and half_wave / 8 / 27; the noise is far below.
            CHECK_WITHIN(wrong.pulse[900] - wrong.pulse[200], truth.pulse[900] - truth.pulse[200],
                         0.004);
            CHECK_WITHIN(wrong.bulk[900] - wrong.bulk[200], truth.bulk[900] - truth.bulk[200],
                         2e-6);
            CHECK_WITHIN(wrong.pulse.mean(), 0.0, 1e-12);
            // A straight line in between.
            CHECK_WITHIN(wrong.bulk[550] - (wrong.bulk[500] + wrong.bulk[600]) / 2, 0.0, 1e-12);
        }
    }
}

TEST_CASE("without a gap nothing is settled") {
    const LayerTimes truth = interrupted_times();
    const std::vector<LayeredGate> gates = gates_of(truth);
    LayerTimes times = truth;
    settle_gaps(gates, times, {{0, 1200}}, half_wave);
    CHECK((times.pulse == truth.pulse).all());
    settle_gaps(gates, times, {}, half_wave);
    CHECK((times.bulk == truth.bulk).all());
    GapSettlingOptions options;
    options.pulse_step = 0;
    CHECK_THROWS_WITH_AS(settle_gaps(gates, times, runs, half_wave, options),
                         doctest::Contains("pulse_step = 0"), InvalidInput);
}

TEST_CASE("courses are delayed by fractions of a frame, their ends repeated") {
    const Eigen::ArrayXd ramp = Eigen::ArrayXd::LinSpaced(11, 0, 10);
    const Eigen::ArrayXd later = delayed(ramp, 2.25);
    CHECK_WITHIN(later[5], 2.75, 1e-12);
    CHECK(later[0] == 0);
    CHECK(later[2] == 0);
    const Eigen::ArrayXd earlier = delayed(ramp, -1.5);
    CHECK_WITHIN(earlier[5], 6.5, 1e-12);
    CHECK(earlier[10] == 10);
    CHECK((delayed(ramp, 0) == ramp).all());
    LayerTimes times = made_times(100);
    CHECK((times.late().pulse == times.pulse).all());
    times.lag = 3;
    CHECK(times.late().pulse[50] == times.pulse[47]);
    CHECK((times.late().bulk == times.bulk).all());
}
