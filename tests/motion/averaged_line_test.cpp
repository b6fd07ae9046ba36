#include "motion/line/averaged_line.hpp"

#include <cmath>
#include <complex>
#include <numbers>

#include "echosieve/core/error.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr Eigen::Index frames = 1003;  // the last group is not full
constexpr double rate = 1000;          // [Hz]

Eigen::ArrayXd seconds() {
    return Eigen::ArrayXd::LinSpaced(frames, 0, static_cast<double>(frames - 1)) / rate;
}

// A line whose samples all turn by one motion [m].
LineHistory turning_line(const Eigen::ArrayXd& motion) {
    LineHistory line;
    line.settings = {125e6, rate, 10e-6, {4e6, 1e6}, 1540};
    line.grid = {10e-6, 4e6, 5, 4e6};
    const double k = line.phase_per_metre(4e6);
    line.samples.resize(frames, 5);
    for (Eigen::Index i = 0; i < frames; ++i) {
        for (Eigen::Index n = 0; n < 5; ++n) {
            line.samples(i, n) =
                std::polar(1.0 + static_cast<double>(n), static_cast<double>(n) - k * motion[i]);
        }
    }
    line.usable.assign(frames, true);
    return line;
}

}  // namespace

TEST_CASE("a line that moves as a whole loses nothing by being averaged") {
    const Eigen::ArrayXd motion = 300e-6 * (2 * std::numbers::pi * 4 * seconds()).sin();
    const LineHistory line = turning_line(motion);
    const FrameGroups groups = even_groups(frames, 4);
    const LineHistory averaged = averaged_line(line, motion, groups);
    REQUIRE(averaged.frames() == (frames + 3) / 4);
    CHECK(averaged.settings.frame_rate == rate / 4);
    const Eigen::ArrayXd mean = group_means(motion, Eigen::ArrayXd::Ones(frames), groups);
    const double k = line.phase_per_metre(4e6);
    constexpr double rounding = 1e-12;
    for (Eigen::Index b = 0; b < averaged.frames(); ++b) {
        for (const Eigen::Index n : {0, 4}) {
            CHECK_WITHIN(
                averaged.samples(b, n),
                std::polar(1.0 + static_cast<double>(n), static_cast<double>(n) - k * mean[b]),
                rounding);
        }
    }
    // Without the motion turned back some of it is lost.
    const LineHistory blurred = averaged_line(line, Eigen::ArrayXd::Zero(frames), groups);
    CHECK(blurred.samples.abs().minCoeff() < 0.98);
}

TEST_CASE("frames that are not usable count for nothing, and groups of them are bridged") {
    const Eigen::ArrayXd motion = Eigen::ArrayXd::Zero(frames);
    LineHistory line = turning_line(motion);
    for (std::size_t i = 40; i < 47; ++i) {
        line.usable[i] = false;
        line.samples.row(static_cast<Eigen::Index>(i)) = 100;
    }
    const LineHistory averaged = averaged_line(line, motion, even_groups(frames, 4));
    CHECK(averaged.usable[9]);
    CHECK(!averaged.usable[10]);
    CHECK(!averaged.usable[11]);  // three of its four frames are lost
    CHECK(averaged.usable[12]);
    for (Eigen::Index b = 0; b < averaged.frames(); ++b) {
        CHECK_WITHIN(averaged.samples(b, 0), std::complex<double>(1, 0), 1e-12);
    }
    CHECK_THROWS_AS(static_cast<void>(averaged_line(line, motion.head(9), even_groups(frames, 4))),
                    InvalidInput);
}

TEST_CASE("a course is had back from its means over groups") {
    for (const Eigen::Index length : {2, 4, 5}) {
        const double h = static_cast<double>(length) / rate;
        const double omega = 2 * std::numbers::pi * 0.08 / h;
        const Eigen::ArrayXd course = (omega * seconds() + 0.3).sin();
        const Eigen::ArrayXd means =
            group_means(course, Eigen::ArrayXd::Ones(frames), even_groups(frames, length));
        const Eigen::ArrayXd back = course_of_means(means, frames, length);
        CAPTURE(length);
        // At the ends the cubic is not centred.
        const Eigen::Index inner = frames - 12 * length;
        constexpr double stated = 2e-3;
        CHECK((back - course).segment(4 * length, inner).abs().maxCoeff() < stated);
        CHECK((back - course).abs().maxCoeff() < 20 * stated);
    }
    const Eigen::ArrayXd line = 2 + 3 * seconds();
    const Eigen::ArrayXd means =
        group_means(line, Eigen::ArrayXd::Ones(frames), even_groups(frames, 4));
    CHECK_WITHIN((course_of_means(means, frames, 4) - line).head(frames - 8).abs().maxCoeff(), 0.0,
                 1e-12);
}

TEST_CASE("a course of single frames is itself, and groups must cover the frames") {
    const Eigen::ArrayXd x = seconds();
    CHECK((course_of_means(x, frames, 1) == x).all());
    CHECK((course_of_means(Eigen::ArrayXd::Constant(2, 7), 8, 4) == 7).all());
    CHECK_THROWS_AS(static_cast<void>(course_of_means(x, frames, 4)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(course_of_means(x, frames, 0)), InvalidInput);
}
