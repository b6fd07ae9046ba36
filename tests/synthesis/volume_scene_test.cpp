#include "echosieve/synthesis/volume_scene.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numbers>
#include <vector>

#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "support/check.hpp"
#include "support/quick_scene.hpp"

using namespace echosieve;

static_assert(RenderableScene<Scene>);
static_assert(RenderableScene<VolumeScene>);
static_assert(!RenderableScene<PulseWave>);

namespace {

VolumeSceneOptions quick() {
    return test::quick_scene<VolumeSceneOptions>();
}

// No tissue, no ring-down, hardly any noise, no attenuation: the walls alone.
VolumeSceneOptions walls_only() {
    VolumeSceneOptions options = quick();
    options.scatterers_per_volume = 0;
    options.ring_down_decibels = -300;
    options.snr_decibels = 300;
    options.attenuation = 0;
    options.media_decibels = -300;
    return options;
}

using test::floats;

// Mean square of the samples between two depths [m].
double mean_square(const SyntheticRecording& made, std::size_t frame, double from, double to) {
    const auto& matrix = floats(made);
    const SamplingGrid grid = made.recording.settings.grid(matrix.samples());
    double sum = 0;
    double count = 0;
    for (std::size_t n = 0; n < grid.count; ++n) {
        const double z = made.recording.settings.depth(grid.time(static_cast<double>(n)));
        if (z >= from && z < to) {
            sum += std::pow(static_cast<double>(matrix[frame][n]), 2);
            ++count;
        }
    }
    return sum / count;
}

}  // namespace

TEST_CASE("what lies beside the sensor answers from its nearest edge, and weaker") {
    const FlatSensor face{6e-3, 3e-3, 1.5e-3};
    CHECK(face.distance(0, 0, 10e-3) == 10e-3);
    CHECK(face.distance(-6e-3, 3e-3, 10e-3) == 10e-3);
    constexpr double rounding = 1e-15;
    CHECK_WITHIN(face.distance(6e-3 + 3e-3, 0, 4e-3), 5e-3, rounding);
    CHECK_WITHIN(face.distance(0, -(3e-3 + 3e-3), 4e-3), 5e-3, rounding);
    CHECK_WITHIN(face.distance(6e-3 + 2e-3, 3e-3 + 3e-3, 6e-3), 7e-3, rounding);
    CHECK(face.weight(0, 0) == 1);
    CHECK(face.weight(4.4e-3, 1.4e-3) == 1);
    CHECK_WITHIN(face.weight(6e-3, 0), 0.25, rounding);  // a half each way
    double before = 1;
    for (double x = 0; x < 15e-3; x += 1e-5) {
        const double w = face.weight(x, 0);
        CHECK(w == face.weight(-x, 0));
        CHECK(w <= before);
        CHECK(before - w < 0.01);  // no jump
        before = w;
    }
    CHECK(before < 0.02);
}

TEST_CASE("the vessel moves the tissue without compressing it, and with the wall at its edge") {
    const double radius = 3.5e-3;
    const auto push = [&](double x, double z) { return detail::vessel_response(x, z, radius, 1); };
    // Divergence by central differences: 1e-6 m apart at 4 mm, relative error 1e-7.
    const double h = 1e-6;
    for (const double angle : {0.1, 0.9, 1.7, 2.6}) {
        for (const double r : {3.6e-3, 5e-3, 8e-3}) {
            const double x = r * std::sin(angle);
            const double z = r * std::cos(angle);
            const double source = (push(x + h, z).push_x - push(x - h, z).push_x +
                                   push(x, z + h).push_z - push(x, z - h).push_z) /
                                  (2 * h);
            const double dipole = (push(x + h, z).shift_x - push(x - h, z).shift_x +
                                   push(x, z + h).shift_z - push(x, z - h).shift_z) /
                                  (2 * h);
            constexpr double differences = 1e-3;  // of some 300 a metre
            CHECK_WITHIN(source, 0.0, differences);
            CHECK_WITHIN(dipole, 0.0, differences);
            const auto at = push(x, z);
            CHECK_WITHIN_RELATIVE(std::hypot(at.push_x, at.push_z), radius / r, 1e-12);
        }
    }
    constexpr double rounding = 1e-12;
    CHECK_WITHIN(push(0, radius).push_z, 1.0, rounding);
    CHECK_WITHIN(push(0, -radius).push_z, -1.0, rounding);
    CHECK_WITHIN(push(0, radius).shift_z, 1.0, rounding);
    CHECK_WITHIN(push(0, -radius).shift_z, 1.0, rounding);
}

