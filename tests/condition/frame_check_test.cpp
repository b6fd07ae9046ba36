#include "echosieve/condition/frame_check.hpp"

#include <cstdint>
#include <initializer_list>
#include <limits>

#include "condition/lines.hpp"
#include "support/check.hpp"

using namespace echosieve;
using test::settings_of;

namespace {

// A recording that moves: tissue at rest and echoes that go to and fro by 300 um, 12 bit.
struct Scene {
    RecordingSettings settings;
    FrameMatrix<std::int16_t> frames;
    double noise = 0;  // standard deviation [counts]
};

constexpr std::size_t samples = 1200;

Scene make(double centre, double bandwidth, double ratio, std::size_t count, std::uint64_t seed) {
    Scene scene{settings_of(centre, bandwidth), FrameMatrix<std::int16_t>(count, samples)};
    const SamplingGrid grid = scene.settings.grid(samples);
    RandomStream random(21, seed);
    auto tissue = test::scatterers(scene.settings.sensor, grid, 60, random);
    auto moving = test::scatterers(scene.settings.sensor, grid, 20, random);
    for (auto* echoes : {&tissue, &moving}) {
        for (auto& echo : *echoes) {
            echo.amplitude *= 100;
        }
    }
    const auto still = test::line_of(tissue, grid);
    for (std::size_t i = 0; i < count; ++i) {
        const double delay = 2 / 1540.0 * 150e-6 *
                             std::sin(2 * std::numbers::pi * 1.2 * static_cast<double>(i) / 1000);
        const auto& line = still;
        const auto other = test::line_of(moving, grid, delay);
        if (i == 0) {
            scene.noise = test::noise_for(test::mean_power(line), ratio, scene.settings);
        }
        for (std::size_t n = 0; n < samples; ++n) {
            const double x = line[n] + other[n] + scene.noise * random.normal();
            scene.frames[i][n] = static_cast<std::int16_t>(std::clamp(x, -32768.0, 32767.0));
        }
    }
    return scene;
}

template <class T>
std::vector<FrameState> states_of(const FrameMatrix<T>& frames, const RecordingSettings& settings,
                                  const FrameCheckOptions& options = {}) {
    return check_frames(frames.view(), to_baseband<float>(frames.view(), settings), options);
}

void fill_noise(std::span<std::int16_t> frame, double deviation, RandomStream& random) {
    for (auto& x : frame) {
        x = static_cast<std::int16_t>(std::clamp(deviation * random.normal(), -32768.0, 32767.0));
    }
}

}  // namespace

TEST_CASE("no frame of a clean or noisy recording is called bad") {
    for (const auto& [centre, bandwidth] : {std::pair{4e6, 1e6}, {5e6, 3e6}, {7.5e6, 4.5e6}}) {
        for (const double decibels : {40.0, 10.0, 3.0, -3.0}) {
            CAPTURE(centre);
            CAPTURE(decibels);
            const Scene scene = make(centre, bandwidth, std::pow(10, decibels / 10), 150, 1);
            CHECK(count_states(states_of(scene.frames, scene.settings)).good == 150);
        }
    }
}

