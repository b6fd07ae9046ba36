#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/sampling.hpp"
#include "support/check.hpp"
#include "support/quick_scene.hpp"

using namespace echosieve;

namespace {

SceneOptions quick() {
    return test::quick_scene<SceneOptions>();
}

// No tissue, no ring-down, hardly any noise, no attenuation: the walls alone.
SceneOptions walls_only() {
    SceneOptions options = quick();
    options.scatterers_per_square = 0;
    options.ring_down_decibels = -300;
    options.snr_decibels = 300;
    options.attenuation = 0;
    return options;
}

using test::floats;

}  // namespace

TEST_CASE("the pulse wave lies in 0 to 1, is continuous, and rises once a beat") {
    PulseWaveOptions options;
    const PulseWave wave(options, 10, RandomStream(3, 0));
    const double step = 1e-4;
    // Steepest is the upstroke, pi / (2 R) a second.
    const double steepest = 1.01 * step * std::numbers::pi / (2 * options.rise_time);
    double before = wave(0);
    for (double t = step; t < 10; t += step) {
        const double w = wave(t);
        REQUIRE(w >= -1e-12);
        REQUIRE(w <= 1.01);  // the notch may lift the rounded peak by a hair
        REQUIRE(std::abs(w - before) <= steepest);
        before = w;
    }
    const auto onsets = wave.onsets(10);
    CHECK(onsets.size() >= 9);
    CHECK(onsets.size() <= 13);
    for (const double onset : onsets) {
        if (onset + options.rise_time < 10) {
            constexpr double rounding = 1e-9;
            CHECK_WITHIN(wave(onset + options.rise_time), 1.0, rounding);
            CHECK_WITHIN(wave(onset), 0.0, rounding);
            for (double s = 0; s < options.rise_time - 2e-3; s += 1e-3) {
                CHECK(wave(onset + s + 1e-3) > wave(onset + s));
            }
        }
    }
}

TEST_CASE("the beats have the stated rate and variability") {
    PulseWaveOptions options;
    options.heart_rate = 1.5;
    options.variability = 0.05;
    const double duration = 2000;
    const auto onsets = PulseWave(options, duration, RandomStream(4, 0)).onsets(duration);
    // 3,000 beats: 0.1 % standard error of the mean, 1.3 % of the deviation; four of each.
    const double count = static_cast<double>(onsets.size() - 1);
    const double mean = (onsets.back() - onsets.front()) / count;
    double square = 0;
    for (std::size_t i = 1; i < onsets.size(); ++i) {
        square += std::pow(onsets[i] - onsets[i - 1] - mean, 2);
    }
    CHECK_WITHIN_RELATIVE(mean, 1 / 1.5, 0.004);
    CHECK_WITHIN_RELATIVE(std::sqrt(square / count) / mean, 0.05, 0.06);
}

TEST_CASE("the wall keeps its cross-section and the layers their order") {
    const Scene scene(quick(), 5);
    const SceneOptions& options = scene.options();
    const double rest = options.diameter / 2;
    const double outer = rest + options.wall_thickness;
    for (double t = 0; t < options.duration; t += 1e-2) {
        const WallDepths w = scene.walls(t);
        CHECK(w.near_outer < w.near_inner);
        CHECK(w.near_inner < w.far_inner);
        CHECK(w.far_inner < w.far_outer);
        const double ri = (w.far_inner - w.near_inner) / 2;
        const double ro = (w.far_outer - w.near_outer) / 2;
        constexpr double rounding = 1e-12;  // of some 1e-5 square metres
        CHECK_WITHIN(ro * ro - ri * ri, outer * outer - rest * rest, rounding);
        CHECK(2 * ri >= options.diameter - 1e-12);
        CHECK(2 * ri <= options.diameter + 1.01 * options.distension);
    }
}