TEST_CASE("the wall in the volume keeps its cross-section") {
    const VolumeScene scene(quick(), 5);
    const VolumeSceneOptions& options = scene.options();
    const double rest = options.diameter / 2;
    const double outer = rest + options.wall_thickness;
    for (double t = 0; t < options.duration; t += 1e-2) {
        const WallDepths w = scene.walls(t);
        const double ri = (w.far_inner - w.near_inner) / 2;
        const double ro = (w.far_outer - w.near_outer) / 2;
        constexpr double rounding = 1e-12;  // of some 1e-5 square metres
        CHECK_WITHIN(ro * ro - ri * ri, outer * outer - rest * rest, rounding);
    }
}

TEST_CASE("the volume's walls answer from their depths, at their level, and move as the truth") {
    VolumeSceneOptions options = walls_only();
    options.inner_layer_decibels = -300;
    options.wall_spread = 0.01;
    options.wall_roughness = 0;
    options.tilt = 0;
    options.curvature = 0;
    options.breathing = 0;
    const VolumeScene scene(options, 7);
    const SyntheticRecording made = render<float>(scene, 7);
    const auto& matrix = floats(made);
    const SamplingGrid grid = options.settings.grid(matrix.samples());
    const RecordingSettings& settings = options.settings;
    CHECK_WITHIN(made.truth.peak_lag,
                 settings.depth(2 * gamma_decay_time(settings.sensor.bandwidth)), 1e-15);
    for (std::size_t i = 0; i < matrix.frames(); i += 5) {
        const WallDepths& w = made.truth.walls[i];
        // A single pulse is left of each wall: 3 spreads of 0.01 rad at 3.8 mm are 2 um.
        const auto shape = [&](double depth, double z) {
            return value(GammaPulse{settings.arrival(depth), 4e6, 1e6}, settings.arrival(z));
        };
        for (const double depth : {w.near_outer, w.far_outer}) {
            // Projected onto the pulse where the truth puts it, all energy must be found.
            std::complex<double> product = 0;
            double own = 0;
            double energy = 0;
            for (std::size_t n = 0; n < grid.count; ++n) {
                const double z = settings.depth(grid.time(static_cast<double>(n)));
                if (z > depth - 0.5e-3 && z < depth + 3e-3) {
                    const double x = static_cast<double>(matrix[i][n]);
                    const std::complex<double> g = shape(depth, z);
                    product += x * std::conj(g);
                    own += std::norm(g);
                    energy += x * x;
                }
            }
            const double amplitude = 2 * std::abs(product) / own;
            // The real pulse is half the analytic one and its image, which is not quite
            // orthogonal; the facets' spread takes a little.
            CHECK_WITHIN_RELATIVE(amplitude, 2000.0, 0.02);
            CHECK_WITHIN_RELATIVE(amplitude * amplitude * own / 2, energy, 0.03);
        }
    }
}

TEST_CASE("the volume's walls reach the stated peaks at rest") {
    VolumeSceneOptions options = walls_only();
    options.duration = 0.005;
    options.distension = 0;
    options.breathing = 0;
    options.inner_layer_decibels = -300;
    for (const std::uint64_t seed : {1U, 2U, 3U}) {
        const auto made = render<float>(VolumeScene(options, seed), seed);
        const auto row = floats(made)[0];
        const double largest = static_cast<double>(*std::ranges::max_element(row));
        // A real echo of 4 MHz comes within a sixteenth of a period, 0.93, of its envelope's peak.
        CHECK(largest <= 2001);
        CHECK(largest >= 0.9 * 2000);
    }
}

TEST_CASE("what scatters within the wall has about the stated level") {
    double sum = 0;
    double count = 0;
    for (std::uint64_t seed = 1; seed <= 16; ++seed) {
        VolumeSceneOptions options = walls_only();
        options.duration = 0.005;
        options.distension = 0;
        const SyntheticRecording without = render<float>(VolumeScene(options, seed), seed);
        options.media_decibels = -10;
        const SyntheticRecording with = render<float>(VolumeScene(options, seed), seed);
        const WallDepths& w = with.truth.walls[0];
        for (std::size_t n = 0; n < floats(with).samples(); ++n) {
            const double z = options.settings.depth(options.settings.start_time +
                                                    static_cast<double>(n) / 40e6) -
                             with.truth.peak_lag;
            if ((z > w.near_outer && z < w.near_inner) || (z > w.far_inner && z < w.far_outer)) {
                const double x = static_cast<double>(floats(with)[0][n] - floats(without)[0][n]);
                sum += 2 * x * x;  // of the envelope
                ++count;
            }
        }
    }
    // 32 walls of about one cell, and only about so many decibels by definition: 3 dB.
    CHECK_WITHIN(10 * std::log10(sum / count / (2000.0 * 2000.0)), -10.0, 3.0);
}