TEST_CASE("frames of zeros and of noise are dropped, copies are frozen, and none else") {
    for (const auto& [centre, bandwidth] : {std::pair{4e6, 1e6}, {7.5e6, 4.5e6}}) {
        for (const double decibels : {30.0, 10.0}) {
            CAPTURE(centre);
            CAPTURE(decibels);
            Scene scene = make(centre, bandwidth, std::pow(10, decibels / 10), 150, 2);
            RandomStream random(22);
            std::vector<FrameState> expected(150, FrameState::good);
            const auto state = [&](std::size_t i, FrameState s) { expected[i] = s; };
            for (const std::size_t i : std::initializer_list<std::size_t>{
                     0, 20, 21, 22, 60, 149}) {  // first, last, a run, alone
                fill_noise(scene.frames[i], scene.noise, random);
                state(i, FrameState::dropped);
            }
            // Noise as strong as the echoes: only the correlation can tell.
            const auto line = scene.frames[59];
            double power = 0;
            for (const auto x : line) {
                power += static_cast<double>(x) * x / static_cast<double>(samples);
            }
            for (const std::size_t i : std::initializer_list<std::size_t>{30, 31}) {
                fill_noise(scene.frames[i],
                           test::noise_for(power - scene.noise * scene.noise, 1, scene.settings),
                           random);
                state(i, FrameState::dropped);
            }
            for (const std::size_t i : std::initializer_list<std::size_t>{40, 41, 42, 43, 44}) {
                std::ranges::fill(scene.frames[i], std::int16_t{0});
                state(i, FrameState::dropped);
            }
            for (const std::size_t i :
                 std::initializer_list<std::size_t>{80, 90, 91, 92, 93, 94, 95}) {
                std::ranges::copy(scene.frames[i - 1], scene.frames[i].begin());
                state(i, FrameState::frozen);
            }
            // A copy of noise is no witness for it.
            fill_noise(scene.frames[110], scene.noise, random);
            std::ranges::copy(scene.frames[110], scene.frames[111].begin());
            state(110, FrameState::dropped);
            state(111, FrameState::dropped);
            // A burst: ten times the amplitude.
            for (auto& x : scene.frames[130]) {
                x = static_cast<std::int16_t>(10 * x);
            }
            state(130, FrameState::dropped);

            const auto states = states_of(scene.frames, scene.settings);
            for (std::size_t i = 0; i < 150; ++i) {
                CAPTURE(i);
                CHECK(states[i] == expected[i]);
            }
            const FrameCounts counts = count_states(states);
            CHECK(counts.dropped == 16);
            CHECK(counts.frozen == 7);
            CHECK(counts.clipped == 0);
            CHECK(counts.not_finite == 0);
            CHECK(counts.good == 127);
        }
    }
}

TEST_CASE("clipped frames are found, the ring-down that always clips is none") {
    Scene scene = make(4e6, 1e6, 1000, 60, 3);
    int top = 0;
    for (std::size_t i = 0; i < 60; ++i) {
        for (const auto x : scene.frames[i]) {
            top = std::max(top, std::abs(int{x}));
        }
    }
    const auto rail = static_cast<std::int16_t>(1.2 * top);
    const auto limit = [&](std::size_t i, double gain) {
        for (auto& x : scene.frames[i]) {
            x = static_cast<std::int16_t>(std::clamp(gain * x, -rail - 1.0, rail + 0.0));
        }
    };
    for (std::size_t i = 0; i < 60; ++i) {  // ring-down: 60 samples at the rails in every frame
        for (std::size_t n = 0; n < 60; ++n) {
            scene.frames[i][n] = n / 15 % 2 ? rail : static_cast<std::int16_t>(-rail - 1);
        }
    }
    CHECK(count_states(states_of(scene.frames, scene.settings)).good == 60);
    limit(33, 2.7);
    limit(47, 2.7);
    const auto states = states_of(scene.frames, scene.settings);
    for (std::size_t i = 0; i < 60; ++i) {
        CAPTURE(i);
        CHECK(states[i] == (i == 33 || i == 47 ? FrameState::clipped : FrameState::good));
    }
    // The same in float, its rails anywhere.
    FrameMatrix<float> single(60, samples);
    for (std::size_t i = 0; i < 60; ++i) {
        for (std::size_t n = 0; n < samples; ++n) {
            single[i][n] = 0.37F * scene.frames[i][n];
        }
    }
    CHECK(states_of(single, scene.settings) == states);
    CHECK(count_states(states_of(scene.frames, scene.settings, {.clipped_fraction = 0.9})).good ==
          60);
}

TEST_CASE("a clean recording of few counts shows flat tops but no clipping") {
    for (const double scale : {0.3, 0.1, 0.03}) {
        Scene scene = make(4e6, 1e6, 1000, 40, 4);
        for (std::size_t i = 0; i < 40; ++i) {
            for (auto& x : scene.frames[i]) {
                x = static_cast<std::int16_t>(std::lround(scale * x));
            }
        }
        CHECK(count_states(states_of(scene.frames, scene.settings)).clipped == 0);
    }
}