TEST_CASE("a rendered frame is the sum of its echoes, added directly") {
    SceneOptions options = quick();
    options.snr_decibels = 300;
    options.ring_down_decibels = -300;
    options.duration = 0.02;
    const Scene scene(options, 6);
    RenderOptions render_options;
    render_options.wall_counts = 100;
    const SyntheticRecording made = render<float>(scene, 6, render_options);
    const auto& matrix = floats(made);
    const RecordingSettings& settings = options.settings;
    const SamplingGrid grid = settings.grid(matrix.samples());
    std::vector<double> direct(grid.count);
    const std::size_t frame = 3;
    scene.for_each_echo(
        static_cast<double>(frame) / settings.frame_rate, [&](const SceneEcho& echo) {
            const Gabor<double> atom{settings.arrival(echo.depth), scene.frequency_at(echo.depth),
                                     settings.sensor.bandwidth};
            add(Echo<Gabor<double>>{atom, 100.0 * echo.amplitude}, grid, std::span<double>(direct));
        });
    double largest = 0;
    for (std::size_t n = 0; n < grid.count; ++n) {
        largest = std::max(largest, std::abs(direct[n] - static_cast<double>(matrix[frame][n])));
    }
    // float has 24 bits of 100 counts, and each echo is cut at exp(-16) of its peak.
    constexpr double tolerance = 1e-3;
    CHECK_WITHIN(largest, 0.0, tolerance);
}

TEST_CASE("the echoes move as the truth says") {
    SceneOptions options = walls_only();
    options.wall_spread = 1e-9;
    options.inner_layer_decibels = -300;
    const Scene scene(options, 7);
    const SyntheticRecording made = render<float>(scene, 7);
    const auto& matrix = floats(made);
    const SamplingGrid grid = options.settings.grid(matrix.samples());
    // The envelope's centroid near the wall's depth, from the squared samples.
    const auto centroid = [&](std::size_t frame, double depth) {
        double sum = 0;
        double weight = 0;
        for (std::size_t n = 0; n < grid.count; ++n) {
            const double z = options.settings.depth(grid.time(static_cast<double>(n)));
            if (std::abs(z - depth) < 1.5e-3) {
                const double e = std::pow(static_cast<double>(matrix[frame][n]), 2);
                sum += e * z;
                weight += e;
            }
        }
        return sum / weight;
    };
    for (std::size_t i = 0; i < matrix.frames(); i += 10) {
        const WallDepths& w = made.truth.walls[i];
        // The carrier is in the centroid's weights: exp(-2 pi^2 f^2 / alpha) of a pulse length,
        // nothing.
        constexpr double tolerance = 0.2e-6;  // [m]
        CHECK_WITHIN(centroid(i, w.near_outer), w.near_outer, tolerance);
        CHECK_WITHIN(centroid(i, w.far_outer), w.far_outer, tolerance);
    }
}

TEST_CASE("noise and clutter have the stated levels") {
    SceneOptions options = walls_only();
    options.snr_decibels = 14;
    options.centre_depth = 13.2e-3;
    const SyntheticRecording made = render<float>(Scene(options, 8), 8);
    const auto& matrix = floats(made);
    double square = 0;
    double count = 0;
    for (std::size_t i = 0; i < matrix.frames(); ++i) {
        for (std::size_t n = 0; n < matrix.samples() / 8; ++n) {  // above the artery: noise alone
            square += std::pow(static_cast<double>(matrix[i][n]), 2);
            ++count;
        }
    }
    // Some 10,000 samples: 0.7 % standard error, four of them.
    CHECK(count > 1e4);
    CHECK_WITHIN_RELATIVE(std::sqrt(square / count), 2000 * std::pow(10, -14.0 / 20), 0.03);

    double mean_square = 0;
    double values = 0;
    for (const std::uint64_t seed : {1U, 2U, 3U, 4U, 5U, 6U, 7U, 8U}) {
        SceneOptions tissue = walls_only();
        tissue.duration = 0.005;
        tissue.clutter_decibels = -6;
        tissue.scatterers_per_square = 20e6;
        const auto one = render<float>(Scene(tissue, seed), seed);
        const auto& frame = floats(one);
        // From 1 mm under the first sample to 1 mm over the near wall: nothing but tissue.
        for (std::size_t n = 60; n < frame.samples(); ++n) {
            const double z = tissue.settings.depth(
                tissue.settings.grid(frame.samples()).time(static_cast<double>(n)));
            if (z < one.truth.walls[0].near_outer - 1.5e-3) {
                mean_square +=
                    2 * std::pow(static_cast<double>(frame[0][n]), 2);  // of the envelope
                ++values;
            }
        }
    }
    // Eight lines of some eight independent cells: 12 % of the mean square, three of them.
    CHECK_WITHIN_RELATIVE(mean_square / values, std::pow(2000 * std::pow(10, -6.0 / 20), 2), 0.36);
}