TEST_CASE("tissue in the volume has the stated level away from the artery") {
    double sum = 0;
    double count = 0;
    for (std::uint64_t seed = 1; seed <= 12; ++seed) {
        VolumeSceneOptions options = quick();
        options.duration = 0.005;
        options.artery = false;
        options.clutter_decibels = -6;
        options.ring_down_decibels = -300;
        options.snr_decibels = 300;
        const auto made = render<float>(VolumeScene(options, seed), seed);
        sum += 2 * mean_square(made, 0, 8e-3, 20e-3);  // of the envelope
        ++count;
    }
    // Twelve lines of some twenty cells: 6.5 % of the mean square, four of them; echoes of the edge
    // come a little deeper than they lie.
    CHECK_WITHIN_RELATIVE(sum / count, std::pow(2000 * std::pow(10, -6.0 / 20), 2), 0.26);
}

TEST_CASE("an artery's lumen holds less than the tissue, and none is there without an artery") {
    VolumeSceneOptions options = quick();
    options.sensor_half_width = 2e-3;  // within the vessel: nothing lies beside it but by the edge
    options.sensor_half_length = 2e-3;
    options.lateral_offset = 0;
    options.margin = 0;
    options.snr_decibels = 300;
    options.duration = 0.005;
    const VolumeScene scene(options, 9);
    const auto made = render<float>(scene, 9);
    const double lumen = mean_square(made, 0, 13.2e-3, 15.5e-3);
    const double tissue = mean_square(made, 0, 18.5e-3, 21e-3);
    CHECK(lumen < 0.01 * tissue);
    options.artery = false;
    const auto without = render<float>(VolumeScene(options, 9), 9);
    CHECK(mean_square(without, 0, 13.2e-3, 15.5e-3) > 0.1 * tissue);
    CHECK(std::isnan(without.truth.walls[0].near_inner));
    CHECK(std::isnan(without.truth.walls[0].far_outer));
}

TEST_CASE("volumes of one seed agree bit by bit, others do not") {
    VolumeSceneOptions options = quick();
    options.duration = 0.05;
    const auto made = [&](std::uint64_t seed) {
        return render<std::int16_t>(VolumeScene(options, seed), seed);
    };
    const auto a = made(3);
    const auto b = made(3);
    const auto c = made(4);
    const auto values = [](const SyntheticRecording& r) {
        return std::get<FrameMatrix<std::int16_t>>(r.recording.samples).values();
    };
    CHECK(std::ranges::equal(values(a), values(b)));
    CHECK(!std::ranges::equal(values(a), values(c)));
}

TEST_CASE("volumes that can't be are refused by name") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const auto refused = [](double VolumeSceneOptions::*option, double value, const char* name) {
        VolumeSceneOptions options = quick();
        options.*option = value;
        CAPTURE(value);
        CHECK_THROWS_WITH_AS(validate(options), doctest::Contains(name), InvalidInput);
    };
    refused(&VolumeSceneOptions::sensor_half_length, 0, "sensor_half_length = 0");
    refused(&VolumeSceneOptions::sensor_taper, nan, "sensor_taper");
    refused(&VolumeSceneOptions::margin, -1, "margin = -1");
    refused(&VolumeSceneOptions::wall_roughness, 1, "wall_roughness = 1");
    refused(&VolumeSceneOptions::wall_spread, 0, "wall_spread = 0");
    refused(&VolumeSceneOptions::tilt, 0.5, "tilt = 0.5");
    refused(&VolumeSceneOptions::curvature, nan, "curvature");
    refused(&VolumeSceneOptions::lateral_offset, 7e-3, "lateral_offset = 0.007");
    refused(&VolumeSceneOptions::scatterers_per_volume, 1e12, "scatterers_per_volume");
    refused(&VolumeSceneOptions::centre_depth, 6e-3, "centre_depth = 0.006");
    refused(&VolumeSceneOptions::attenuation, 5, "attenuation = 5");
    refused(&VolumeSceneOptions::pulsation, nan, "pulsation");
    VolumeSceneOptions options = quick();
    options.tilt = 0.2;
    options.wall_spread = 0.05;
    CHECK_THROWS_WITH_AS(validate(options), doctest::Contains("tilt = 0.2: with the curvature"),
                         InvalidInput);
}
