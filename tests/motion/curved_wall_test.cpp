#include "motion/wall/curved_wall.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "echosieve/synthesis/detail/flat_sensor.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

RecordingSettings settings_of(double width) {
    RecordingSettings settings;
    settings.sampling_rate = 40e6;
    settings.frame_rate = 500;
    settings.start_time = 6e-6;
    settings.sensor = {.centre_frequency = 4e6, .bandwidth = 1e6};
    settings.sensor.width = width;
    return settings;
}

// Facets drawn along the arc, every echo added by itself, the energy's mean over many arcs: where
// it peaks, from the top towards the lumen [m].
double summed_peak(const CurvedWall& wall, const RecordingSettings& settings, double facet) {
    constexpr int arcs = 400;
    const double sigma = settings.sound_speed * std::sqrt(std::numbers::ln2) /
                         (2 * std::numbers::pi * settings.sensor.bandwidth);
    const double k = 2 * std::numbers::pi * settings.sensor.centre_frequency / settings.sound_speed;
    const double end = 3 * wall.spread;
    const int facets = static_cast<int>(2 * end * wall.radius / facet);
    const FlatSensor face{settings.sensor.width / 2, 3e-3, 1e-3};
    const double sense = wall.far ? -1 : 1;
    constexpr int steps = 121;
    const double step = 4 * sigma / (steps - 1);
    std::vector<double> energy(steps);
    RandomStream random(7, 0);
    for (int arc = 0; arc < arcs; ++arc) {
        std::vector<std::complex<double>> sum(steps);
        for (int i = 0; i < facets; ++i) {
            const double phi = end * random.uniform(-1.0, 1.0);
            const double weight = std::exp(-phi * phi / (2 * wall.spread * wall.spread));
            const double radius = wall.radius + wall.roughness * random.normal();
            const double axis = wall.depth + sense * wall.radius;
            const double z = axis - sense * radius * std::cos(phi);
            const double d =
                sense * (face.distance(wall.radius * std::sin(phi), 0, z) - wall.depth);
            for (int n = 0; n < steps; ++n) {
                const double x = -sigma + n * step - d;
                sum[static_cast<std::size_t>(n)] +=
                    std::polar(weight * std::exp(-x * x / (4 * sigma * sigma)), -2 * k * d);
            }
        }
        for (std::size_t n = 0; n < steps; ++n) {
            energy[n] += std::norm(sum[n]);
        }
    }
    const auto top = std::max_element(energy.begin(), energy.end()) - energy.begin();
    return -sigma + static_cast<double>(top) * step;
}

}  // namespace

TEST_CASE("an arc's energy peaks where the sum over its facets does") {
    const RecordingSettings settings = settings_of(12e-3);
    for (const bool far : {false, true}) {
        for (const double spread : {0.1, 0.3, 0.5}) {
            for (const double roughness : {2e-6, 100e-6}) {
                const CurvedWall wall{3.5e-3, far ? 17e-3 : 10e-3, far, spread, roughness};
                CAPTURE(far);
                CAPTURE(spread);
                CAPTURE(roughness);
                // Speckle of 400 arcs moves the mean's flat peak by a tenth of sigma, 0.2 mm.
                CHECK_WITHIN(arc_peak(wall, settings).offset, summed_peak(wall, settings, 0.1e-3),
                             0.03e-3);
            }
        }
    }
}

TEST_CASE("a smooth arc answers from its top, a rough and wide one from inside it") {
    const RecordingSettings settings = settings_of(12e-3);
    const ArcPeak smooth = arc_peak({3.5e-3, 10e-3, false, 0.5, 0}, settings);
    CHECK(std::abs(smooth.offset) < 0.04e-3);  // a few hundredths: where the phase stands still
    CHECK(smooth.rough < 1e-9);
    const ArcPeak rough = arc_peak({3.5e-3, 10e-3, false, 0.5, 100e-6}, settings);
    CHECK(rough.offset > 0.08e-3);  // tenths of a millimetre a diameter
    CHECK(rough.rough > 0.9);
    CHECK(arc_offset({}, settings).offset > 0);
    CHECK(arc_offset({}, settings).deviation > 0);
    RecordingSettings longer = settings;
    longer.sensor.length = 20e-3;
    CHECK(arc_offset({}, longer).deviation > arc_offset({}, settings).deviation);
}

TEST_CASE("an arc of no size, or under a face of none, is refused") {
    const auto refused = [](const CurvedWall& wall, double width) {
        CHECK_THROWS_AS(static_cast<void>(arc_peak(wall, settings_of(width))), InvalidInput);
    };
    refused({0, 10e-3, false, 0.1, 0}, 10e-3);
    refused({3e-3, 0, false, 0.1, 0}, 10e-3);
    refused({3e-3, 10e-3, false, 0, 0}, 10e-3);
    refused({}, 0);
}

TEST_CASE(
    "with the sensor's size the depths are corrected by what is said, without it as they were") {
    const DrawnScene<VolumeScene> drawn = draw_scene<VolumeScene>(1105);
    SyntheticRecording made = render_drawn<std::int16_t>(drawn);
    const ArteryMotion before = track_artery(made.recording);
    made.recording.settings.sensor.width = 2 * drawn.options.sensor_half_width;
    made.recording.settings.sensor.length = 2 * drawn.options.sensor_half_length;
    const ArteryMotion after = track_artery(made.recording);
    REQUIRE(before.usable());
    REQUIRE(after.usable());
    const DepthCorrection& by = after.depth_correction;
    CHECK(before.depth_correction.near == 0);
    CHECK(before.depth_correction.far == 0);
    CHECK(by.near != 0);
    constexpr double rounding = 1e-12;  // [m]: of depths of some centimetres
    CHECK_WITHIN(before.near.depth - after.near.depth, by.near, rounding);
    CHECK_WITHIN(before.frames[9].far_wall - after.frames[9].far_wall, by.far, rounding);
    // Here a wall was read 0.6 mm off its layer.
    const auto level_error = [&](const ArteryMotion& motion) {
        double sum = 0;
        for (std::size_t i = 0; i < motion.frames.size(); ++i) {
            const WallDepths& truth = made.truth.walls[i];
            sum += motion.frames[i].diameter - (truth.far_outer - truth.near_outer);
        }
        return std::abs(sum) / static_cast<double>(motion.frames.size());
    };
    CHECK(level_error(after) < level_error(before) - 0.2e-3);
    CHECK(level_error(before) < 2 * before.diameter_level_std);
    CHECK(level_error(after) < 2 * after.diameter_level_std);
    CHECK(before.diameter_level_std > after.diameter_level_std);
    CHECK(after.near.depth_std > by.near_deviation);
    CHECK(after.layer == WallLayer::outer);
}

TEST_CASE("a beam beside the axis sees a chord") {
    // sqrt(1 - (x/R)^2) and 1 / (1 - (x/R)^2), R 3.25 mm, to the digits given.
    constexpr double digits = 6e-4;
    const auto check = [&](double offset, double diameter, double strain) {
        const ChordFactors factors = chord_factors(offset, 3.25e-3);
        CHECK_WITHIN(factors.diameter - 1, diameter, digits);
        CHECK_WITHIN(factors.strain - 1, strain, digits);
    };
    check(0, 0, 0);
    check(0.5e-3, -0.012, 0.024);
    check(-1.0e-3, -0.049, 0.105);
    check(1.5e-3, -0.113, 0.271);
    CHECK_THROWS_AS(static_cast<void>(chord_factors(3.25e-3, 3.25e-3)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(chord_factors(0, 0)), InvalidInput);
}
