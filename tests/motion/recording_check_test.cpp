// What is refused before a recording is followed, what is said of it, and what an offset or wrong
// settings do to the result: nothing in silence.
#include "motion/wall/recording_check.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "echosieve/motion/track_artery.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

// 1.5 s at 250 frames a second: two beats.
const Recording& short_recording() {
    static const Recording made = [] {
        SceneOptions options;
        options.duration = 1.5;
        options.settings.sampling_rate = 40e6;
        options.settings.frame_rate = 250;
        return render<std::int16_t>(Scene(options, 3), 3).recording;
    }();
    return made;
}

const FrameMatrix<std::int16_t>& short_frames() {
    return std::get<FrameMatrix<std::int16_t>>(short_recording().samples);
}

// The first `samples` of each frame, as T, and `offset` on each.
template <class T>
Recording changed(std::size_t samples, double offset) {
    const auto& frames = short_frames();
    FrameMatrix<T> out(frames.frames(), samples);
    for (std::size_t i = 0; i < frames.frames(); ++i) {
        for (std::size_t n = 0; n < samples; ++n) {
            out[i][n] = static_cast<T>(frames[i][n] + offset);
        }
    }
    return {short_recording().settings, std::move(out)};
}

template <class Change>
std::string refusal(Change change) {
    Recording recording = changed<std::int16_t>(300, 0);
    TrackOptions options;
    change(recording.settings, options);
    try {
        static_cast<void>(track_artery(recording, options));
    } catch (const InvalidInput& error) {
        return error.what();
    }
    return "";
}

bool holds(const std::vector<std::string>& warnings, const std::string& text) {
    return std::ranges::any_of(warnings, [&](const std::string& warning) {
        return warning.find(text) != std::string::npos;
    });
}

// Largest distance between the walls of two motions [m].
double distance(const ArteryMotion& a, const ArteryMotion& b) {
    double most = 0;
    for (std::size_t i = 0; i < a.frames.size(); ++i) {
        most = std::max({most, std::abs(a.frames[i].near_wall - b.frames[i].near_wall),
                         std::abs(a.frames[i].far_wall - b.frames[i].far_wall)});
    }
    return most;
}

}  // namespace

TEST_CASE("a recording as it should be has no warning") {
    const ArteryMotion motion = track_artery(short_recording());
    REQUIRE(motion.usable());
    CHECK(motion.warnings.empty());
    CHECK(motion.trust == 1);
}

TEST_CASE("an offset of the samples moves no wall and is named") {
    const std::size_t samples = short_frames().samples();
    const ArteryMotion plain = track_artery(changed<float>(samples, 0));
    REQUIRE(plain.usable());
    // The plain samples' own mean, a thousandth of their rms, stays on; of the others it is taken
    // off as well. Without the offset taken off the near wall is lost or moves by 0.4 mm.
    constexpr double rounding = 1e-7;  // [m]
    for (const double offset : {100.0, 8000.0, -30000.0}) {
        CAPTURE(offset);
        const ArteryMotion motion = track_artery(changed<float>(samples, offset));
        REQUIRE(motion.usable());
        CHECK(distance(motion, plain) <= rounding);
        CHECK(holds(motion.warnings, " counts off zero, which was taken off"));
        CHECK(motion.trust == 1);
        TrackOptions given;
        given.baseband.offset = offset;
        CHECK(distance(track_artery(changed<float>(samples, offset), given), plain) <= rounding);
    }
    const ArteryMotion whole = track_artery(changed<std::int16_t>(samples, 1000));
    REQUIRE(whole.usable());
    CHECK(distance(whole, track_artery(short_recording())) <= rounding);
    // Nothing is taken off if nothing counts.
    TrackOptions left_on;
    left_on.offset.least = std::numeric_limits<double>::infinity();
    CHECK(!holds(track_artery(changed<float>(samples, 8000), left_on).warnings, "off zero"));
}

