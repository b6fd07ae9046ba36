#include "echosieve/motion/artery_motion.hpp"

#include <cmath>
#include <complex>
#include <numbers>
#include <span>

#include "echosieve/atoms/sampling.hpp"
#include "motion/wall/echoes.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;
using test::made_settings;

namespace {

std::vector<std::complex<double>> sampled(const std::vector<Echo<Gabor<double>>>& echoes,
                                          const SamplingGrid& grid) {
    std::vector<std::complex<double>> samples(grid.count);
    for (const auto& echo : echoes) {
        add(echo, grid, std::span(samples));
    }
    return samples;
}

// A wall at rest whose waveform is that of the echoes; the gate keeps all bins.
SeparatedWall wall_of(const std::vector<Echo<Gabor<double>>>& echoes) {
    SeparatedWall wall;
    GateSpectrum& gate = wall.layered.gate;
    constexpr Eigen::Index count = 40;
    gate.grid = {20e-6, 4e6, static_cast<std::size_t>(count), 4e6};
    gate.frequencies = Eigen::ArrayXd::LinSpaced(count, 2e6, 5.9e6);
    const std::vector<std::complex<double>> samples = sampled(echoes, gate.grid);
    wall.layered.fit.spectra.setZero(1, count);
    for (Eigen::Index j = 0; j < count; ++j) {
        for (std::size_t n = 0; n < samples.size(); ++n) {
            const double time = static_cast<double>(n) * gate.grid.step();
            wall.layered.fit.spectra(0, j) +=
                samples[n] * std::polar(1 / std::sqrt(40.0),
                                        -2 * std::numbers::pi * (gate.frequencies[j] - 4e6) * time);
        }
    }
    return wall;
}

const std::vector<Echo<Gabor<double>>> two_echoes = {
    {{24.6e-6, 3.95e6, 1.04e6}, {1.0, 0.3}},
    {{25.7e-6, 4.1e6, 0.97e6}, {-0.4, 0.5}},
};

}  // namespace

TEST_CASE("a wall of two echoes is taken apart into them") {
    // Of the energy. Echoes that overlap lead a pursuit astray that takes them one by one.
    constexpr double left_of_overlapping = 1e-2;
    constexpr double left_of_separate = 1e-5;
    for (const bool overlapping : {true, false}) {
        CAPTURE(overlapping);
        std::vector<Echo<Gabor<double>>> echoes = two_echoes;
        echoes[1].atom.arrival += overlapping ? 0 : 1.5e-6;
        const SeparatedWall wall = wall_of(echoes);
        const auto found = wall_echoes(wall, made_settings(), {.least_energy = 1e-6});
        const SamplingGrid grid = wall.layered.gate.grid;
        const auto expected = sampled(echoes, grid);
        const auto got = sampled(found, grid);
        double rest = 0;
        double energy = 0;
        for (std::size_t n = 0; n < grid.count; ++n) {
            rest += std::norm(got[n] - expected[n]);
            energy += std::norm(expected[n]);
        }
        CHECK(rest < (overlapping ? left_of_overlapping : left_of_separate) * energy);
        CHECK(found.size() <= WallEchoOptions{}.atoms);
    }
    CHECK(wall_echoes(wall_of(two_echoes), made_settings(), {.atoms = 1}).size() == 1);
    CHECK_THROWS_AS(
        static_cast<void>(wall_echoes(wall_of(two_echoes), made_settings(), {.atoms = 0})),
        InvalidInput);
}

TEST_CASE("moved echoes are the moved waveform") {
    const SeparatedWall wall = wall_of(two_echoes);
    const GateSpectrum& gate = wall.layered.gate;
    for (const double displacement : {-250e-6, 0.0, 180e-6}) {
        for (const double strength : {1.0, 0.6}) {
            CAPTURE(displacement);
            CAPTURE(strength);
            // The waveform moved in its spectrum, as layers.hpp has it.
            const LayerTimes times{Eigen::ArrayXd::Constant(1, displacement),
                                   Eigen::ArrayXd::Zero(1), Eigen::ArrayXd::Ones(1), 1540};
            const Eigen::ArrayXXcd moved =
                strength *
                gate_samples(gate, wall.layered.fit.spectra * layer_phasors(gate, times, {1, 0}));
            const auto echoes = sampled(
                moved_echoes(two_echoes, displacement, strength, made_settings()), gate.grid);
            double largest = 0;
            for (std::size_t n = 0; n < echoes.size(); ++n) {
                largest =
                    std::max(largest, std::abs(echoes[n] - moved(0, static_cast<Eigen::Index>(n))));
            }
            // The pulse's spectrum 2 MHz from its centre, where 4 MHz of sampling folds it.
            constexpr double folding = 1e-3;
            CHECK_WITHIN(largest, 0.0, folding);
        }
    }
    for (const auto& echo : moved_echoes(two_echoes, 1e-4, 0, made_settings())) {
        CHECK(echo.amplitude == 0.0);
    }
}
