#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"

#include <algorithm>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/synthesis/layered_scene.hpp"
#include "echosieve/synthesis/volume_scene.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

template <class S>
typename S::Options quick() {
    typename S::Options options;
    options.duration = 1;
    options.settings.sampling_rate = 40e6;
    options.settings.frame_rate = 100;
    options.pulse.heart_rate = 1.5;
    if constexpr (std::same_as<S, LayeredScene>) {
        options.far_delay = 0;  // a far wall as the others'
        options.far_smoothing = 0;
    }
    return options;
}

template <class S>
SyntheticRecording made(const typename S::Options& options) {
    return render<float>(S(options, 3), 3);
}

std::span<const float> frame(const SyntheticRecording& made, std::size_t i) {
    return std::get<FrameMatrix<float>>(made.recording.samples)[i];
}

// rms below the ring-down.
double level(std::span<const float> samples) {
    double sum = 0;
    double count = 0;
    for (std::size_t n = samples.size() / 3; n < samples.size(); ++n) {
        sum += std::pow(static_cast<double>(samples[n]), 2);
        ++count;
    }
    return std::sqrt(sum / count);
}

bool equal(const SyntheticRecording& a, const SyntheticRecording& b) {
    return std::ranges::equal(std::get<FrameMatrix<float>>(a.recording.samples).values(),
                              std::get<FrameMatrix<float>>(b.recording.samples).values());
}

}  // namespace

TEST_CASE_TEMPLATE("events that are off change no bit, whatever their other numbers", S, Scene,
                   VolumeScene, LayeredScene) {
    typename S::Options options = quick<S>();
    options.duration = 0.1;
    const SyntheticRecording plain = made<S>(options);
    options.events.contact_loss_start = 0.02;
    options.events.reverberation_decibels = -3;
    options.events.sensor_step_time = 0.03;
    options.events.clipped_gain_decibels = 10;
    options.pulse.ectopic_height = 0.2;
    CHECK(equal(made<S>(options), plain));
}

TEST_CASE_TEMPLATE("contact is lost for its time and by its level", S, Scene, VolumeScene,
                   LayeredScene) {
    typename S::Options options = quick<S>();
    options.snr_decibels = 300;
    options.ring_down_decibels = -300;
    const SyntheticRecording plain = made<S>(options);
    options.events.contact_loss_start = 0.4;
    options.events.contact_loss_decibels = -30;
    const SyntheticRecording lost = made<S>(options);
    constexpr double rounding = 1e-5;  // of floats
    for (const std::size_t i : {10U, 39U, 68U, 90U}) {
        CHECK_WITHIN_RELATIVE(level(frame(lost, i)) / level(frame(plain, i)), 1.0, rounding);
    }
    for (const std::size_t i : {43U, 50U, 64U}) {
        CHECK_WITHIN_RELATIVE(level(frame(lost, i)) / level(frame(plain, i)), std::pow(10, -1.5),
                              rounding);
    }
    CHECK(options.events.contact_level(0.41) < 1);
    CHECK(options.events.contact_level(0.41) > std::pow(10, -1.5));
}

TEST_CASE_TEMPLATE("walls lag, weaken and step as told, and the truth with them", S, Scene,
                   VolumeScene, LayeredScene) {
    typename S::Options options = quick<S>();
    const S plain(options, 3);
    options.events.far_wall_lag = 0.02;
    options.events.sensor_step = 0.2e-3;
    options.events.sensor_step_time = 0.5;
    const S late(options, 3);
    constexpr double rounding = 1e-15;
    for (double t = 0.1; t < 0.5; t += 0.01) {
        CHECK(late.walls(t).near_inner == plain.walls(t).near_inner);
        CHECK(late.walls(t).near_outer == plain.walls(t).near_outer);
    }
    // Without breathing the far wall is where it was a lag before.
    options.breathing = 0;
    const S still(options, 3);
    options.events.far_wall_lag = 0;
    const S still_plain(options, 3);
    for (double t = 0.1; t < 0.5; t += 0.01) {
        CHECK_WITHIN(still.walls(t).far_inner, still_plain.walls(t - 0.02).far_inner, rounding);
        CHECK_WITHIN(still.walls(t).far_outer, still_plain.walls(t - 0.02).far_outer, rounding);
    }
    for (double t = 0.56; t < 1; t += 0.01) {
        CHECK_WITHIN(late.walls(t).near_inner - plain.walls(t).near_inner, 0.2e-3, rounding);
    }
    CHECK_WITHIN(late.walls(0.525).near_inner - plain.walls(0.525).near_inner, 0.1e-3, rounding);
}