TEST_CASE("settings that the samples contradict lower every quality and are named") {
    const ArteryMotion right = track_artery(short_recording());
    Recording wrong = short_recording();
    wrong.settings.sensor.centre_frequency = 2.8e6;  // of 4
    const ArteryMotion motion = track_artery(wrong);
    REQUIRE(motion.usable());  // walls are found, and move by 4 / 2.8 of what they should
    REQUIRE(motion.warnings.size() == 1);
    CHECK(
        motion.warnings[0].starts_with("centre_frequency = 2.8 MHz contradicts the recording, "
                                       "whose own echoes show 3.9"));
    CHECK(motion.trust == SettingsCheckOptions{}.contradicted);
    TrackOptions blind;
    blind.settings_check.contradicted = 1;
    const ArteryMotion unlowered = track_artery(wrong, blind);
    CHECK(unlowered.near.confidence > 0.5);
    CHECK_WITHIN_RELATIVE(motion.near.confidence, motion.trust * unlowered.near.confidence, 1e-12);
    CHECK_WITHIN_RELATIVE(motion.far.confidence, motion.trust * unlowered.far.confidence, 1e-12);
    for (std::size_t i = 0; i < motion.frames.size(); ++i) {
        const FrameMotion& low = motion.frames[i];
        const FrameMotion& high = unlowered.frames[i];
        CHECK_WITHIN(low.near_quality, motion.trust * high.near_quality, 1e-12);
        CHECK_WITHIN(low.far_quality, motion.trust * high.far_quality, 1e-12);
        CHECK_WITHIN(low.quality, motion.trust * high.quality, 1e-12);
        CHECK(low.near_wall == high.near_wall);
    }
}

TEST_CASE("frames of any length end in a status, and their offset is no longer one") {
    const std::size_t whole = short_frames().samples();
    CHECK_THROWS_WITH_AS(static_cast<void>(track_artery(changed<std::int16_t>(0, 0))),
                         "samples a frame = 0: must be at least 1", InvalidInput);
    for (std::size_t samples = 1; samples <= 64; ++samples) {
        CAPTURE(samples);
        const ArteryMotion motion = track_artery(changed<std::int16_t>(samples, 0));
        CHECK(!motion.usable());
        CHECK(!holds(motion.warnings, "off zero"));
    }
    for (std::size_t samples = 80; samples < whole; samples += 67) {
        CAPTURE(samples);
        CHECK(track_artery(changed<std::int16_t>(samples, 0)).status != TrackStatus::not_run);
    }
}

TEST_CASE("ranges outside the recording are refused with what it holds") {
    CHECK(refusal([](auto&, auto& o) {
              o.walls.near_range = {6, 7};
          }) ==
          "near_range = 6 to 7: must not lie outside the recording, 5 to 10.71725 mm; "
          "6 looks like mm");
    CHECK(refusal([](auto&, auto& o) {
              o.walls.far_range = {0, 4e-3};
          }) == "far_range = 0 to 0.004: must not lie outside the recording, 5 to 10.71725 mm");
    CHECK(refusal([](auto&, auto& o) { o.walls.near_range = {4e-3, 6e-3}; }).empty());
    CHECK(refusal([](auto&, auto& o) { o.walls.far_range = {10e-3, 1}; }).empty());
}

TEST_CASE("a range in the dead zone is named when nothing is found") {
    TrackOptions options;
    options.walls.near_range = {5e-3, 6e-3};
    const ArteryMotion motion = track_artery(short_recording(), options);
    CHECK(motion.status == TrackStatus::no_artery);
    REQUIRE(motion.warnings.size() == 1);
    CHECK(motion.warnings[0] ==
          "near_range ends at 6 mm, in the dead zone, which reaches down to 8 mm");
}

TEST_CASE("sensors that no artery can be followed with are refused") {
    CHECK(refusal([](auto& s, auto&) {
              s.sensor = {40e3, 20e3};
          }) ==
          "centre_frequency = 40000: must lie in [500000, 30000000] [Hz] for an artery to be "
          "followed");
    CHECK(refusal([](auto& s, auto&) {
              s.sensor = {40e6, 20e6};
              s.sampling_rate = 200e6;
          }).starts_with("centre_frequency = 40000000"));
    CHECK(refusal([](auto& s, auto&) {
              s.sensor.bandwidth = 0.3e6;
          }).starts_with("bandwidth = 300000: is too low for gates of 1.6 mm: they hold 2.24"));
    CHECK(refusal([](auto& s, auto&) {
              s.sensor = {11e6, 16e6};
          }) == "bandwidth = 16000000: must not exceed 15000000 [Hz] for an artery to be followed");
    CHECK(refusal([](auto& s, auto&) { s.frame_rate = 1; }) ==
          "frame_rate = 1: must be at least 10 [Hz] for a pulse to be followed; 1 looks like kHz");
    CHECK(refusal([](auto&, auto& o) {
              o.walls.scan.largest_share = 3e-3;
              o.walls.scan.steps_per_wavelength = 32;
          }).starts_with("largest_share = 0.003: makes 509 shares to scan"));
    CHECK(refusal([](auto& s, auto&) { s.sound_speed = 1.54; }).ends_with("looks like km/s"));
}