TEST_CASE("attenuation shifts the band down as tabulated") {
    // 4 MHz, 1 MHz, 0.5 dB/cm/MHz: 41.667 kHz at 2 cm (Kuc and Schwartz 1979 from memory,
    // recomputed by integration).
    const Scene scene(quick(), 9);
    constexpr double rounding = 1.0;  // [Hz] of five printed digits
    CHECK_WITHIN(scene.frequency_at(20e-3), 4e6 - 41667.0, rounding);
    CHECK_WITHIN(scene.frequency_at(10e-3), 4e6 - 20833.0, rounding);
}

TEST_CASE("seeds give bits, dropped frames are what they are called") {
    SceneOptions options = quick();
    RenderOptions drops;
    drops.dropped_fraction = 0.2;
    for (const DropKind kind : {DropKind::zeros, DropKind::noise, DropKind::repeat}) {
        drops.drop_kind = kind;
        const auto a = render<std::int16_t>(Scene(options, 10), 10, drops);
        const auto b = render<std::int16_t>(Scene(options, 10), 10, drops);
        const auto c = render<std::int16_t>(Scene(options, 11), 11, drops);
        const auto& x = std::get<FrameMatrix<std::int16_t>>(a.recording.samples);
        const auto& y = std::get<FrameMatrix<std::int16_t>>(b.recording.samples);
        const auto& z = std::get<FrameMatrix<std::int16_t>>(c.recording.samples);
        CHECK(std::ranges::equal(x.values(), y.values()));
        CHECK(!std::ranges::equal(x.values(), z.values()));
        std::size_t dropped = 0;
        for (std::size_t i = 1; i < x.frames(); ++i) {
            const bool repeats = std::ranges::equal(x[i], x[i - 1]);
            const bool zeros = std::ranges::all_of(x[i], [](std::int16_t v) { return v == 0; });
            dropped += a.truth.dropped[i] ? 1 : 0;
            if (a.truth.dropped[i]) {
                CHECK((kind == DropKind::zeros    ? zeros
                       : kind == DropKind::repeat ? repeats
                                                  : !zeros));
            } else {
                CHECK(!zeros);
                CHECK(!repeats);
            }
        }
        CHECK(dropped > 5);
        CHECK(dropped < 40);
    }
}

TEST_CASE("the converter clips at full scale") {
    SceneOptions options = quick();
    options.ring_down_decibels = 40;
    RenderOptions small;
    small.full_scale = 2047;
    small.wall_counts = 1000;
    const auto made = render<std::int16_t>(Scene(options, 12), 12, small);
    const auto values = std::get<FrameMatrix<std::int16_t>>(made.recording.samples).values();
    CHECK(*std::ranges::max_element(values) == 2047);
    CHECK(*std::ranges::min_element(values) == -2048);
}

TEST_CASE("scenes that can't be are refused by name and value") {
    SceneOptions options = quick();
    options.distension = -1e-6;
    CHECK_THROWS_AS(Scene(options, 1), InvalidInput);
    options = quick();
    options.centre_depth = 6e-3;  // the near wall above the first sample
    CHECK_THROWS_AS(Scene(options, 1), InvalidInput);
    options = quick();
    options.duration = std::nan("");
    CHECK_THROWS_AS(Scene(options, 1), InvalidInput);
    options = quick();
    options.pulse.heart_rate = 0;
    CHECK_THROWS_AS(Scene(options, 1), InvalidInput);
    // Refused before a beat or a scatterer is drawn: this test would not end otherwise.
    options = quick();
    options.duration = 1e9;
    CHECK_THROWS_WITH_AS(Scene(options, 1), doctest::Contains("frames * samples a frame = "),
                         InvalidInput);
    options = quick();
    options.depth_range = 1e6;
    CHECK_THROWS_WITH_AS(Scene(options, 1), "depth_range = 1000000: must not exceed 100 [m]",
                         InvalidInput);
    RenderOptions bad;
    bad.dropped_fraction = 1;
    CHECK_THROWS_AS(validate(bad), InvalidInput);
    bad = {};
    bad.full_scale = 40000;
    CHECK_THROWS_AS(validate(bad), InvalidInput);
}
