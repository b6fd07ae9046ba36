#include "echosieve/motion/layer_limits.hpp"

#include <Eigen/Core>
#include <Eigen/Eigenvalues>
#include <Eigen/LU>
#include <chrono>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <utility>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/correlate/bound.hpp"
#include "motion/layers/layer_information.hpp"
#include "motion/layers/two_layers.hpp"
#include "support/check.hpp"
#include "support/moving_layers.hpp"

using namespace echosieve;
using test::gate_of_two;
using test::layered_bins;
using test::oracle_covariance;
using test::scattered_layers;
using test::Unknowns;

namespace {

// Two ways of inverting the same information, its condition up to 1e6.
constexpr double inverted = 1e-8;
// Sums of a few hundred terms.
constexpr double summed = 1e-12;
// What is exact but for the rounding of both sides.
constexpr double exact = 1e-10;

double mean_square(const std::vector<double>& x) {
    return array_of(x).square().mean();
}

// All deviations and the covariance of each layer beside the oracle's.
void check_against(const Eigen::MatrixXd& expected, const std::vector<LayerLimit>& found) {
    const Eigen::Index frames = expected.rows() / static_cast<Eigen::Index>(found.size());
    for (std::size_t l = 0; l < found.size(); ++l) {
        const Eigen::Index at = static_cast<Eigen::Index>(l) * frames;
        const Eigen::MatrixXd block = expected.block(at, at, frames, frames);
        const Eigen::MatrixXd covariance =
            array_of(found[l].covariance).reshaped(frames, frames).matrix();
        CHECK((covariance - block).norm() <= inverted * block.norm());
        CHECK_WITHIN_RELATIVE(found[l].rms, std::sqrt(block.trace() / double(frames)), inverted);
        CHECK_WITHIN_RELATIVE(mean_square(found[l].deviation), block.trace() / double(frames),
                              inverted);
    }
}

}  // namespace

TEST_CASE("information with free spectra is what the spectra as unknowns leave") {
    const LayerSetting setting = scattered_layers(2, 6, 9);
    const LayeredBins bins = layered_bins(setting);
    const Eigen::MatrixXd found = free_information(bins);
    const Eigen::MatrixXd expected = test::oracle_information(setting, Unknowns::spectra);
    CHECK((found - expected).cwiseAbs().maxCoeff() <= exact * expected.cwiseAbs().maxCoeff());
    // One origin a layer, and nothing else.
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> parts(found);
    const double largest = parts.eigenvalues().maxCoeff();
    CHECK(std::abs(parts.eigenvalues()[1]) <= exact * largest);
    CHECK(parts.eigenvalues()[2] > 1e3 * exact * largest);
    for (Eigen::Index l = 0; l < 2; ++l) {
        Eigen::VectorXd origin = Eigen::VectorXd::Zero(12);
        origin.segment(6 * l, 6).setOnes();
        CHECK((found * origin).norm() <= exact * largest);
    }
}

TEST_CASE("information with a shared waveform is what waveform and factors leave") {
    LayerSetting setting = scattered_layers(3, 5, 7);
    test::make_shared(setting);
    const Eigen::MatrixXd found = shared_information(layered_bins(setting));
    const Eigen::MatrixXd expected = test::oracle_information(setting, Unknowns::waveform);
    CHECK((found - expected).cwiseAbs().maxCoeff() <= exact * expected.cwiseAbs().maxCoeff());
}

TEST_CASE("covariances are those of the full information's inverse") {
    LayerSetting setting = scattered_layers(2, 6, 9);
    for (const auto& [spectra, unknowns] :
         {std::pair(LayerSpectra::free, Unknowns::spectra),
          std::pair(LayerSpectra::shared, Unknowns::waveform),
          std::pair(LayerSpectra::known, Unknowns::displacements)}) {
        if (spectra == LayerSpectra::shared) {
            test::make_shared(setting);
        }
        check_against(oracle_covariance(setting, unknowns),
                      layer_limits(setting, {.spectra = spectra, .covariance = true}));
    }
    setting = scattered_layers(3, 7, 8);
    check_against(oracle_covariance(setting, Unknowns::spectra),
                  layer_limits(setting, {.covariance = true}));
}

