#include "support/wall_words.hpp"

#include <doctest/doctest.h>

#include <complex>
#include <cstddef>
#include <string>
#include <vector>

#include "echosieve/motion/artery_motion.hpp"
#include "support/motion_pictures.hpp"
#include "support/picture_parts.hpp"

namespace {

using echosieve::ArteryMotion;
using echosieve::WallReport;
using examples::LessSure;

// Walls that nothing speaks against: the far one takes 0.6 of the distension.
ArteryMotion sound() {
    ArteryMotion motion;
    motion.frames.resize(1);
    for (WallReport* wall : {&motion.near, &motion.far}) {
        wall->confidence = 0.97;
        wall->separability = 1;
        wall->noise_std = 1e-6;
        wall->gain_std = 0.03;
        wall->model_std = 2e-6;
        wall->own_motion = 4e-6;
    }
    motion.near.pulse_share = -160e-6;
    motion.far.pulse_share = 240e-6;
    return motion;
}

bool says(const std::string& text, const std::string& part) {
    return text.find(part) != std::string::npos;
}

}  // namespace

TEST_CASE("sound walls: no doubt, and none is named") {
    const ArteryMotion motion = sound();
    CHECK(examples::doubts_of(motion.near, motion.far).empty());
    CHECK(examples::doubts_of(motion.far, motion.near).empty());
    CHECK(examples::less_sure_wall(motion) == LessSure::neither);
    CHECK(examples::less_sure_words(motion).empty());
}

TEST_CASE("the wall that something speaks against is named, with the reason, near as far") {
    struct Slip {
        void (*make)(WallReport& wall);
        const char* words;
    };
    const Slip slips[] = {
        {[](WallReport& w) { w.confidence = 0.4; }, "confidence 0.40"},
        {[](WallReport& w) { w.separability = 0.3, w.separable = false; },
         "not separable (0.30 rad)"},
        {[](WallReport& w) { w.gain_std = 0.5; }, "gain is known to 50 % only"},
        {[](WallReport& w) { w.own_motion = 90e-6; }, "90 um rms by itself"},
        {[](WallReport& w) { w.pulse_share *= 0.05; }, "of the distension"},
    };
    for (const Slip& slip : slips) {
        for (const bool far : {false, true}) {
            CAPTURE(slip.words);
            CAPTURE(far);
            ArteryMotion motion = sound();
            slip.make(far ? motion.far : motion.near);
            CHECK(examples::less_sure_wall(motion) == (far ? LessSure::far : LessSure::near));
            const std::string words = examples::less_sure_words(motion);
            CHECK(says(words, far ? "The far wall" : "The near wall"));
            CHECK(says(words, slip.words));
        }
    }
}

TEST_CASE("both in doubt: less confidence, then what is not separable, then a larger deviation") {
    ArteryMotion motion = sound();
    motion.near.gain_std = 0.3;
    motion.far.gain_std = 0.25;
    CHECK(examples::less_sure_wall(motion) == LessSure::neither);  // 48 um and 60 um
    motion.near.gain_std = 0.9;
    CHECK(examples::less_sure_wall(motion) == LessSure::near);
    motion.far.separable = false;
    CHECK(examples::less_sure_wall(motion) == LessSure::far);
    motion.near.confidence = 0.6;
    CHECK(examples::less_sure_wall(motion) == LessSure::near);
    motion.frames.clear();
    CHECK(examples::less_sure_wall(motion) == LessSure::neither);  // no walls
}

TEST_CASE("a diameter says from which layer to which") {
    CHECK(examples::diameter_words(echosieve::WallLayer::outer) == "outer layer to outer layer");
    CHECK(says(std::string(examples::diameter_words(echosieve::WallLayer::inner)), "lumen"));
}

TEST_CASE("long text is broken at blanks, and no word is lost") {
    const std::string text = "one two three four";
    CHECK(examples::wrapped(text, 9) == "one two\nthree\nfour");
    CHECK(examples::wrapped(text, 100) == text);
    CHECK(examples::wrapped("unbreakable", 3) == "unbreakable");
}

TEST_CASE("the grey scale is set below the dead zone, whatever stands above it") {
    // Samples of a loud ring-down over a quiet echo.
    const echosieve::RecordingSettings settings{
        .sampling_rate = 40e6,
        .frame_rate = 100,
        .sensor = {.centre_frequency = 4e6, .bandwidth = 2e6}};
    std::vector<std::complex<float>> row;
    examples::MModeImage image(4, 800, settings);
    for (std::size_t k = 0; k < image.grid().count; ++k) {
        const double depth = settings.depth(image.grid().time(static_cast<double>(k)));
        row.emplace_back(depth < 3e-3 ? 1000.0F : 10.0F);
    }
    for (std::size_t i = 0; i < 4; ++i) {
        image.add_baseband(i, row);
    }
    CHECK(image.strongest_below(3e-3) == 10.0F);
    CHECK(image.strongest_below(0) == 1000.0F);
    CHECK(image.strongest_below(1) == 1000.0F);  // nothing lies below: of all of it
}

TEST_CASE("a search that failed says what its best pair was") {
    ArteryMotion motion;
    motion.status = echosieve::TrackStatus::no_artery;
    motion.near.depth = 8e-3;
    motion.far.depth = 15e-3;
    motion.far.confidence = 0.12;
    CHECK(examples::failure_of(motion).best_pair.empty());  // none came so far
    motion.near.displacement = {0};
    const examples::Failure failure = examples::failure_of(motion);
    CHECK(failure.best_pair == std::vector<double>{8e-3, 15e-3});
    CHECK(says(failure.details, "far wall at 15.00 mm with confidence 0.12"));
    CHECK(failure.reason == describe(motion.status));
}