TEST_CASE_TEMPLATE("the sensor's step moves all echoes alike", S, Scene, VolumeScene,
                   LayeredScene) {
    typename S::Options options = quick<S>();
    options.snr_decibels = 300;
    options.ring_down_decibels = -300;
    if constexpr (requires { options.attenuation; }) {
        options.attenuation = 0;
    }
    const SyntheticRecording plain = made<S>(options);
    const double sample = options.settings.depth(1 / options.settings.sampling_rate);
    options.events.sensor_step = 10 * sample;
    options.events.sensor_step_time = 0.5;
    const SyntheticRecording moved = made<S>(options);
    CHECK(std::ranges::equal(frame(moved, 20), frame(plain, 20)));
    const auto before = frame(plain, 80);
    const auto after = frame(moved, 80);
    double difference = 0;
    double energy = 0;
    for (std::size_t n = 100; n < after.size(); ++n) {
        const double a = static_cast<double>(after[n]);
        difference += std::pow(a - static_cast<double>(before[n - 10]), 2);
        energy += a * a;
    }
    // In the volume, echoes of the edge take the step at an angle: some of them move by less.
    CHECK(difference < (std::same_as<S, Scene> ? 1e-6 : 0.1) * energy);
}

TEST_CASE_TEMPLATE("a wall's strength follows the beat", S, Scene, VolumeScene, LayeredScene) {
    typename S::Options options = quick<S>();
    options.snr_decibels = 300;
    options.ring_down_decibels = -300;
    options.clutter_decibels = -300;
    const SyntheticRecording plain = made<S>(options);
    options.events.near_strength_modulation = -0.5;
    options.events.far_strength_modulation = 0.5;
    const SyntheticRecording changed = made<S>(options);
    const PulseWave wave = S(options, 3).pulse();
    for (const std::size_t i : {10U, 30U, 50U, 70U, 90U}) {
        const double w = wave(static_cast<double>(i) / 100);
        const auto a = frame(plain, i);
        const auto b = frame(changed, i);
        const auto largest = [](std::span<const float> part) {
            float most = 0;
            for (const float x : part) {
                most = std::max(most, std::abs(x));
            }
            return static_cast<double>(most);
        };
        const std::size_t half = a.size() / 2;
        constexpr double rounding = 1e-4;  // of floats, and the near wall's tail in the far half
        CHECK_WITHIN_RELATIVE(largest(b.first(half)) / largest(a.first(half)), 1 - 0.5 * w,
                              rounding);
        CHECK_WITHIN_RELATIVE(largest(b.subspan(half)) / largest(a.subspan(half)), 1 + 0.5 * w,
                              rounding);
    }
}

TEST_CASE_TEMPLATE("a reverberation is the frame once more, later and weaker", S, Scene,
                   VolumeScene, LayeredScene) {
    typename S::Options options = quick<S>();
    options.duration = 0.05;
    options.snr_decibels = 300;
    options.ring_down_decibels = -300;
    const SyntheticRecording plain = made<S>(options);
    options.events.reverberation_depth = options.settings.depth(100 / 40e6);
    options.events.reverberation_decibels = -20;
    const SyntheticRecording twice = made<S>(options);
    const auto a = frame(plain, 2);
    const auto b = frame(twice, 2);
    constexpr double rounding = 2e-3;  // [counts] of floats of some 2000
    for (std::size_t n = 0; n < a.size(); ++n) {
        const double second = n < 100 ? 0 : 0.1 * static_cast<double>(a[n - 100]);
        CHECK_WITHIN(static_cast<double>(b[n]), static_cast<double>(a[n]) + second, rounding);
    }
}

TEST_CASE_TEMPLATE("the trigger's jitter has its rms and leaves the truth alone", S, Scene,
                   VolumeScene, LayeredScene) {
    typename S::Options options = quick<S>();
    options.settings.frame_rate = 1000;
    options.duration = 0.4;
    options.distension = 0;
    options.breathing = 0;
    options.snr_decibels = 300;
    const SyntheticRecording plain = made<S>(options);
    options.events.trigger_jitter = 4e-9;
    const SyntheticRecording shaken = made<S>(options);
    double square = 0;
    for (const double delay : shaken.truth.trigger_delays) {
        square += delay * delay;
    }
    // 400 frames: 3.5 % of the rms, four of them.
    CHECK_WITHIN_RELATIVE(std::sqrt(square / 400), 4e-9, 0.14);
    for (std::size_t i = 0; i < 400; i += 50) {
        CHECK(shaken.truth.walls[i].near_inner == plain.truth.walls[i].near_inner);
        // To first order x(t - d) = x - d x', x' by central differences.
        const auto x = frame(plain, i);
        const auto y = frame(shaken, i);
        const double delay = shaken.truth.trigger_delays[i];
        double product = 0;
        double slopes = 0;
        for (std::size_t n = 1; n + 1 < x.size(); ++n) {
            const double slope = static_cast<double>(x[n + 1] - x[n - 1]) / 2 * 40e6;
            product -= static_cast<double>(y[n] - x[n]) * slope;
            slopes += slope * slope;
        }
        // Central differences at 4 of 40 MHz see sin(0.2 pi) / (0.2 pi) = 0.935 of the slope.
        CHECK_WITHIN(0.935 * product / slopes, delay, 0.05 * std::abs(delay) + 1e-11);
    }
}

