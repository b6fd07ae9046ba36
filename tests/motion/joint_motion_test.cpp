#include "motion/layers/joint_motion.hpp"

#include <cmath>
#include <numbers>
#include <vector>

#include "motion/layers/layer_fit.hpp"
#include "motion/line/slow_time.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;
using test::made_frame_rate;
using test::made_gate;
using test::made_times;
using test::MadeGate;

namespace {

const std::vector<std::vector<LayerShare>> all_shares = {{{-200e-6, 1.02}, {-20e-6, 0.97}},
                                                         {{0, 1}},
                                                         {{260e-6, 1.1}, {25e-6, 1.05}},
                                                         {{10e-6, 0.9}},
                                                         {{-15e-6, 1.2}}};

// Gates whose layers are known exactly.
std::vector<LayeredGate> known_gates(const LayerTimes& times) {
    std::vector<LayeredGate> gates;
    for (std::size_t g = 0; g < all_shares.size(); ++g) {
        MadeGate made = made_gate(times, all_shares[g], 0, 10 + g);
        LayeredGate layered;
        layered.gate = std::move(made.gate);
        layered.fit.shares = all_shares[g];
        layered.fit.spectra = made.spectra;
        layered.fit.noise = 1;
        gates.push_back(std::move(layered));
    }
    return gates;
}

void set_rest(std::vector<LayeredGate>& gates, const LayerTimes& times) {
    for (LayeredGate& layered : gates) {
        layered.fit.rest = layered.gate.values;
        for (std::size_t k = 0; k < layered.fit.shares.size(); ++k) {
            Eigen::ArrayXXcd moved =
                layer_phasors(layered.gate, times, layered.fit.shares[k]).rowwise() *
                layered.fit.spectra.row(static_cast<Eigen::Index>(k));
            if (k < layered.own_layers) {
                moved *= layered.own;
            }
            layered.fit.rest -= moved;
        }
    }
}

// The first layer of every gate moves by itself as well: 80 um either way, a whole cycle in all.
void move_by_themselves(std::vector<LayeredGate>& gates, const LayerTimes& times) {
    const Eigen::ArrayXd cycles =
        Eigen::ArrayXd::LinSpaced(times.pulse.size(), 0, 2 * std::numbers::pi * 3);
    const LayerTimes alone{80e-6 * cycles.sin(), Eigen::ArrayXd::Zero(cycles.size()), times.weight,
                           times.sound_speed};
    for (LayeredGate& layered : gates) {
        layered.own = layer_phasors(layered.gate, alone, {1, 0});
        layered.own_layers = 1;
        layered.gate.values.setZero();
        set_rest(gates, times);
        layered.gate.values = -layered.fit.rest;
    }
}

}  // namespace

TEST_CASE("with the layers known, steps lead back to the pulse and the bulk motion") {
    const LayerTimes truth = made_times(1000);
    std::vector<LayeredGate> gates = known_gates(truth);
    LayerTimes times = truth;
    for (Eigen::Index i = 0; i < times.pulse.size(); ++i) {
        const double t = static_cast<double>(i) / made_frame_rate;
        times.pulse[i] += 0.05 * std::sin(2 * std::numbers::pi * 2 * t);
        times.bulk[i] += 10e-6 * std::cos(2 * std::numbers::pi * 3 * t);
    }
    set_rest(gates, times);
    for (int step = 0; step < 10; ++step) {
        step_motion(gates, times, {}, made_frame_rate);
        set_rest(gates, times);
    }
    // The smoothness of each step leaves a part of the first error, less with every step; within
    // the reach of the ends, where a step's second and third difference must vanish, ten steps
    // leave more.
    constexpr double pulse_tolerance = 1e-7;      // of a range of 1
    constexpr double bulk_tolerance = 1e-10;      // [m], of 150 um
    constexpr double pulse_end_tolerance = 5e-5;  // a thousandth of the first error
    constexpr double bulk_end_tolerance = 5e-8;   // [m], a two-hundredth of the first error
    const Eigen::ArrayXd pulse_error = (times.pulse - truth.pulse).abs();
    const Eigen::ArrayXd bulk_error = (times.bulk - truth.bulk).abs();
    CHECK_WITHIN(pulse_error.segment(100, 800).maxCoeff(), 0.0, pulse_tolerance);
    CHECK_WITHIN(bulk_error.segment(100, 800).maxCoeff(), 0.0, bulk_tolerance);
    CHECK_WITHIN(pulse_error.maxCoeff(), 0.0, pulse_end_tolerance);
    CHECK_WITHIN(bulk_error.maxCoeff(), 0.0, bulk_end_tolerance);
}

