#include "motion/line/slips.hpp"

#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/core/random.hpp"
#include "support/check.hpp"
#include "support/moving_line.hpp"

using namespace echosieve;

namespace {

constexpr Eigen::Index frames = 60;
constexpr std::size_t slip_frame = 30;  // the first frame after the slip
constexpr double dead_zone = 1e-3;
const std::vector<FrameState> all_good(static_cast<std::size_t>(frames), FrameState::good);

// A line of speckle at 500 frames a second, further from frame `slip_frame` on by `slip` [m], with
// little noise.
Baseband<double> slipping(double slip, double noise = 0.05) {
    const LineHistory line = test::moving_line(frames, noise, 3, [&](double, Eigen::Index i) {
        return i >= static_cast<Eigen::Index>(slip_frame) ? slip : 0.0;
    });
    return {line.samples, line.grid, line.settings};
}

std::size_t count(const std::vector<bool>& slips) {
    return static_cast<std::size_t>(std::count(slips.begin(), slips.end(), true));
}

}  // namespace

TEST_CASE("a slip of more than the phase can follow is seen in all pairs of frames across it") {
    // Lines 10 ms apart, 5 frames, are compared: each pair with the slip in between marks its six
    // frames. Followed at 1.2 rad a frame is 0.18 mm in 5.
    for (const double slip : {0.4e-3, -0.4e-3, 1.5e-3, -1.5e-3}) {
        CAPTURE(slip);
        const std::vector<bool> slips = find_slips(slipping(slip), all_good, dead_zone);
        REQUIRE(slips.size() == all_good.size());
        for (std::size_t i = 0; i < slips.size(); ++i) {
            CAPTURE(i);
            CHECK(slips[i] == (i >= slip_frame - 5 && i < slip_frame + 5));
        }
    }
}

TEST_CASE("what the phase can follow, what is beyond the reach, and noise are no slips") {
    CHECK(count(find_slips(slipping(0), all_good, dead_zone)) == 0);
    CHECK(count(find_slips(slipping(0.12e-3), all_good, dead_zone)) == 0);
    CHECK(count(find_slips(slipping(0, 10), all_good, dead_zone)) == 0);
    // Motion as fast as is followed at most, all the time: 0.1 rad a frame below the limit.
    const LineHistory line = test::moving_line(frames, 0.05, 3, [](double, Eigen::Index i) {
        return 1.1 / 1.2 * 36.8e-6 * static_cast<double>(i);
    });
    const Baseband<double> fast{line.samples, line.grid, line.settings};
    CHECK(count(find_slips(fast, all_good, dead_zone)) == 0);
    SlipOptions narrow;
    narrow.largest_shift = 0.6e-3;
    CHECK(count(find_slips(slipping(1.5e-3), all_good, dead_zone, narrow)) == 0);
    SlipOptions patient;
    patient.largest_turn = 4;  // 0.61 mm
    CHECK(count(find_slips(slipping(0.4e-3), all_good, dead_zone, patient)) == 0);
    CHECK(count(find_slips(slipping(0.9e-3), all_good, dead_zone, patient)) == 10);
}

TEST_CASE("only good frames are compared, and only below the dead zone") {
    std::vector<FrameState> states = all_good;
    for (std::size_t i = slip_frame - 5; i < slip_frame; ++i) {
        states[i] = FrameState::dropped;
    }
    CHECK(count(find_slips(slipping(0.9e-3), states, dead_zone)) == 0);
    states[slip_frame - 3] = FrameState::good;
    const std::vector<bool> one = find_slips(slipping(0.9e-3), states, dead_zone);
    for (std::size_t i = 0; i < one.size(); ++i) {
        CHECK(one[i] == (i >= slip_frame - 3 && i <= slip_frame + 2));
    }
    // A ring-down that stays, a hundred times as strong, would hide it.
    Baseband<double> ringing = slipping(0.9e-3);
    ringing.samples.leftCols(5) += 100;
    CHECK(count(find_slips(ringing, all_good, 0)) == 0);
    CHECK(count(find_slips(ringing, all_good, 2e-3)) == 10);
}

TEST_CASE("slips: lines too short or too few hold none, and what makes no sense is refused") {
    const Baseband<double> line = slipping(0.9e-3);
    CHECK(count(find_slips(line, all_good, 1.0)) == 0);  // nothing below the dead zone but one
    const auto few = [&](Eigen::Index rows, Eigen::Index columns) {
        Baseband<double> part{line.samples.topLeftCorner(rows, columns), line.grid, line.settings};
        part.grid.count = static_cast<std::size_t>(columns);
        return find_slips(part,
                          std::vector<FrameState>(static_cast<std::size_t>(rows), FrameState::good),
                          dead_zone);
    };
    CHECK(few(5, 94).size() == 5);
    CHECK(count(few(frames, 2)) == 0);
    CHECK(few(0, 94).empty());
    CHECK_THROWS_WITH_AS(static_cast<void>(find_slips(line, {FrameState::good}, dead_zone)),
                         "number of frame states = 1: must equal the frames, 60", InvalidInput);
    for (const SlipOptions& bad :
         {SlipOptions{.span = 0}, SlipOptions{.largest_turn = -1},
          SlipOptions{.largest_shift = std::nan("")}, SlipOptions{.least_correlation = 1.5}}) {
        CHECK_THROWS_AS(static_cast<void>(find_slips(line, all_good, dead_zone, bad)),
                        InvalidInput);
    }
}