TEST_CASE("weights are frames averaged: four of one displacement count as one of weight four") {
    // With free courses, frames at one place are not one unknown: tied courses are.
    LayerSetting each = scattered_layers(2, 6, 9);
    LayerSetting averaged = each;
    averaged.weights = {1, 4, 1, 1, 2, 1};
    for (MovingLayer& layer : each.layers) {
        std::vector<double> x;
        for (std::size_t k = 0; k < 6; ++k) {
            x.insert(x.end(), static_cast<std::size_t>(averaged.weights[k]), layer.displacement[k]);
        }
        layer.displacement = x;
    }
    const auto tied = [](const LayerSetting& s) {
        return LayerAssumptions{.courses = GivenCourses{{s.layers[0].displacement}}};
    };
    const LayerLimit a = layer_limits(each, tied(each))[0];
    const LayerLimit b = layer_limits(averaged, tied(averaged))[0];
    CHECK_WITHIN_RELATIVE(b.share_std[0], a.share_std[0], inverted);
    CHECK_WITHIN_RELATIVE(b.rms, a.rms, inverted);
    CHECK_WITHIN_RELATIVE(b.angle, a.angle, summed);
    CHECK_WITHIN_RELATIVE(b.gain_std, a.gain_std, inverted);
    // A frame's weight against its noise.
    LayerSetting quieter = averaged;
    for (double& w : quieter.weights) {
        w *= 3;
    }
    quieter.noise *= 3;
    CHECK_WITHIN_RELATIVE(layer_limits(quieter)[0].gain_std, layer_limits(averaged)[0].gain_std,
                          inverted);
}

TEST_CASE("one layer: not knowing the waveform costs nothing") {
    LayerSetting setting = scattered_layers(1, 8, 5);
    const LayerLimit free = layer_limits(setting)[0];
    const LayerLimit known = layer_limits(setting, {.spectra = LayerSpectra::known})[0];
    double information = 0;
    for (std::size_t f = 0; f < 5; ++f) {
        const double kappa = 4 * std::numbers::pi * setting.frequencies[f] / setting.sound_speed;
        information += 2 / setting.noise * kappa * kappa * std::norm(setting.layers[0].spectrum[f]);
    }
    const double expected = std::sqrt((1 - 1.0 / 8) / information);
    for (const LayerLimit& limit : {free, known}) {
        CHECK_WITHIN_RELATIVE(limit.rms, expected, summed);
        CHECK_WITHIN_RELATIVE(limit.deviation[3], expected, summed);
        CHECK_WITHIN_RELATIVE(limit.known_rms, expected, summed);
        CHECK(limit.angle == std::numeric_limits<double>::infinity());
        CHECK(limit.separable());
        CHECK(limit.borrowed_std == 0);
    }
}

TEST_CASE("the less layers move against each other, the more the wall borrows of it") {
    // The worst direction holds nearly all at small angles, and is the relative course.
    std::vector<LayerLimit> limits;
    for (const double amplitude : {2e-6, 5e-6, 10e-6, 20e-6, 50e-6, 100e-6}) {
        limits.push_back(layer_limits(gate_of_two(60, amplitude))[0]);
    }
    // 2 pi f0 sd of the delays: 4 pi / 385 um of the amplitude over the root of 2.
    CHECK_WITHIN_RELATIVE(limits[1].angle, 0.1154, 0.02);
    for (std::size_t i = 1; i < limits.size(); ++i) {
        CHECK(limits[i].ratio() < limits[i - 1].ratio());
        CHECK(limits[i].worst_part < limits[i - 1].worst_part);
    }
    for (std::size_t i = 0; i < 3; ++i) {
        CHECK(limits[i].worst_overlap > 0.99);
        CHECK(!limits[i].separable());
    }
    CHECK(limits[0].worst_part > 0.95);
    CHECK(limits[3].separable());
    CHECK(limits[5].ratio() < 1.5);
    // Twice the motion: the borrowed part falls to a quarter, what it displaces to a half.
    CHECK_WITHIN_RELATIVE(limits[1].borrowed_std / limits[2].borrowed_std, 4.0, 0.1);
    CHECK_WITHIN_RELATIVE(limits[0].ratio() / limits[1].ratio(), 2.5, 0.1);
}