TEST_CASE("frames with a NaN or an infinity are marked and judge no other") {
    const Scene scene = make(4e6, 1e6, 1000, 30, 5);
    FrameMatrix<float> frames(30, samples);
    for (std::size_t i = 0; i < 30; ++i) {
        std::ranges::copy(scene.frames[i], frames[i].begin());
    }
    frames[0][7] = std::numeric_limits<float>::quiet_NaN();
    frames[12][samples - 1] = std::numeric_limits<float>::infinity();
    frames[13][0] = -std::numeric_limits<float>::infinity();
    const auto states = states_of(frames, scene.settings);
    for (std::size_t i = 0; i < 30; ++i) {
        CAPTURE(i);
        CHECK((states[i] == FrameState::not_finite) == (i == 0 || i == 12 || i == 13));
    }
    CHECK(count_states(states).good == 27);
    for (std::size_t i = 0; i < 30; ++i) {
        frames[i][5] = std::numeric_limits<float>::quiet_NaN();
    }
    CHECK(count_states(states_of(frames, scene.settings)).not_finite == 30);
}

TEST_CASE("one frame, no frames, silent frames and frames without samples") {
    const Scene scene = make(4e6, 1e6, 1000, 1, 6);
    CHECK(states_of(scene.frames, scene.settings) == std::vector{FrameState::good});
    CHECK(states_of(FrameMatrix<std::int16_t>(0, samples), scene.settings).empty());
    CHECK(states_of(FrameMatrix<std::int16_t>(1, samples), scene.settings) ==
          std::vector{FrameState::dropped});
    CHECK(count_states(states_of(FrameMatrix<float>(5, samples), scene.settings)).dropped == 5);
    CHECK(count_states(states_of(FrameMatrix<float>(3, 0), scene.settings)).dropped == 3);
    FrameMatrix<float> huge(4, samples);
    for (std::size_t i = 0; i < 4; ++i) {
        for (std::size_t n = 0; n < samples; ++n) {
            huge[i][n] =
                1e30F * static_cast<float>(scene.frames[0][n]) + 1e28F * static_cast<float>(i);
        }
    }
    CHECK(count_states(states_of(huge, scene.settings)).good == 4);
    // What a baseband in float can't hold is no yardstick for a frame that is 20 dB too weak.
    FrameMatrix<float> beyond(6, samples);
    for (std::size_t i = 0; i < 6; ++i) {
        for (std::size_t n = 0; n < samples; ++n) {
            const auto x = static_cast<float>(scene.frames[0][n]);
            beyond[i][n] = i < 5 ? x : 0.1F * x;
        }
        beyond[i][0] = static_cast<float>(i);  // no two alike
    }
    Baseband<float> overflown = to_baseband<float>(beyond.view(), scene.settings);
    overflown.samples(0, 3) = std::numeric_limits<float>::quiet_NaN();  // infinity less infinity
    overflown.samples(1, 5) = std::numeric_limits<float>::quiet_NaN();
    const std::vector<FrameState> states = check_frames(beyond.view(), overflown);
    for (std::size_t i = 0; i < 6; ++i) {
        CAPTURE(i);
        CHECK(states[i] == (i >= 2 && i < 5 ? FrameState::good : FrameState::dropped));
    }
}

TEST_CASE("the frame check refuses invalid options and unequal numbers of frames") {
    const Scene scene = make(4e6, 1e6, 1000, 4, 7);
    const auto baseband = to_baseband<double>(scene.frames.view(), scene.settings);
    CHECK_THROWS_WITH_AS(static_cast<void>(check_frames(scene.frames.view().part(0, 3), baseband)),
                         "baseband frames = 4: must equal the raw frames, 3", InvalidInput);
    const auto with = [&](const FrameCheckOptions& options) {
        return check_frames(scene.frames.view(), baseband, options);
    };
    CHECK_THROWS_WITH_AS(with({.least_correlation = 1}),
                         "least_correlation = 1: must lie in [0, 1)", InvalidInput);
    CHECK_THROWS_AS(with({.least_correlation = std::nan("")}), InvalidInput);
    CHECK_THROWS_WITH_AS(with({.energy_range = 1}), "energy_range = 1: must exceed 1",
                         InvalidInput);
    CHECK_THROWS_AS(with({.neighbours = 0}), InvalidInput);
    CHECK_THROWS_AS(with({.deviations = -1}), InvalidInput);
    CHECK_THROWS_AS(with({.clipped_fraction = 0}), InvalidInput);
    CHECK_THROWS_AS(with({.saturated_part = -1}), InvalidInput);
}