TEST_CASE("a step sees layers where their own motion has taken them") {
    const LayerTimes truth = made_times(600);
    std::vector<LayeredGate> gates = known_gates(truth);
    move_by_themselves(gates, truth);
    LayerTimes times = truth;
    times.pulse += 0.02;
    for (int step = 0; step < 8; ++step) {
        set_rest(gates, times);
        step_motion(gates, times, {}, made_frame_rate);
    }
    constexpr double pulse_tolerance = 1e-6;
    CHECK_WITHIN((times.pulse - truth.pulse).abs().maxCoeff(), 0.0, pulse_tolerance);
}

TEST_CASE("gates count by their trust, and late tissue says nothing of the pulse") {
    const LayerTimes truth = made_times(600);
    const auto error_with = [&](double trust) {
        // One gate more, that follows another pulse.
        LayerTimes other = truth;
        other.pulse *= 0.5;
        std::vector<LayeredGate> gates = known_gates(truth);
        gates.push_back(known_gates(other)[0]);
        gates.back().trust = trust;
        LayerTimes times = truth;
        for (int step = 0; step < 5; ++step) {
            set_rest(gates, times);
            step_motion(gates, times, {}, made_frame_rate);
        }
        return test::rms(times.pulse - truth.pulse);
    };
    CHECK(error_with(1e-4) < 1e-4);
    CHECK(error_with(1) > 1e-2);
    std::vector<LayeredGate> gates = known_gates(truth);
    LayerTimes times = truth;
    times.lag = 5;
    times.pulse += 0.02;
    set_rest(gates, times);
    for (LayeredGate& gate : gates) {
        gate.late = true;
    }
    const LayerTimes before = times;
    step_motion(gates, times, {}, made_frame_rate);
    CHECK((times.pulse == before.pulse).all());
    gates[0].late = false;
    step_motion(gates, times, {}, made_frame_rate);
    CHECK((times.pulse - before.pulse).abs().maxCoeff() > 1e-3);
}

TEST_CASE(
    "unusable frames are bridged by the steps' smoothness and gates without power change "
    "nothing") {
    const LayerTimes truth = made_times(600);
    std::vector<LayeredGate> gates = known_gates(truth);
    LayerTimes times = truth;
    times.pulse += 0.02;
    times.weight.segment(300, 5).setZero();
    for (LayeredGate& layered : gates) {
        layered.gate.values.middleRows(300, 5) = 50;
    }
    for (int step = 0; step < 5; ++step) {
        set_rest(gates, times);
        step_motion(gates, times, {}, made_frame_rate);
    }
    constexpr double pulse_tolerance = 1e-6;
    CHECK_WITHIN((times.pulse - truth.pulse).abs().maxCoeff(), 0.0, pulse_tolerance);
    for (LayeredGate& layered : gates) {
        layered.fit.spectra.setZero();
    }
    const LayerTimes before = times;
    step_motion(gates, times, {}, made_frame_rate);
    CHECK((times.pulse == before.pulse).all());
}