TEST_CASE("what is known of spectra and courses orders the bounds") {
    LayerSetting setting = gate_of_two(40, 20e-6);
    test::make_shared(setting);
    const auto rms = [&](LayerSpectra spectra) {
        return layer_limits(setting, {.spectra = spectra})[0].rms;
    };
    const double known = rms(LayerSpectra::known), shared = rms(LayerSpectra::shared),
                 free = rms(LayerSpectra::free);
    CHECK(known < shared);
    CHECK(shared < free);
    CHECK(known >= layer_limits(setting)[0].known_rms * (1 - summed));
    const LayerAssumptions shares{.courses = GivenShares{{{1.0, 0.0}, {0.4, 1.0}}}};
    const LayerAssumptions as_free{.courses = GivenShares{{{1.0, 0.0}, {0.0, 1.0}}}};
    const LayerAssumptions one_course{.courses = GivenShares{{{1.0}, {0.4}}}};
    // As many courses as layers are free ones in other words; a single one ties them.
    CHECK_WITHIN_RELATIVE(layer_limits(setting, as_free)[0].rms, free, inverted);
    CHECK_WITHIN_RELATIVE(layer_limits(setting, shares)[0].rms, free, inverted);
    CHECK(layer_limits(setting, one_course)[0].rms < 0.9 * free);
}

TEST_CASE("shares given, courses unknown: the oracle's information mapped by hand") {
    const LayerSetting setting = scattered_layers(3, 6, 9);
    const std::vector<std::vector<double>> shares = {{1.0, 0.2}, {0.5, 1.0}, {-0.3, 0.8}};
    Eigen::MatrixXd map = Eigen::MatrixXd::Zero(18, 12);
    for (Eigen::Index l = 0; l < 3; ++l) {
        for (Eigen::Index m = 0; m < 2; ++m) {
            map.block(6 * l, 6 * m, 6, 6)
                .diagonal()
                .setConstant(shares[static_cast<std::size_t>(l)][static_cast<std::size_t>(m)]);
        }
    }
    const Eigen::MatrixXd j = test::oracle_information(setting, Unknowns::spectra);
    const Eigen::MatrixXd expected =
        map * test::pseudo_inverse(map.transpose() * j * map) * map.transpose();
    check_against(expected,
                  layer_limits(setting, {.courses = GivenShares{shares}, .covariance = true}));
}

TEST_CASE("courses given, shares unknown: the oracle's information along the courses") {
    const LayerSetting setting = scattered_layers(2, 8, 9);
    const std::vector<std::vector<double>> courses = {setting.layers[0].displacement,
                                                      {1, -1, 2, 0.5, -0.5, 1.5, 0, 1}};
    Eigen::MatrixXd map = Eigen::MatrixXd::Zero(16, 4);
    for (Eigen::Index l = 0; l < 2; ++l) {
        for (Eigen::Index m = 0; m < 2; ++m) {
            map.block(8 * l, 2 * l + m, 8, 1) =
                array_of(courses[static_cast<std::size_t>(m)]).matrix();
        }
    }
    const Eigen::MatrixXd j = test::oracle_information(setting, Unknowns::spectra);
    const Eigen::MatrixXd shares = (map.transpose() * j * map).inverse();
    const std::vector<LayerLimit> found =
        layer_limits(setting, {.courses = GivenCourses{courses}, .covariance = true});
    for (std::size_t l = 0; l < 2; ++l) {
        for (std::size_t m = 0; m < 2; ++m) {
            const auto at = static_cast<Eigen::Index>(2 * l + m);
            CHECK_WITHIN_RELATIVE(found[l].share_std[m], std::sqrt(shares(at, at)), inverted);
        }
    }
    check_against(test::centred(map * shares * map.transpose(), 2), found);
}

TEST_CASE("lines add their information") {
    const LayerSetting one = scattered_layers(2, 6, 9, 1);
    LayerSetting other = scattered_layers(2, 6, 9, 2);
    for (std::size_t l = 0; l < 2; ++l) {
        other.layers[l].displacement = one.layers[l].displacement;
    }
    const std::vector<LayerSetting> both = {one, other};
    const Eigen::MatrixXd sum = test::oracle_information(one, Unknowns::spectra) +
                                test::oracle_information(other, Unknowns::spectra);
    check_against(test::centred(test::pseudo_inverse(sum), 2),
                  layer_limits(both, {.covariance = true}));
    // Sixteen alike: a quarter of the deviation, and as much of one with a known waveform.
    const std::vector<LayerSetting> many(16, one);
    const LayerLimit alone = layer_limits(one)[0], together = layer_limits(many)[0];
    CHECK_WITHIN_RELATIVE(together.rms, alone.rms / 4, inverted);
    CHECK_WITHIN_RELATIVE(together.ratio(), alone.ratio(), inverted);
}

