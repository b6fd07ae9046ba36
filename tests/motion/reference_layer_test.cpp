#include "motion/wall/reference_layer.hpp"

#include <cmath>
#include <complex>
#include <numbers>

#include "echosieve/atoms/gabor.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;
using test::made_settings;

namespace {

constexpr double inner_depth = 20e-3;

// Two Gaussian pulses in phase: the inner one of size 1 at 20 mm, the outer one `distance`
// outwards.
EnergyProfile two_pulses(double outwards, double distance, double outer_size) {
    const RecordingSettings s = made_settings();
    const double decay = decay_from_bandwidth(s.sensor.bandwidth);
    const auto pulse = [&](double offset) {
        const double t = s.arrival(offset);
        return std::exp(-decay * t * t);
    };
    EnergyProfile profile{Eigen::ArrayXd::LinSpaced(4001, inner_depth - 2e-3, inner_depth + 2e-3),
                          Eigen::ArrayXd(4001)};
    for (Eigen::Index k = 0; k < profile.depths.size(); ++k) {
        const double z = profile.depths[k] - inner_depth;
        const double x = pulse(z) + outer_size * pulse(z - outwards * distance);
        profile.energy[k] = x * x;
    }
    return profile;
}

constexpr double apart = 0.85e-3;         // [m]: the pulses' maxima are two
constexpr double peak_tolerance = 20e-6;  // [m]: one pulse's flank shifts the other's maximum
// [m]: the edge is taken at half the height of the sum of both pulses, not of the outer one
constexpr double merged_tolerance = 150e-6;

}  // namespace

TEST_CASE("the layer meant is found where the pulses lie apart") {
    for (const double outwards : {-1.0, 1.0}) {
        for (const double outer_size : {0.7, 1.0, 1.4}) {
            CAPTURE(outwards);
            CAPTURE(outer_size);
            const EnergyProfile profile = two_pulses(outwards, apart, outer_size);
            const double outer_depth = inner_depth + outwards * apart;
            ReferenceLayerOptions options;
            CHECK_WITHIN(
                reference_layer_depth(profile, outwards, inner_depth, made_settings(), options),
                outer_depth, peak_tolerance);
            options.layer = WallLayer::inner;
            CHECK_WITHIN(
                reference_layer_depth(profile, outwards, outer_depth, made_settings(), options),
                inner_depth, peak_tolerance);
        }
    }
}

TEST_CASE("pulses merged into one maximum are told apart by its edge") {
    for (const double outwards : {-1.0, 1.0}) {
        for (const double distance : {0.3e-3, 0.4e-3, 0.5e-3}) {
            CAPTURE(outwards);
            CAPTURE(distance);
            const EnergyProfile profile = two_pulses(outwards, distance, 0.8);
            Eigen::Index peaks = 0;
            for (Eigen::Index k = 1; k + 1 < profile.energy.size(); ++k) {
                peaks += profile.energy[k] >= profile.energy[k - 1] &&
                                 profile.energy[k] > profile.energy[k + 1] &&
                                 profile.energy[k] > 0.01
                             ? 1
                             : 0;
            }
            REQUIRE(peaks == 1);
            const double truth = inner_depth + outwards * distance;
            const double found =
                reference_layer_depth(profile, outwards, inner_depth, made_settings());
            CHECK_WITHIN(found, truth, merged_tolerance);
            Eigen::Index peak = 0;
            profile.energy.maxCoeff(&peak);
            CHECK(std::abs(found - truth) < 0.8 * std::abs(profile.depths[peak] - truth));
        }
    }
}

TEST_CASE("one pulse alone is its own layer, and no layer is further than a wall is thick") {
    const EnergyProfile one = two_pulses(1, 0.85e-3, 0);
    CHECK_WITHIN(reference_layer_depth(one, 1, inner_depth, made_settings()), inner_depth,
                 peak_tolerance);
    // Too weak for a wall's layer.
    const EnergyProfile weak = two_pulses(1, 1.2e-3, 0.4);
    CHECK_WITHIN(reference_layer_depth(weak, 1, inner_depth, made_settings()), inner_depth,
                 peak_tolerance);
    const EnergyProfile far = two_pulses(1, 1.2e-3, 1);
    const ReferenceLayerOptions options;
    constexpr double rounding = 1e-15;
    CHECK_WITHIN(reference_layer_depth(far, 1, inner_depth, made_settings(), options),
                 inner_depth + options.thickest_wall, rounding);
}

TEST_CASE("the energy of a spectrum peaks where its pulse lies") {
    GateSpectrum gate;
    gate.grid = {25e-6, 4e6, 16, 4e6};
    gate.frequencies = Eigen::ArrayXd::LinSpaced(9, 3e6, 5e6);
    const double arrival = 26.9e-6;
    Eigen::ArrayXcd spectrum(9);
    for (Eigen::Index j = 0; j < 9; ++j) {
        const double f = gate.frequencies[j];
        const double u = (f - 4e6) / 0.6e6;
        spectrum[j] = std::polar(
            std::exp(-u * u), -2 * std::numbers::pi * (f - 4e6) * (arrival - gate.grid.start_time));
    }
    const EnergyProfile profile = energy_profile(gate, spectrum, made_settings());
    Eigen::Index peak = 0;
    profile.energy.maxCoeff(&peak);
    const double spacing = profile.depths[1] - profile.depths[0];
    CHECK(spacing < 30e-6);
    CHECK_WITHIN(profile.depths[peak], made_settings().depth(arrival), spacing / 2);
}
