// Several lines over one artery: what they have in common, what each has of its own.
#include "echosieve/synthesis/lines.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <string>
#include <vector>

#include "support/check.hpp"

using namespace echosieve;

namespace {

template <class S>
DrawnScene<S> quick() {
    DrawnScene<S> drawn;
    drawn.seed = 7;
    drawn.options.duration = 1;
    drawn.options.settings.sampling_rate = 40e6;
    drawn.options.settings.frame_rate = 50;
    drawn.options.pulse.heart_rate = 1.5;
    return drawn;
}

// Rhythms and slow changes off: what is left follows the pulse alone.
template <class S>
DrawnScene<S> pulse_alone() {
    DrawnScene<S> drawn = quick<S>();
    drawn.options.breathing = 0;
    if constexpr (requires { drawn.options.strength_change; }) {
        drawn.options.strength_change = 0;
    }
    return drawn;
}

template <class T>
std::span<const T> values(const Recording& recording) {
    return std::get<FrameMatrix<T>>(recording.samples).values();
}

// Below the ring-down, which all lines share.
constexpr std::size_t below_ring_down = 300;

double correlation(const Recording& a, const Recording& b) {
    double product = 0;
    double square_a = 0;
    double square_b = 0;
    const auto& x = std::get<FrameMatrix<float>>(a.samples);
    const auto& y = std::get<FrameMatrix<float>>(b.samples);
    for (std::size_t i = 0; i < x.frames(); ++i) {
        for (std::size_t n = below_ring_down; n < x.samples(); ++n) {
            product += static_cast<double>(x[i][n]) * static_cast<double>(y[i][n]);
            square_a += static_cast<double>(x[i][n]) * static_cast<double>(x[i][n]);
            square_b += static_cast<double>(y[i][n]) * static_cast<double>(y[i][n]);
        }
    }
    return product / std::sqrt(square_a * square_b);
}

constexpr LinesPlan three = {.count = 3, .spacing = 2e-3, .tilt = 0.1, .pulse_wave_velocity = 5};

}  // namespace

TEST_CASE_TEMPLATE("the first line is the recording of one line, to the bit", S, Scene, VolumeScene,
                   LayeredScene) {
    DrawnScene<S> drawn = quick<S>();
    drawn.render.dropped_fraction = 0.2;
    drawn.options.events.trigger_jitter = 5e-9;
    const SyntheticRecording one = render_drawn<std::int16_t>(drawn);
    const SyntheticLines lines = render_lines<std::int16_t>(drawn, three);
    CHECK(std::ranges::equal(values<std::int16_t>(lines.recorded.lines[0]),
                             values<std::int16_t>(one.recording)));
    CHECK(lines.truths[0].onsets == one.truth.onsets);
    CHECK(lines.truths[0].dropped == one.truth.dropped);
    CHECK(lines.truths[0].trigger_delays == one.truth.trigger_delays);
    CHECK(lines.recorded.positions == std::vector<double>{0, 2e-3, 4e-3});
    validate(lines.recorded);
}

// As rendered before there were several lines: recordings of a seed stay what they are.
TEST_CASE_TEMPLATE("a scene of one line keeps its random numbers", S, Scene, VolumeScene,
                   LayeredScene) {
    constexpr std::array<std::size_t, 4> places = {100, 300, 500, 700};
    constexpr std::array<double, 4> section = {-229.2073, -186.3477, 131.4358, -910.2747};
    constexpr std::array<double, 4> volume = {1045.1332, -142.8286, 553.3483, -267.5436};
    constexpr std::array<double, 4> layered = {-824.4108, -701.4750, -188.7858, 109.9359};
    const auto& expected = std::same_as<S, Scene>         ? section
                           : std::same_as<S, VolumeScene> ? volume
                                                          : layered;
    typename S::Options options;
    options.duration = 0.02;
    options.settings.sampling_rate = 40e6;
    options.settings.frame_rate = 100;
    const SyntheticRecording made = render<float>(S(options, 7), 7);
    for (std::size_t k = 0; k < places.size(); ++k) {
        const auto frame = std::get<FrameMatrix<float>>(made.recording.samples)[1];
        // Another C library's sines differ by some 1e-12 of the largest samples.
        CHECK_WITHIN(static_cast<double>(frame[places[k]]), expected[k], 1e-3);
    }
}