TEST_CASE("two frames of one random layer: the formula of Walker and Trahey") {
    // The formula's figures, worked out in NumPy.
    struct Known {
        SpeckleJitter jitter;
        double nanoseconds;
    };
    const std::vector<Known> known = {{{5e6, 0.6, 2e-6, 1, 10}, 1.2836272278987644},
                                      {{5e6, 0.6, 2e-6, 0.99, 31.6228}, 1.3534357396699308},
                                      {{5e6, 0.6, 2e-6, 0.999, 100}, 0.4250000741905883},
                                      {{4e6, 0.25, 2e-6, 0.999, 10}, 2.9527244975115785},
                                      {{7.5e6, 0.4, 1.5e-6, 0.9999, 100}, 0.14055130307165037}};
    constexpr std::size_t bins = 50;
    constexpr double steep = 1e-9;  // rho of 0.9999 leaves four digits less than rounding
    for (const Known& one : known) {
        const SpeckleJitter& j = one.jitter;
        CHECK_WITHIN_RELATIVE(1e9 * jitter_bound(j), one.nanoseconds, summed);
        const double band = j.fractional_bandwidth * j.centre_frequency;
        LayerSetting setting;
        for (std::size_t f = 0; f < bins; ++f) {
            setting.frequencies.push_back(j.centre_frequency - band / 2 +
                                          band * (double(f) + 0.5) / double(bins));
        }
        // Independent bins lie 1 / T apart; as many as here know the more.
        const double more = double(bins) / (band * j.window);
        setting.noise = 1 / (j.signal_to_noise * j.signal_to_noise);
        setting.layers = {{std::vector<std::complex<double>>(bins, 1.0),
                           {0, 3e-6},
                           {1, j.correlation, j.correlation, 1}}};
        const LayerLimit found =
            layer_limits(setting, {.spectra = LayerSpectra::random, .covariance = true})[0];
        // The sum of f^2 over midpoints for its integral.
        const double b = j.fractional_bandwidth, n = double(bins);
        const double integral = (1 + b * b / 12) / (1 + b * b / 12 * (1 - 1 / (n * n)));
        // About the mean, half of the difference: each frame has a quarter of its variance.
        CHECK_WITHIN_RELATIVE(found.deviation[0] * 2 * std::sqrt(more / integral),
                              displacement(jitter_bound(j), setting.sound_speed), steep);
    }
}

TEST_CASE("random layers: the trace taken literally, derivatives by differences") {
    LayerSetting setting = scattered_layers(2, 5, 4);
    for (std::size_t l = 0; l < 2; ++l) {
        for (int k = 0; k < 25; ++k) {
            setting.layers[l].correlation.push_back(
                std::pow(l == 0 ? 0.98 : 0.9, std::abs(k / 5 - k % 5)));
        }
    }
    const Eigen::MatrixXd expected = test::oracle_random_information(setting);
    std::vector<Eigen::ArrayXXd> correlations;
    for (const MovingLayer& layer : setting.layers) {
        correlations.emplace_back(array_of(layer.correlation).reshaped(5, 5));
    }
    const Eigen::MatrixXd found = random_information(layered_bins(setting), correlations);
    constexpr double differenced = 1e-7;
    CHECK((found - expected).cwiseAbs().maxCoeff() <= differenced * expected.cwiseAbs().maxCoeff());
    LayerSetting steady = setting;
    steady.layers[0].correlation.clear();
    steady.layers[1].correlation.clear();
    const LayerAssumptions random{.spectra = LayerSpectra::random};
    CHECK(layer_limits(steady, random)[0].rms < layer_limits(setting, random)[0].rms);
}

TEST_CASE("in a few rows: the bound of two layers, weights and all") {
    for (const double amplitude : {1e-6, 10e-6, 60e-6}) {
        LayerSetting setting = gate_of_two(48, amplitude);
        for (std::size_t k = 0; k < 48; ++k) {
            setting.weights.push_back(1 + double(k % 5));
        }
        const LayerLimit expected = layer_limits(setting)[0];
        const TwoLayerLimit found = two_layer_limit(layered_bins(setting));
        // Both lose digits with the fourth power of the angle, 0.02 at least.
        constexpr double both = 1e-5;
        CHECK_WITHIN_RELATIVE(found.angle, expected.angle, summed);
        CHECK_WITHIN_RELATIVE(found.known_rms, expected.known_rms, summed);
        CHECK_WITHIN_RELATIVE(found.rms, expected.rms, both);
        CHECK_WITHIN_RELATIVE(found.gain_std, expected.gain_std, both);
        CHECK_WITHIN_RELATIVE(found.borrowed_std, expected.borrowed_std, both);
    }
}