TEST_CASE("options beyond any use are refused by name before they cost anything") {
    const double infinity = std::numeric_limits<double>::infinity();
    const auto refused = [](auto change, const std::string& text) {
        const std::string what = refusal([&](auto&, auto& o) { change(o); });
        CAPTURE(what);
        CHECK(what.starts_with(text));
    };
    refused([=](auto& o) { o.walls.dead_zone = infinity; },
            "dead_zone = inf: must not exceed 1 [m]");
    refused([](auto& o) { o.smoothing = MovingAverage{1'000'000'000}; },
            "moving average = 1000000000: must not exceed 1000000 [frames]");
    refused([](auto& o) { o.smoothing = GaussianSmoothing{1e6}; },
            "smoothing sigma = 1000000: must not exceed 100 [s]");
    refused([](auto& o) { o.averaging = 1; }, "averaging = 1: must not exceed 0.1 [s]");
    refused([](auto& o) { o.motion.tracks.spacing = 1e-9; }, "spacing = 1e-09: must be at least");
    refused([=](auto& o) { o.motion.tracks.half_gate = infinity; }, "half_gate = inf");
    refused([=](auto& o) { o.motion.tracks.line_smoothing = infinity; }, "line_smoothing = inf");
    refused([](auto& o) { o.separation.tissue_spacing = 1e-9; }, "tissue_spacing = 1e-09");
    refused([](auto& o) { o.walls.scan_spacing = 1e-9; }, "scan_spacing = 1e-09: must lie in");
    refused([](auto& o) { o.walls.scan.steps_per_wavelength = 1e9; }, "steps_per_wavelength");
    refused([](auto& o) { o.walls.scan.drift_frequency = 1e9; }, "drift_frequency");
    refused([](auto& o) { o.separation.gaps.pulse_step = 1e-9; }, "places tried over a gap");
    refused([](auto& o) { o.separation.rounds = 1'000'000'000; }, "rounds = 1000000000");
    refused([](auto& o) { o.separation.lag.largest_lag = 1e9; }, "largest_lag");
    refused([](auto& o) { o.separation.model.thickness = 1; }, "thickness = 1");
    refused([](auto& o) { o.separation.model.wall_powers.assign(1000, 1.0); },
            "wall_powers = 1000");
    refused([](auto& o) { o.search.candidates.lag = 1e9; }, "lag = 1e+09");
    refused([](auto& o) { o.motion.reweightings = 1'000'000'000; }, "reweightings");
    refused([](auto& o) { o.motion.fastest_stretch = 1e9; }, "fastest_stretch");
    refused([](auto& o) { o.motion.joining.most_reach = 1; }, "most_reach = 1");
    refused([](auto& o) { o.echoes.atoms = 1'000'000; }, "atoms = 1000000: must not exceed 1000");
    refused([](auto& o) { o.frames.neighbours = 1'000'000; }, "neighbours");
    refused([=](auto& o) { o.confidence.deviation.noise = infinity; }, "noise = inf");
}

TEST_CASE("a gain that changes is named, a loss of contact is none") {
    const auto& frames = short_frames();
    const std::size_t half = frames.frames();
    // The same again, by `gain`.
    const auto warnings = [&](double gain) {
        FrameMatrix<std::int16_t> twice(2 * half, frames.samples());
        for (std::size_t i = 0; i < twice.frames(); ++i) {
            std::ranges::transform(frames[i % half], twice[i].begin(), [&](std::int16_t x) {
                return static_cast<std::int16_t>(i < half ? x : gain * x);
            });
        }
        const ArteryMotion motion = track_artery(Recording{short_recording().settings, twice});
        CHECK((motion.trust == 1 || gain == 0));  // frames of nothing repeat
        return motion.warnings;
    };
    CHECK(holds(warnings(0.4), "the gain changes: the echoes' energy differs by 8 dB"));
    CHECK(!holds(warnings(0.7), "the gain"));
    CHECK(!holds(warnings(0), "the gain"));
}

TEST_CASE("noise alone is said to be noise") {
    Recording recording = short_recording();
    FrameMatrix<float> noise(100, 600);
    RandomStream random(5, 0);
    for (std::size_t i = 0; i < noise.frames(); ++i) {
        for (float& x : noise[i]) {
            x = static_cast<float>(100 * random.normal());
        }
    }
    recording.samples = std::move(noise);
    const ArteryMotion motion = track_artery(recording);
    CHECK(!motion.usable());
    CHECK(holds(motion.warnings, "no band of echoes stands out of the recording's noise"));
    CHECK(motion.trust == 1);
}
