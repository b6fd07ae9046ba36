// What the samples contradict is named with both figures and lowers the trust; what they don't,
// changes nothing.
#include "echosieve/condition/detail/settings_check.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <string>
#include <variant>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "echosieve/synthesis/volume_scene.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

using Frames = FrameMatrix<std::int16_t>;

struct Drawn {
    RecordingSettings settings;
    Frames frames;
};

// A tenth of a second: a spectrum needs no more.
template <class S>
Drawn drawn(std::uint64_t seed, LineKind kind = LineKind::artery, double duration = 0.1) {
    DrawOptions ranges;
    ranges.duration = duration;
    ranges.event_probability = 0.1;
    SyntheticRecording made = render_drawn<std::int16_t>(draw_scene<S>(seed, kind, ranges));
    return {made.recording.settings, std::get<Frames>(std::move(made.recording.samples))};
}

template <class T>
SettingsCheck check(const FrameMatrix<T>& frames, const RecordingSettings& settings,
                    const SettingsCheckOptions& options = {}) {
    const auto baseband = to_baseband<float>(frames.view(), settings);
    return check_settings(frames.view(), settings, check_frames(frames.view(), baseband), options);
}

template <class S>
std::size_t false_warnings(std::uint64_t first, std::uint64_t last, LineKind kind) {
    std::size_t count = 0;
    for (std::uint64_t seed = first; seed <= last; ++seed) {
        const Drawn made = drawn<S>(seed, kind);
        const SettingsCheck found = check(made.frames, made.settings);
        CAPTURE(seed);
        CHECK(found.warnings.empty());
        CHECK(found.trust == 1);
        count += found.warnings.size();
    }
    return count;
}

}  // namespace

TEST_CASE("no recording that the simulators draw is warned of") {
    CHECK(false_warnings<Scene>(1, 12, LineKind::artery) == 0);
    CHECK(false_warnings<VolumeScene>(1, 6, LineKind::artery) == 0);
    CHECK(false_warnings<LayeredScene>(1, 6, LineKind::artery) == 0);
    CHECK(false_warnings<Scene>(1, 3, LineKind::breathing_tissue) == 0);
    CHECK(false_warnings<VolumeScene>(4, 5, LineKind::pulsating_tissue) == 0);
    CHECK(false_warnings<LayeredScene>(4, 6, LineKind::vein) == 0);
}

TEST_CASE_TEMPLATE("a centre frequency that the echoes contradict", S, Scene, VolumeScene) {
    for (const std::uint64_t seed : {2U, 5U}) {  // 7.5 and 4 MHz
        CAPTURE(seed);
        const Drawn made = drawn<S>(seed);
        for (const double factor : {0.7, 1.43}) {
            RecordingSettings wrong = made.settings;
            wrong.sensor.centre_frequency *= factor;
            const SettingsCheck found = check(made.frames, wrong);
            REQUIRE(found.warnings.size() == 1);
            const std::string& text = found.warnings[0];
            CHECK(text.starts_with(
                "centre_frequency = " + detail::in_megahertz(wrong.sensor.centre_frequency) +
                " contradicts the recording, whose own echoes show "));
            CHECK(found.trust == SettingsCheckOptions{}.contradicted);
            CHECK(check(made.frames, wrong, {.contradicted = 0.5}).trust == 0.5);
        }
    }
}

TEST_CASE("the echoes' own figure is named") {
    const Drawn made = drawn<Scene>(5);
    RecordingSettings wrong = made.settings;
    wrong.sensor.centre_frequency = 7e6;
    const SettingsCheck found = check(made.frames, wrong);
    REQUIRE(found.warnings.size() == 1);
    CHECK(found.warnings[0].find("= 7 MHz") != std::string::npos);
    CHECK(found.warnings[0].find("show 3.9") != std::string::npos);  // of 4
}

TEST_CASE("a bandwidth that the echoes contradict, either way") {
    const Drawn made = drawn<Scene>(2);  // 3 MHz
    RecordingSettings wrong = made.settings;
    wrong.sensor.bandwidth = 14e6;
    const SettingsCheck narrow = check(made.frames, wrong);
    REQUIRE(narrow.warnings.size() == 2);  // it is also unusual
    CHECK(narrow.warnings[1].starts_with("bandwidth = 14 MHz contradicts the recording"));
    CHECK(narrow.trust < 1);
    wrong.sensor.bandwidth = 1e6;
    const SettingsCheck wide = check(made.frames, wrong);
    REQUIRE(wide.warnings.size() == 1);
    CHECK(wide.warnings[0].starts_with("bandwidth = 1 MHz contradicts"));
}

