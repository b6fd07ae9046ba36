#include "motion/follow/follower_gate.hpp"

#include <Eigen/Core>
#include <complex>
#include <span>
#include <vector>

#include "echosieve/motion/learned_walls.hpp"
#include "motion/line/gate_spectrum.hpp"
#include "motion/line/plain.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"
#include "support/moving_line.hpp"

using namespace echosieve;
using detail::FollowerGate;
using detail::GateMotion;

namespace {

constexpr double sound_speed = 1540;
const SamplingGrid line_grid{15e-6, 3.6e6, 14, 4e6};
const std::vector<LayerShare> shares = {{-180e-6, 1.1}, {-20e-6, 0.9}, {10e-6, 1.0}};

// A gate as long as its line, of three layers with random spectra; the first is the wall's.
LearnedGate learned_gate(double noise) {
    const test::MadeGate made = test::made_gate(test::made_times(1), shares, 0, 4);
    LearnedGate gate;
    gate.grid = made.gate.grid;
    gate.frequencies = vector_of(made.gate.frequencies);
    gate.taper = gate_taper;
    gate.shares = shares;
    gate.spectra = rows_of(made.spectra);
    gate.wall_layers = 1;
    gate.noise = noise;
    return gate;
}

std::vector<std::complex<float>> some_line() {
    std::vector<std::complex<float>> line(line_grid.count);
    RandomStream random(7);
    for (std::complex<float>& y : line) {
        const double real = random.normal();
        y = {static_cast<float>(real), static_cast<float>(random.normal())};
    }
    return line;
}

}  // namespace

TEST_CASE("a follower cuts its gates as gate_spectrum does, wherever they have moved") {
    constexpr double depth = 15e-3, half_gate = 1.2e-3;
    const LayerShare path{-300e-6, 1.2};
    constexpr Eigen::Index frames = 40;
    const Eigen::ArrayXd p = Eigen::ArrayXd::LinSpaced(frames, -2, 2);
    const Eigen::ArrayXd q = Eigen::ArrayXd::LinSpaced(frames, 500e-6, -300e-6).cube() * 1e7;
    const LineHistory line =
        test::moving_line(frames, 0.1, 3, [&](double, Eigen::Index i) { return q[i]; });
    constexpr double offset = 40e-6;
    const GateSpectrum expected = gate_spectrum(
        line, depth, half_gate, path.pulse * p + path.bulk * (q - offset), GateWindow{.taper = 1});
    LearnedGate learned;
    learned.path = path;
    learned.path_offset = offset;
    learned.taper = 1.0;
    learned.grid = expected.grid;
    learned.frequencies = vector_of(expected.frequencies);
    learned.shares = {{0, 1}};
    learned.spectra.assign(learned.frequencies.size(), 0);  // so that all of the gate is its rest
    learned.noise = 1;
    FollowerGate gate(learned, line.grid, line.settings.sound_speed);
    std::vector<std::complex<float>> samples(line.grid.count);
    for (Eigen::Index i = 0; i < frames; ++i) {
        CAPTURE(i);
        for (std::size_t n = 0; n < samples.size(); ++n) {
            samples[n] =
                static_cast<std::complex<float>>(line.samples(i, static_cast<Eigen::Index>(n)));
        }
        gate.cut(samples, p[i], q[i]);
        const double energy = expected.values.row(i).abs2().sum();
        // Samples in float: a sum of some thirty squares.
        constexpr double rounding = 40 * test::epsilon<float>;
        CHECK_WITHIN_RELATIVE(gate.energies({p[i], q[i], 0}).whole, energy, rounding);
        CHECK_WITHIN_RELATIVE(gate.misfit({p[i], q[i], 0}),
                              energy / static_cast<double>(expected.bins()), rounding);
    }
}

TEST_CASE("the slope of a fit is that of its rest, and a late gate has none in p") {
    // As much noise as leaves it the rest's yardstick.
    constexpr double noise = 100;
    LearnedGate learned = learned_gate(noise);
    const GateMotion at{.pulse = 0.4, .bulk = 30e-6, .own = 5e-6};
    for (const bool late : {false, true}) {
        CAPTURE(late);
        learned.late = late;
        FollowerGate gate(learned, line_grid, sound_speed);
        gate.cut(some_line(), 0, 0);
        FollowerGate::Fit fit;
        gate.fit(at, fit);
        CHECK(fit.rest == gate.energies(at).rest);
        const auto slope = [&](double GateMotion::*course, double step) {
            GateMotion less = at, more = at;
            less.*course -= step;
            more.*course += step;
            return (gate.energies(less).rest - gate.energies(more).rest) / (2 * step * noise);
        };
        // Of a central difference with steps of some 1e-4 rad, squared.
        constexpr double difference = 1e-6;
        CHECK_WITHIN_RELATIVE(fit.slope[0], late ? 0 : slope(&GateMotion::pulse, 1e-4), difference);
        CHECK_WITHIN_RELATIVE(fit.slope[1], slope(&GateMotion::bulk, 1e-8), difference);
        CHECK_WITHIN_RELATIVE(fit.slope[2], slope(&GateMotion::own, 1e-8), difference);
        CHECK((fit.curvature == fit.curvature.transpose()));
        CHECK((fit.curvature(0, 0) == 0) == late);
        CHECK(fit.curvature(1, 1) > 0);
        CHECK(fit.correlation >= 0);
        CHECK(fit.correlation <= 1);
    }
}

TEST_CASE("rest beyond the learned noise counts as noise, and an empty gate shows no wall") {
    constexpr double little = 1e-6;
    FollowerGate sure(learned_gate(little), line_grid, sound_speed);
    FollowerGate::Fit fit;
    sure.cut(some_line(), 0, 0);
    sure.fit({}, fit);
    FollowerGate same(learned_gate(fit.rest / 7), line_grid, sound_speed);  // seven bins
    same.cut(some_line(), 0, 0);
    FollowerGate::Fit other;
    same.fit({}, other);
    CHECK_WITHIN_RELATIVE(fit.slope[1], other.slope[1], 1e-14);  // the quotient's rounding
    LearnedGate silent = learned_gate(little);
    silent.spectra.assign(silent.spectra.size(), 0);
    FollowerGate nothing(silent, line_grid, sound_speed);
    nothing.cut(some_line(), 0, 0);
    nothing.fit({}, fit);
    CHECK(fit.correlation == 0);
    CHECK(fit.slope.isZero(0));
    // Moved beyond what it may, or beside the line: there is nothing to cut.
    FollowerGate gate(learned_gate(little), {80e-6, 3.6e6, 14, 4e6}, sound_speed);
    gate.cut(some_line(), 1e300, 0);
    CHECK(gate.energies({}).whole == 0);
}
