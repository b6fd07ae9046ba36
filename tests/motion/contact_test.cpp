#include "motion/line/contact.hpp"

#include <cmath>
#include <limits>

#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr Eigen::Index frames = 400;
constexpr Eigen::Index samples = 80;

// Echoes of unit power that turn steadily, noise 6 dB under them, and ring-down in the first 12
// samples (3 mm); the echoes are gone from frame `first` to `last`.
LineHistory made_line(Eigen::Index first, Eigen::Index last) {
    LineHistory line;
    line.settings.sensor = {4e6, 1e6};
    line.settings.frame_rate = 500;
    line.settings.sound_speed = 1540;
    line.grid.sampling_rate = 3.08e6;  // 0.25 mm a sample
    line.grid.count = samples;
    line.grid.mixing_frequency = 4e6;
    line.samples.resize(frames, samples);
    line.usable.assign(static_cast<std::size_t>(frames), true);
    RandomStream random(5, 0);
    Eigen::ArrayXcd echo(samples);
    for (Eigen::Index k = 0; k < samples; ++k) {
        echo[k] = {random.normal() / std::sqrt(2.0), random.normal() / std::sqrt(2.0)};
    }
    for (Eigen::Index i = 0; i < frames; ++i) {
        const bool lost = i >= first && i < last;
        for (Eigen::Index k = 0; k < samples; ++k) {
            const std::complex<double> noise{0.35 * random.normal(), 0.35 * random.normal()};
            const std::complex<double> turn = std::polar(1.0, 0.1 * static_cast<double>(i));
            line.samples(i, k) = (lost ? 0.0 : echo[k] * turn) + noise + (k < 12 ? 10.0 : 0.0);
        }
    }
    return line;
}

}  // namespace

TEST_CASE("frames without echoes are found by their coherence, though ring-down stays") {
    LineHistory line = made_line(150, 270);
    const std::size_t lost = leave_out_lost_contact(line);
    // The coherence is smoothed by a Gaussian of 8 ms, 4 frames: each edge is uncertain by two
    // standard deviations of it.
    constexpr double edge = 8;
    CHECK_WITHIN(static_cast<double>(lost), 120.0, 2 * edge);
    for (std::size_t i = 0; i < line.usable.size(); ++i) {
        if (i < 150 - 8 || i >= 270 + 8) {
            CHECK(line.usable[i]);
        } else if (i >= 150 + 8 && i < 270 - 8) {
            CHECK(!line.usable[i]);
        }
    }
    CHECK(line.samples.allFinite());
}

TEST_CASE("a line in contact all the time loses no frame") {
    LineHistory line = made_line(0, 0);
    const Eigen::ArrayXXcd before = line.samples;
    CHECK(leave_out_lost_contact(line) == 0);
    CHECK((line.samples == before).all());
}

TEST_CASE("a frame among lost ones is lost too, though its noise is coherent by chance") {
    // Five frames of one and the same noise in the middle of the loss: coherent as echoes are.
    LineHistory line = made_line(150, 270);
    for (Eigen::Index i = 208; i < 213; ++i) {
        line.samples.row(i) = line.samples.row(208);
    }
    LineHistory alone = line;
    static_cast<void>(leave_out_lost_contact(alone, {.surroundings = 0}));
    REQUIRE(alone.usable[210]);  // by its coherence it would stay
    static_cast<void>(leave_out_lost_contact(line));
    for (std::size_t i = 160; i < 260; ++i) {
        CAPTURE(i);
        CHECK(!line.usable[i]);
    }
    // A lost frame or two take none of those around them along.
    LineHistory short_loss = made_line(0, 0);
    short_loss.usable[200] = short_loss.usable[201] = false;
    CHECK(leave_out_lost_contact(short_loss) == 0);
}

TEST_CASE("contact: options outside their domain are refused, short lines are left alone") {
    LineHistory line = made_line(0, 0);
    CHECK_THROWS_AS(leave_out_lost_contact(line, {.smoothing = -1}), InvalidInput);
    CHECK_THROWS_AS(leave_out_lost_contact(line, {.least_coherence = 1}), InvalidInput);
    for (const double far : {1.0, 1e300, std::numeric_limits<double>::infinity(),
                             std::numeric_limits<double>::quiet_NaN()}) {
        CAPTURE(far);
        LineHistory other = made_line(0, 0);
        other.dead_zone = far;
        CHECK(leave_out_lost_contact(other) == 0);
    }
    line.samples = Eigen::ArrayXXcd(line.samples.topRows(2));
    line.usable.resize(2);
    CHECK(leave_out_lost_contact(line) == 0);
}