TEST_CASE("frames that repeat say what the frame rate is") {
    Drawn made = drawn<Scene>(5);
    for (std::size_t i = 1; i < made.frames.frames(); i += 2) {
        std::ranges::copy(made.frames[i - 1], made.frames[i].begin());
    }
    const SettingsCheck found = check(made.frames, made.settings);
    REQUIRE(found.warnings.size() == 1);
    CHECK(
        found.warnings[0].starts_with("frame_rate = 1000 Hz contradicts the recording: 50 of "
                                      "100 frames are the frame before once more"));
    CHECK(found.warnings[0].ends_with("taken 500 times a second"));
    CHECK(found.trust < 1);
}

TEST_CASE_TEMPLATE("an array that lies the other way round gets a hint", S, Scene, VolumeScene) {
    for (const std::uint64_t seed : {1U, 2U, 5U}) {
        CAPTURE(seed);
        const Drawn made = drawn<S>(seed, LineKind::artery, 0.2);
        FrameMatrix<float> turned(made.frames.samples(), made.frames.frames());
        for (std::size_t i = 0; i < made.frames.frames(); ++i) {
            for (std::size_t n = 0; n < made.frames.samples(); ++n) {
                turned[n][i] = static_cast<float>(made.frames[i][n]) + 8000;  // an offset is none
            }
        }
        const SettingsCheck found = check(turned, made.settings);
        CHECK(std::ranges::any_of(found.warnings, [](const std::string& text) {
            return text.starts_with("the array looks transposed: of its ");
        }));
        CHECK(found.trust < 1);
    }
}

TEST_CASE("whole numbers of a few counts are warned of") {
    Drawn made = drawn<Scene>(5);
    for (std::size_t i = 0; i < made.frames.frames(); ++i) {
        for (std::int16_t& x : made.frames[i]) {
            x = static_cast<std::int16_t>(std::lround(x / 400.0));
        }
    }
    const SettingsCheck found = check(made.frames, made.settings);
    REQUIRE(found.warnings.size() == 1);
    CHECK(found.warnings[0].starts_with("the gain is low: the samples' rms is "));
    CHECK(found.trust == 1);
}

TEST_CASE("samples that show nothing contradict nothing") {
    const RecordingSettings settings = drawn<Scene>(5).settings;
    for (const std::size_t samples : {1U, 2U, 16U, 63U, 64U, 200U}) {
        CAPTURE(samples);
        FrameMatrix<float> frames(20, samples);
        CHECK(check(frames, settings).warnings.empty());
        RandomStream random(3, 0);
        for (std::size_t i = 0; i < frames.frames(); ++i) {
            for (float& x : frames[i]) {
                x = static_cast<float>(random.normal());
            }
        }
        CHECK(check(frames, settings).trust == 1);
        frames[3][0] = std::numeric_limits<float>::quiet_NaN();
        CHECK(check(frames, settings).trust == 1);
    }
    CHECK(check(FrameMatrix<float>(), settings).trust == 1);
}

TEST_CASE("the check refuses options outside their domain and unequal numbers of states") {
    const Drawn made = drawn<Scene>(5);
    for (const SettingsCheckOptions& bad :
         {SettingsCheckOptions{.lowest_centre = -1}, SettingsCheckOptions{.highest_centre = 0.9},
          SettingsCheckOptions{.narrowest = 2}, SettingsCheckOptions{.widest = 0},
          SettingsCheckOptions{.deviations = std::nan("")},
          SettingsCheckOptions{.largest_repetition = -1}, SettingsCheckOptions{.least_counts = -1},
          SettingsCheckOptions{.least_likeness = 0}, SettingsCheckOptions{.contradicted = 2},
          SettingsCheckOptions{.max_frames = 0}}) {
        CHECK_THROWS_AS(static_cast<void>(check(made.frames, made.settings, bad)), InvalidInput);
    }
    CHECK_THROWS_AS(static_cast<void>(check_settings(made.frames.view(), made.settings, {})),
                    InvalidInput);
}
