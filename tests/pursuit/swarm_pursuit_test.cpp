#include "echosieve/pursuit/swarm_pursuit.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

const SamplingGrid grid{20e-6, 125e6 / 15, 44, 4e6};
const GaborBox box = GaborBox::around({4e6, 1e6}, 0.10, {20e-6, 25.16e-6});

Echo<Gabor<double>> random_echo(RandomStream& stream, double first, double last) {
    // One draw a statement: in the same order with every compiler.
    Gabor<double> atom;
    atom.arrival = stream.uniform(first, last);
    atom.centre_frequency = stream.uniform(3.6e6, 4.4e6);
    atom.bandwidth = stream.uniform(0.9e6, 1.1e6);
    const double size = stream.uniform(0.3, 1.0);
    return {atom, std::polar(size, stream.uniform(0.0, 2 * std::numbers::pi))};
}

template <class R>
std::vector<std::complex<R>> frame_of(const std::vector<Echo<Gabor<double>>>& echoes,
                                      double deviation, std::uint64_t seed) {
    std::vector<std::complex<double>> sum(grid.count);
    for (const auto& echo : echoes) {
        add(echo, grid, std::span(sum));
    }
    RandomStream stream(seed, 99);
    std::vector<std::complex<R>> out;
    for (const std::complex<double>& x : sum) {
        const double re = deviation * stream.normal();
        const double im = deviation * stream.normal();
        out.emplace_back(static_cast<R>(x.real() + re), static_cast<R>(x.imag() + im));
    }
    return out;
}

// Weighted energy of what the echoes leave, written out.
template <class R>
double left_by(const std::vector<std::complex<R>>& frame,
               const std::vector<Echo<Gabor<double>>>& echoes, std::span<const double> weights) {
    std::vector<std::complex<double>> left(frame.begin(), frame.end());
    for (const auto& echo : echoes) {
        add(echo, grid, std::span(left), -1.0);
    }
    double sum = 0;
    for (std::size_t n = 0; n < left.size(); ++n) {
        sum += (weights.empty() ? 1 : weights[n]) * std::norm(left[n]);
    }
    return sum;
}

std::vector<double> uneven_weights() {
    std::vector<double> out(grid.count, 0.9);
    out[0] = 0.3;
    out[1] = 1;
    out[grid.count - 1] = 0.5;
    return out;
}

}  // namespace

TEST_CASE_TEMPLATE("echoes apart from each other come out as they went in", R, float, double) {
    SwarmPursuit<R> pursuit(grid, box, {.atoms = 2, .swarm = {}, .stop = {}});
    for (std::uint64_t trial = 0; trial < 20; ++trial) {
        RandomStream stream(trial);
        // More than 3.3 us apart: their inner product is below 1e-6.
        const std::vector<Echo<Gabor<double>>> truth{random_echo(stream, 20.8e-6, 20.9e-6),
                                                     random_echo(stream, 24.2e-6, 24.3e-6)};
        const auto& found = pursuit.run(frame_of<R>(truth, 0, trial), trial);
        CHECK(found.status == PursuitStatus::atom_count);
        REQUIRE(found.atoms.size() == 2);
        for (const auto& echo : truth) {
            const auto& nearest = *std::ranges::min_element(found.atoms, {}, [&](const auto& f) {
                return std::abs(f.atom.arrival - echo.atom.arrival);
            });
            // Rounding of 4e-6 of the energy, and 3e-4 of the peak cut, hide as much: in the
            // arrival sqrt(4e-6 / decay) = 1.2 ns.
            CHECK_WITHIN(nearest.atom.arrival, echo.atom.arrival, 2e-9);
            CHECK_WITHIN_RELATIVE(nearest.atom.centre_frequency, echo.atom.centre_frequency, 3e-4);
            CHECK_WITHIN_RELATIVE(nearest.atom.bandwidth, echo.atom.bandwidth, 5e-3);
            CHECK_WITHIN(std::abs(nearest.amplitude), std::abs(echo.amplitude), 3e-3);
        }
        CHECK(found.explained() >= 1 - 1e-5);
    }
}

TEST_CASE_TEMPLATE("residual energies are those that the echoes leave, and fall", R, float,
                   double) {
    const std::vector<double> weights = uneven_weights();
    SwarmPursuit<R> pursuit(grid, box, {}, weights);
    for (std::uint64_t trial = 0; trial < 10; ++trial) {
        RandomStream stream(trial, 2);
        std::vector<Echo<Gabor<double>>> truth;
        for (int k = 0; k < 10; ++k) {
            truth.push_back(random_echo(stream, 20e-6, 25.16e-6));
        }
        const auto frame = frame_of<R>(truth, 0.1, trial);
        const auto& found = pursuit.run(frame, 1, trial);
        REQUIRE(found.atoms.size() == 10);
        CHECK_WITHIN_RELATIVE(found.signal_energy, left_by<R>(frame, {}, weights),
                              100 * epsilon<R>);
        double before = found.signal_energy;
        std::vector<Echo<Gabor<double>>> taken;
        for (std::size_t k = 0; k < 10; ++k) {
            CHECK(box.contains(found.atoms[k].atom));
            taken.push_back(found.atoms[k]);
            CHECK(found.residual_energy[k] < before);
            before = found.residual_energy[k];
            // The phase of 4 MHz at 20 us costs three digits.
            CHECK_WITHIN(found.residual_energy[k], left_by<R>(frame, taken, weights),
                         1e3 * epsilon<R> * static_cast<double>(found.signal_energy));
        }
    }
}