TEST_CASE("a change of gauge leaves what each layer moves by, and meets the gauge") {
    LayerTimes times = made_times(3000);
    // Off the gauge on purpose.
    times.pulse = 0.8 * times.pulse + 400 * times.bulk;
    times.bulk = 1.3 * times.bulk + 20e-6 * times.pulse;
    std::vector<LayeredGate> gates = known_gates(times);
    const auto motions = [&] {
        std::vector<Eigen::ArrayXd> all;
        for (const LayeredGate& layered : gates) {
            for (const LayerShare& share : layered.fit.shares) {
                const Eigen::ArrayXd x = share.pulse * times.pulse + share.bulk * times.bulk;
                all.emplace_back(x - x.mean());
            }
        }
        return all;
    };
    const std::vector<Eigen::ArrayXd> before = motions();
    regauge(gates, times, 0.7, made_frame_rate);
    const std::vector<Eigen::ArrayXd> after = motions();
    constexpr double rounding = 1e-15;  // [m], of 300 um
    for (std::size_t k = 0; k < before.size(); ++k) {
        CHECK_WITHIN((after[k] - before[k]).abs().maxCoeff(), 0.0, rounding);
    }
    Eigen::ArrayXd a(5);
    Eigen::ArrayXd b(5);
    for (Eigen::Index g = 0; g < 5; ++g) {
        const LayerShare& last = gates[static_cast<std::size_t>(g)].fit.shares.back();
        a[g] = last.pulse;
        b[g] = last.bulk;
    }
    CHECK_WITHIN(median(a / b), 0.0, rounding);
    CHECK_WITHIN(median(b), 1.0, 1e-12);
    CHECK_WITHIN(times.pulse.mean(), 0.0, 1e-12);
    CHECK_WITHIN(times.bulk.mean(), 0.0, rounding);
}

TEST_CASE("trust falls with the unexplained part of a gate's power") {
    std::vector<LayeredGate> gates(3);
    const double residual[] = {0.1, 0.2, 0.8};
    for (std::size_t g = 0; g < 3; ++g) {
        gates[g].fit.power = 2;
        gates[g].fit.noise = 2 * residual[g];
    }
    set_trust(gates);
    constexpr double rounding = 1e-12;
    CHECK_WITHIN(gates[0].trust, 1 / 1.25, rounding);
    CHECK_WITHIN(gates[1].trust, 0.5, rounding);
    CHECK_WITHIN(gates[2].trust, 1.0 / 17, rounding);
}

TEST_CASE("the joint fit finds how late the pulse is at each line, whichever frames it has") {
    const std::vector<double> late = {-1.5, 0.4, 1.1};  // [frames]
    LayerTimes truth = made_times(1500);
    for (const double delay : late) {
        truth.lines.push_back({truth.weight, delay});
    }
    truth.lines[1].weight.segment(300, 200) = 0;
    std::vector<LayeredGate> gates;
    for (std::size_t line = 0; line < late.size(); ++line) {
        for (std::size_t g : {0U, 2U}) {
            MadeGate made = made_gate(truth.seen_by(line), all_shares[g], 0.1, 30 + 10 * line + g);
            LayeredGate layered;
            layered.gate = std::move(made.gate);
            layered.line = line;
            if (line == 1) {  // nothing that counts
                layered.gate.values.middleRows(300, 200) *= 30;
            }
            layered.fit = fit_layers(layered.gate, truth.seen_by(line), all_shares[g]);
            gates.push_back(std::move(layered));
        }
    }
    LayerTimes times = truth;
    for (LineTimes& line : times.lines) {
        line.delay = 0;
    }
    constexpr int rounds = 12;
    fit_jointly(gates, times, rounds, {}, made_frame_rate);
    // 1500 frames and noise of a tenth of the layers: a hundredth of a frame.
    constexpr double tolerance = 0.1;  // [frames]
    double sum = 0;
    for (std::size_t line = 0; line < late.size(); ++line) {
        CAPTURE(line);
        CHECK_WITHIN(times.lines[line].delay, late[line], tolerance);
        sum += times.lines[line].delay;
    }
    CHECK_WITHIN(sum, 0, 1e-9);
    // One line has no delay to be told.
    LayerTimes alone = made_times(100);
    step_delays(known_gates(alone), alone, made_frame_rate);
    CHECK(alone.lines.empty());
}