TEST_CASE_TEMPLATE("lines have echoes of their own", S, Scene, VolumeScene, LayeredScene) {
    const auto rendered = [](DrawnScene<S> drawn) {
        drawn.options.snr_decibels = 60;
        return render_lines<float>(drawn, {.count = 3}).recorded.lines;
    };
    DrawnScene<S> tissue = quick<S>();
    tissue.options.artery = false;
    for (const DrawnScene<S>& drawn : {quick<S>(), tissue}) {
        const std::vector<Recording> lines = rendered(drawn);
        // Some 600 samples of 40 MHz hold a dozen independent echoes or more of 1 MHz: five
        // standard deviations would be 1.
        CHECK(std::abs(correlation(lines[0], lines[1])) < 0.7);
        CHECK(std::abs(correlation(lines[0], lines[2])) < 0.7);
        CHECK(std::abs(correlation(lines[1], lines[2])) < 0.7);
    }
}

TEST_CASE_TEMPLATE("lines have noise and faults of their own", S, Scene, VolumeScene,
                   LayeredScene) {
    DrawnScene<S> drawn = quick<S>();
    drawn.options.snr_decibels = -60;
    drawn.options.events.trigger_jitter = 5e-9;
    drawn.options.events.clipped_fraction = 0.3;
    drawn.options.events.clipped_gain_decibels = 0;
    drawn.render = {.full_scale = 32767, .wall_counts = 1, .dropped_fraction = 0.3};
    drawn.render.drop_kind = DropKind::noise;
    const SyntheticLines lines = render_lines<float>(drawn, {.count = 2});
    // Five standard deviations of a correlation of so many samples.
    const Recording& first = lines.recorded.lines[0];
    const double samples = static_cast<double>(first.frame_count()) *
                           static_cast<double>(first.sample_count() - below_ring_down);
    CHECK(std::abs(correlation(first, lines.recorded.lines[1])) < 5 / std::sqrt(samples));
    CHECK(lines.truths[0].dropped != lines.truths[1].dropped);
    CHECK(lines.truths[0].clipped != lines.truths[1].clipped);
    CHECK(lines.truths[0].trigger_delays != lines.truths[1].trigger_delays);
}

TEST_CASE_TEMPLATE("a line's delay is that of all that follows the pulse", S, Scene, VolumeScene,
                   LayeredScene) {
    DrawnScene<S> now = pulse_alone<S>();
    now.options.pulsation = 0.1e-3;
    DrawnScene<S> later = now;
    later.options.line_delay = 1.0 / 64;  // sums of binary fractions are exact
    const S a(now.options, now.seed);
    const S b(later.options, later.seed);
    const SamplingGrid grid = now.options.settings.grid(800);
    for (const double time : {0.25, 0.5, 0.625}) {
        std::vector<double> of_a(grid.count);
        std::vector<double> of_b(grid.count);
        a.add_echoes(time, grid, of_a);
        b.add_echoes(time + 1.0 / 64, grid, of_b);
        CHECK(of_a == of_b);
        b.add_echoes(time, grid, of_b);
        CHECK(of_a != of_b);
    }
    const std::vector<double> onsets = a.pulse().onsets(1);
    const std::vector<double> late = render_drawn<float>(later).truth.onsets;
    REQUIRE(!onsets.empty());
    CHECK(std::ranges::find(late, onsets.front() + 1.0 / 64) != late.end());
}

TEST_CASE_TEMPLATE("lines move together, deeper by their tilt, later by their distance", S, Scene,
                   VolumeScene, LayeredScene) {
    const double rounding = 8 * test::epsilon<double> * 0.02;  // of depths up to 20 mm
    const auto lines = lines_of(pulse_alone<S>(), three);
    REQUIRE(lines.size() == 3);
    CHECK_WITHIN(lines[2].options.line_delay, 0.8e-3, test::epsilon<double>);
    const S first(lines[0].options, lines[0].seed);
    const S last(lines[2].options, lines[2].seed);
    // Rounded times move a wall by 1e-16 s of its speed, far less than depths are rounded by.
    for (const double time : {0.2, 0.4, 0.6}) {
        const WallDepths a = first.walls(time);
        const WallDepths b = last.walls(time + 0.8e-3);
        CHECK_WITHIN(b.near_outer, a.near_outer + 0.4e-3, rounding);
        CHECK_WITHIN(b.far_outer, a.far_outer + 0.4e-3, rounding);
    }
    DrawnScene<S> breathing = quick<S>();  // at once on all lines
    breathing.options.distension = 0;
    breathing.options.events.sensor_step = 0.1e-3;
    const auto at_once = lines_of(breathing, three);
    const S here(at_once[0].options, at_once[0].seed);
    const S there(at_once[1].options, at_once[1].seed);
    for (const double time : {0.1, 0.5, 0.9}) {
        CHECK_WITHIN(there.walls(time).near_outer, here.walls(time).near_outer + 0.2e-3, rounding);
    }
    CHECK(here.walls(0.1).near_outer != here.walls(0.5).near_outer);
}