TEST_CASE("samples of little weight say little, however loud they are") {
    std::vector<double> weights(grid.count, 1);
    std::fill(weights.begin() + 22, weights.end(), 1e-6);  // from 22.6 us on
    const Echo<Gabor<double>> quiet{{21.3e-6, 4e6, 1e6}, std::polar(1.0, 0.7)};
    const Echo<Gabor<double>> loud{{24.2e-6, 4.1e6, 1e6}, std::polar(500.0, 0.7)};
    SwarmPursuit<double> pursuit(grid, box, {.atoms = 1, .swarm = {}, .stop = {}}, weights);
    for (std::uint64_t seed = 0; seed < 5; ++seed) {
        const auto& found = pursuit.run(frame_of<double>({quiet, loud}, 0, 1), seed);
        REQUIRE(found.atoms.size() == 1);
        // A quarter of the energy, spread over what is left of the loud one's flank.
        CHECK_WITHIN(found.atoms[0].atom.arrival, quiet.atom.arrival, 50e-9);
    }
}

TEST_CASE("the same seed and frame number give the same bits, whatever ran before") {
    const auto frame =
        frame_of<double>({{{22e-6, 4e6, 1e6}, {1, 0}}, {{23e-6, 4.1e6, 1e6}, {0, 1}}}, 0.3, 4);
    const auto other = frame_of<double>({}, 1, 5);
    const SwarmPursuitOptions few{.atoms = 4, .swarm = {.iterations = 10}, .stop = {}};
    SwarmPursuit<double> pursuit(grid, box, few);
    const auto expected = pursuit.run(frame, 11, 3);
    CHECK(pursuit.run(frame, 11, 4).atoms != expected.atoms);
    CHECK(pursuit.run(frame, 12, 3).atoms != expected.atoms);
    static_cast<void>(pursuit.run(other, 1, 1));
    CHECK(pursuit.run(frame, 11, 3).atoms == expected.atoms);
    for (const InstructionSet set : all_instruction_sets) {
        if (available(set)) {
            SwarmPursuit<double> another(grid, box, few, {}, set);
            CHECK(another.instruction_set() == set);
            const auto& found = another.run(frame, 11, 3);
            CHECK(found.atoms == expected.atoms);
            CHECK(found.residual_energy == expected.residual_energy);
        }
    }
}

TEST_CASE("a pursuit by swarms ends where it is told to, and says why") {
    const auto run = [](const std::vector<std::complex<double>>& frame, const Stop& stop) {
        SwarmPursuit<double> pursuit(grid, box, {.atoms = 10, .swarm = {}, .stop = stop});
        return pursuit.run(frame, 1);
    };
    const std::vector<Echo<Gabor<double>>> two{{{21.5e-6, 4e6, 1e6}, {1, 0}},
                                               {{23.5e-6, 4e6, 1e6}, {0, 0.5}}};
    const auto few =
        run(frame_of<double>(two, 0, 1), {.residual_fraction = 0.01, .false_alarm = {}});
    CHECK(few.status == PursuitStatus::residual_small);
    CHECK(few.atoms.size() == 2);
    // 10 dB above the noise's standard deviation and more.
    const auto significant =
        run(frame_of<double>(two, 0.05, 2), {0, FalseAlarm{2 * 0.05 * 0.05, 0.01}});
    CHECK(significant.status == PursuitStatus::not_significant);
    CHECK(significant.atoms.size() == 2);
    const auto silent = run(std::vector<std::complex<double>>(grid.count), {});
    CHECK(silent.status == PursuitStatus::silent);
    CHECK(silent.atoms.empty());
    CHECK(!silent.usable());
}

TEST_CASE("frames, grids and options that can't be are refused") {
    SwarmPursuit<double> pursuit(grid, box);
    std::vector<std::complex<double>> frame(grid.count, {1, 1});
    static_cast<void>(pursuit.run(frame, 1));
    CHECK_THROWS_AS(static_cast<void>(pursuit.run(std::span(frame).first(40), 1)), InvalidInput);
    CHECK(!pursuit.result().usable());
    for (const double bad : {std::numeric_limits<double>::quiet_NaN(),
                             std::numeric_limits<double>::infinity(), 1e200}) {
        frame[7] = {0, bad};
        CHECK_THROWS_AS(static_cast<void>(pursuit.run(frame, 1)), InvalidInput);
        CHECK(!pursuit.result().usable());
    }
    frame[7] = 1;
    CHECK(pursuit.run(frame, 1).usable());  // a refusal leaves no trace

    CHECK_THROWS_AS(SwarmPursuit<double>(grid, box, {.atoms = 0, .swarm = {}, .stop = {}}),
                    InvalidInput);
    CHECK_THROWS_AS(
        SwarmPursuit<double>(grid, box, {.atoms = 1, .swarm = {.particles = 0}, .stop = {}}),
        InvalidInput);
    GaborBox wide = box;
    wide.bandwidth = {0.2e6, 1e6};
    CHECK_THROWS_AS(SwarmPursuit<double>(grid, wide), InvalidInput);
    GaborBox far = box;
    far.arrival.end = 40e-6;
    CHECK_THROWS_AS(SwarmPursuit<double>(grid, far), InvalidInput);
    SamplingGrid coarse = grid;
    coarse.sampling_rate = 1e6;
    CHECK_THROWS_AS(SwarmPursuit<double>(coarse, box), InvalidInput);
    const std::vector<double> weights(grid.count - 1, 1);
    CHECK_THROWS_AS(SwarmPursuit<double>(grid, box, {}, weights), InvalidInput);
}