TEST_CASE_TEMPLATE("frames whose gain bursts clip", S, Scene, VolumeScene, LayeredScene) {
    typename S::Options options = quick<S>();
    const SyntheticRecording plain = made<S>(options);
    options.events.clipped_fraction = 0.2;
    const SyntheticRecording burst = made<S>(options);
    const auto count = std::ranges::count(burst.truth.clipped, true);
    CHECK(count > 5);
    CHECK(count < 40);
    for (std::size_t i = 0; i < 100; ++i) {
        const auto full = std::ranges::count_if(
            frame(burst, i), [](float x) { return x == 8191.0F || x == -8192.0F; });
        if (burst.truth.clipped[i]) {
            CHECK(full > 50);
        } else {
            CHECK(std::ranges::equal(frame(burst, i), frame(plain, i)));
        }
    }
}

TEST_CASE("ectopic beats come early and small, and a pause makes up for them") {
    PulseWaveOptions options;
    options.variability = 0;
    options.heart_rate = 1;
    options.ectopic_probability = 0.2;
    const PulseWave wave(options, 200, RandomStream(5, 0));
    const auto onsets = wave.onsets(200);
    const auto early = wave.ectopic_onsets(200);
    CHECK(early.size() > 15);
    CHECK(early.size() < 60);
    constexpr double rounding = 1e-10;
    for (std::size_t k = 1; k + 1 < onsets.size(); ++k) {
        const double before = onsets[k] - onsets[k - 1];
        const double after = onsets[k + 1] - onsets[k];
        const double top = wave(onsets[k] + options.rise_time);
        if (std::ranges::find(early, onsets[k]) != early.end()) {
            CHECK_WITHIN(before, 0.65, rounding);
            CHECK_WITHIN(after, 1.35, rounding);
            CHECK_WITHIN(top, 0.5, rounding);
        } else {
            CHECK(before > 0.99);
            CHECK_WITHIN(top, 1.0, rounding);
        }
    }
    double before = wave(0);
    for (double t = 0; t < 200; t += 1e-3) {
        const double w = wave(t);
        REQUIRE(w >= -1e-12);
        REQUIRE(std::abs(w - before) < 0.02);
        before = w;
    }
}

TEST_CASE("events that can't be are refused by name") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const auto refused = [](double SceneEvents::*option, double value, const char* name) {
        SceneOptions options;
        options.events.*option = value;
        CHECK_THROWS_WITH_AS(validate(options), doctest::Contains(name), InvalidInput);
    };
    refused(&SceneEvents::contact_loss_length, 0, "contact_loss_length = 0");
    refused(&SceneEvents::contact_loss_decibels, 3, "contact_loss_decibels = 3");
    refused(&SceneEvents::contact_loss_start, nan, "contact_loss_start");
    refused(&SceneEvents::near_strength_modulation, -1.5, "near_strength_modulation = -1.5");
    refused(&SceneEvents::far_strength_modulation, nan, "far_strength_modulation");
    refused(&SceneEvents::far_wall_lag, 1, "far_wall_lag = 1");
    refused(&SceneEvents::tissue_lag, -1, "tissue_lag = -1");
    refused(&SceneEvents::reverberation_depth, -1e-3, "reverberation_depth = -0.001");
    refused(&SceneEvents::reverberation_decibels, 1, "reverberation_decibels = 1");
    refused(&SceneEvents::trigger_jitter, 1, "trigger_jitter = 1");
    refused(&SceneEvents::sensor_step, 1, "sensor_step = 1");
    refused(&SceneEvents::sensor_step_time, nan, "sensor_step_time");
    refused(&SceneEvents::clipped_fraction, 2, "clipped_fraction = 2");
    refused(&SceneEvents::clipped_gain_decibels, -1, "clipped_gain_decibels = -1");
    const auto no_wave = [](double PulseWaveOptions::*option, double value, const char* name) {
        PulseWaveOptions options;
        options.*option = value;
        CHECK_THROWS_WITH_AS(validate(options), doctest::Contains(name), InvalidInput);
    };
    no_wave(&PulseWaveOptions::ectopic_probability, nan, "ectopic_probability");
    no_wave(&PulseWaveOptions::ectopic_prematurity, 0.6, "ectopic_prematurity = 0.6");
    no_wave(&PulseWaveOptions::ectopic_height, 2, "ectopic_height = 2");
}