TEST_CASE("sums over frames alone: the bound at small angles") {
    // What the leading terms leave out goes as the square of the angle, a quarter of it here.
    struct Reach {
        double amplitude;
        double error;
    };
    for (const Reach reach :
         {Reach{0.5e-6, 1e-4}, {2e-6, 1e-3}, {5e-6, 5e-3}, {10e-6, 0.02}, {15e-6, 0.04}}) {
        const LayerSetting setting = gate_of_two(48, reach.amplitude);
        const LayerLimit expected = layer_limits(setting)[0];
        const TwoLayerEstimate found = two_layer_estimate(setting);
        CHECK_WITHIN_RELATIVE(found.angle, expected.angle, summed);
        CHECK_WITHIN_RELATIVE(found.borrowed_std, expected.borrowed_std, reach.error);
        CHECK_WITHIN_RELATIVE(found.rms, expected.rms, reach.error);
        CHECK_WITHIN_RELATIVE(small_angle_limit(layered_bins(setting)).gain_std, expected.gain_std,
                              5 * reach.error);
    }
    CHECK_THROWS_AS(static_cast<void>(two_layer_estimate(scattered_layers(3, 6, 5))), InvalidInput);
}

TEST_CASE("a wall's share in a known course, in closed form") {
    LayerSetting setting = gate_of_two(48, 30e-6);
    for (std::size_t k = 0; k < 48; ++k) {
        setting.weights.push_back(1 + double(k % 3));
    }
    const std::vector<double> course = setting.layers[0].displacement;
    const LayerLimit expected = layer_limits(setting, {.courses = GivenCourses{{course}}})[0];
    CHECK_WITHIN_RELATIVE(share_deviation(layered_bins(setting), array_of(course)),
                          expected.share_std[0], exact);
    // The wall moves by the course, so its share's deviation is its gain's.
    CHECK_WITHIN_RELATIVE(expected.gain_std, expected.share_std[0], exact);
}

TEST_CASE("layers that can't be told apart have no bound") {
    LayerSetting setting = gate_of_two(20, 0);
    const LayerLimit still = layer_limits(setting)[0];
    CHECK(still.angle == 0);
    CHECK(!still.separable());
    CHECK(still.rms == std::numeric_limits<double>::infinity());
    CHECK(still.gain_std == std::numeric_limits<double>::infinity());
    CHECK(two_layer_limit(layered_bins(setting)).rms == std::numeric_limits<double>::infinity());
    CHECK(share_deviation(layered_bins(setting), array_of(setting.layers[0].displacement)) ==
          std::numeric_limits<double>::infinity());
    // As many layers as frames: every frame is explained.
    CHECK(layer_limits(scattered_layers(2, 2, 9))[0].rms ==
          std::numeric_limits<double>::infinity());
    // One bin does not tell both displacements of a frame.
    CHECK(layer_limits(scattered_layers(2, 9, 1))[0].rms ==
          std::numeric_limits<double>::infinity());
}

TEST_CASE("separability angle: sd of the relative course in radians of two ways") {
    const std::vector<double> a = {0, 10e-6, 0, 10e-6}, b = {0, 0, 0, 0};
    const double expected = 4 * std::numbers::pi * 4e6 / 1540 * 5e-6;
    CHECK_WITHIN_RELATIVE(separability_angle(a, b, 4e6, 1540), expected, summed);
    const std::vector<double> heavy = {3, 1, 3, 1};
    CHECK_WITHIN_RELATIVE(separability_angle(a, b, 4e6, 1540, heavy), expected * std::sqrt(3.0) / 2,
                          summed);
    CHECK_THROWS_AS(static_cast<void>(separability_angle(a, {}, 4e6, 1540)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(separability_angle({}, {}, 4e6, 1540)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(separability_angle(a, b, 0, 1540)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(separability_angle(a, b, 4e6, -1)), InvalidInput);
    const std::vector<double> none = {0, 0, 0, 0};
    CHECK_THROWS_AS(static_cast<void>(separability_angle(a, b, 4e6, 1540, none)), InvalidInput);
}