TEST_CASE("a layered line's rhythms and gain are its own, its tone is common") {
    DrawnScene<LayeredScene> drawn = quick<LayeredScene>();
    drawn.options.gain_wander = 0.1;
    drawn.options.interference_decibels = -20;
    const auto lines = lines_of(drawn, {.count = 2});
    const LayeredScene a(lines[0].options, lines[0].seed);
    const LayeredScene b(lines[1].options, lines[1].seed);
    CHECK(a.gain(0.5) != b.gain(0.5));
    const SamplingGrid grid = drawn.options.settings.grid(100);
    std::vector<double> of_a(grid.count);
    std::vector<double> of_b(grid.count);
    a.add_interference(0.5, grid, of_a);
    b.add_interference(0.5, grid, of_b);
    CHECK(of_a == of_b);
    const auto change = [](const LayeredScene& scene) {  // of the near wall's outer layer
        std::vector<double> sizes;
        for (const double time : {0.3, 0.6}) {
            std::size_t k = 0;
            scene.for_each_echo(time, [&](const detail::LayeredEcho& echo) {
                if (k++ == 0) {
                    sizes.push_back(std::abs(echo.amplitude));
                }
            });
        }
        return sizes[1] / sizes[0];
    };
    CHECK(std::abs(change(a) - change(b)) > 1e-3);
}

TEST_CASE("lines that can't lie so are refused by name, value and limit") {
    const auto refusal = [](const LinesPlan& plan) {
        try {
            static_cast<void>(lines_of(quick<Scene>(), plan));
        } catch (const InvalidInput& error) {
            return std::string(error.what());
        }
        return std::string();
    };
    constexpr double nan = std::numeric_limits<double>::quiet_NaN();
    constexpr double infinity = std::numeric_limits<double>::infinity();
    CHECK(refusal({.count = 1}).empty());
    CHECK(refusal({.count = 256, .spacing = 1e-6}).empty());
    CHECK(refusal({.count = 2, .pulse_wave_velocity = infinity}).empty());
    CHECK(refusal({.count = 0}) == "number of lines = 0: must lie in [1, 256]");
    CHECK(refusal({.count = 257}) == "number of lines = 257: must lie in [1, 256]");
    CHECK(refusal({.count = 2, .spacing = 0}) == "spacing = 0: must be positive and finite [m]");
    CHECK(!refusal({.count = 2, .spacing = nan}).empty());
    CHECK(refusal({.count = 5, .spacing = 0.5}) ==
          "spacing = 0.5: puts the last line at 2, must not exceed 1 [m]");
    CHECK(refusal({.count = 2, .tilt = 0.31}) == "tilt = 0.31: must lie in [-0.3, 0.3]");
    CHECK(!refusal({.count = 2, .tilt = nan}).empty());
    CHECK(refusal({.count = 2, .pulse_wave_velocity = 0}) ==
          "pulse_wave_velocity = 0: must be positive [m/s]");
    CHECK(!refusal({.count = 2, .pulse_wave_velocity = nan}).empty());
    CHECK(refusal({.count = 2, .spacing = 0.1, .pulse_wave_velocity = 0.05}) ==
          "line_delay = 2: must lie in [-1, 1] [s]");
    CHECK(refusal({.count = 2, .spacing = 20e-3, .tilt = 0.3}).find("centre_depth = 0.0192") == 0);
    SceneOptions options;
    options.line = 256;
    CHECK_THROWS_WITH_AS(validate(options), "line = 256: must be below 256", InvalidInput);
}
