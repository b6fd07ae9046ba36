#include "motion/follow/block_fit.hpp"

#include <cmath>
#include <cstddef>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "support/artery_line.hpp"
#include "support/check.hpp"
#include "support/following.hpp"

using namespace echosieve;
using test::ArteryLine;

namespace {

using enum FrameState;

FrameRun run_of(const std::vector<FrameState>& states, const std::vector<bool>& slips,
                std::size_t longest_gap) {
    return longest_contact(states, slips, longest_gap);
}

void check_run(const FrameRun& run, std::size_t first, std::size_t count) {
    CHECK(run.first == first);
    CHECK(run.count == count);
}

// Frames with both walls at a depth each, one frame after the other from `first` on.
BlockFit fit_of(std::size_t first, const std::vector<double>& near,
                const std::vector<double>& far) {
    BlockFit fit;
    fit.record.fitted_first = first;
    fit.record.fitted_count = near.size();
    for (std::size_t i = 0; i < near.size(); ++i) {
        FrameMotion frame;
        frame.near_wall = near[i];
        frame.far_wall = far[i];
        frame.valid = true;
        fit.frames.push_back(frame);
    }
    return fit;
}

Baseband<double> baseband_of(const LineHistory& line) {
    Baseband<double> baseband{line.samples, line.grid, line.settings};
    baseband.settings.sensor.pulse_delay = 0;
    return baseband;
}

// rms error of the diameter, mean removed [m].
double diameter_error(const BlockFit& fit, const ArteryLine& made) {
    test::Spread errors;
    for (const FrameMotion& frame : fit.frames) {
        const auto i = static_cast<Eigen::Index>(std::lround(frame.time * 500));
        errors.add(frame.diameter - made.wall_path(1, i) + made.wall_path(-1, i));
    }
    return errors.deviation();
}

constexpr double fine = 2e-6;  // [m]: one layer a wall, 5 dB over the tissue

}  // namespace

TEST_CASE("the longest contact runs from a good frame to a good one, over short gaps") {
    check_run(run_of({}, {}, 2), 0, 0);
    check_run(run_of({dropped, frozen}, {}, 2), 0, 0);
    check_run(run_of({dropped, good, good, dropped}, {}, 2), 1, 2);
    // A gap of two frames is bridged, one of three is not.
    check_run(run_of({good, dropped, dropped, good, good}, {}, 2), 0, 5);
    check_run(run_of({good, dropped, clipped, dropped, good, good}, {}, 2), 4, 2);
    // The first of equals.
    check_run(run_of({good, good, dropped, good, good}, {}, 0), 0, 2);
    // Frames that slip belong to no run, and divide.
    check_run(run_of({good, good, good, good, good}, {false, true, true, false, false}, 9), 3, 2);
    check_run(run_of({good, good, good, good}, {false, false, true, false}, 9), 0, 2);
}

TEST_CASE("two fits are compared over the frames that both have valid, moment by moment") {
    BlockFit before = fit_of(10, {1, 2, 3, 4}, {11, 12, 13, 14});
    BlockFit now = fit_of(12, {3.5, 4.75, 9, 9}, {13, 13.5, 20, 20});
    const OverlapDifference both = compare_overlap(before, now);
    CHECK(both.frames == 2);
    CHECK_WITHIN(both.near_mean, 3.5, 1e-12);
    CHECK_WITHIN(both.far_mean, 13.5, 1e-12);
    CHECK_WITHIN(both.near_jump, (0.5 + 0.75) / 2, 1e-12);
    CHECK_WITHIN(both.far_jump, (0 - 0.5) / 2, 1e-12);
    CHECK_WITHIN(both.misfit, 0.25, 1e-12);  // of the far wall; the near one's is 0.125
    const OverlapDifference turned = compare_overlap(now, before);
    CHECK_WITHIN(turned.near_jump, -both.near_jump, 1e-12);
    CHECK_WITHIN(turned.far_jump, -both.far_jump, 1e-12);
    before.frames[3].valid = false;
    const OverlapDifference one = compare_overlap(before, now);
    CHECK(one.frames == 1);
    CHECK_WITHIN(one.near_jump, 0.5, 1e-12);
    CHECK(one.misfit == 0);
    now.frames[0].valid = false;
    CHECK(compare_overlap(before, now).frames == 0);
    CHECK(compare_overlap(fit_of(0, {1}, {2}), now).frames == 0);
    CHECK(compare_overlap({}, now).frames == 0);
}

TEST_CASE("a block's record counts its frames, and times count from the recording's start") {
    const ArteryLine made({});
    std::vector<FrameState> states(1000, good);
    std::fill_n(states.begin() + 100, 5, dropped);
    std::fill_n(states.begin() + 200, 3, clipped);
    states[300] = frozen;
    states[301] = not_finite;
    const BlockFit fit = fit_block(baseband_of(made.line), states, 2000, {}, {});
    const BlockRecord& record = fit.record;
    CHECK(record.status == TrackStatus::tracked);
    CHECK(record.origin == BlockOrigin::acquired);
    CHECK(record.first == 2000);
    CHECK(record.count == 1000);
    CHECK_WITHIN(record.start, 4, 1e-12);
    CHECK_WITHIN(record.end, 5.998, 1e-12);
    CHECK(record.usable == 990);
    CHECK(record.dropped == 7);
    CHECK(record.clipped == 3);
    CHECK(record.slipped == 0);
    CHECK(record.fitted_first == 2000);
    CHECK(record.fitted_count == 1000);
    REQUIRE(fit.frames.size() == 1000);
    CHECK(record.valid == 990);
    CHECK(record.quality > 0.5);
    CHECK(record.quality <= 1);
    CHECK_WITHIN(fit.frames[7].time, 4.014, 1e-12);
    CHECK(fit.agreed == 0);  // there is none before
    CHECK_WITHIN(record.near_depth, made.options.near_depth, 0.2e-3);
    CHECK_WITHIN(record.far_depth, made.options.far_depth, 0.2e-3);
}

TEST_CASE("walls are carried from the block before once they are confirmed, else looked for") {
    const ArteryLine made({});
    const Baseband<double> baseband = baseband_of(made.line);
    const std::vector<FrameState> states(1000, good);
    const BlockOptions options;
    BlockFit before = fit_block(baseband, states, 0, {}, options);
    REQUIRE(before.record.origin == BlockOrigin::acquired);
    CHECK_WITHIN(diameter_error(before, made), 0, fine);
    // Not confirmed yet.
    const BlockFit again = fit_block(baseband, states, 0, before, options);
    CHECK(again.record.origin == BlockOrigin::acquired);
    CHECK(again.agreed == 1);
    const BlockFit carried = fit_block(baseband, states, 0, again, options);
    CHECK(carried.record.origin == BlockOrigin::carried);
    CHECK(carried.agreed == 2);
    CHECK_WITHIN(diameter_error(carried, made), 0, fine);
    // Walls that are said to lie elsewhere are not found there, and what is found contradicts.
    BlockFit elsewhere = again;
    for (FrameMotion& frame : elsewhere.frames) {
        frame.near_wall += 4e-3;
        frame.far_wall += 4e-3;
    }
    const BlockFit anew = fit_block(baseband, states, 0, elsewhere, options);
    CHECK(anew.record.origin == BlockOrigin::acquired);
    CHECK(anew.agreed == 0);
    CHECK_WITHIN(diameter_error(anew, made), 0, fine);
}

TEST_CASE("a carried wall is looked for near where it was, not where another pair moves more") {
    // A second pair of walls below the first, which moves more; known from before is the upper one.
    ArteryLine made(
        {.near_depth = 9.5e-3, .far_depth = 13.5e-3, .near_share = 100e-6, .far_share = 120e-6});
    for (const double sense : {-1.0, 1.0}) {
        test::add_moving_echo(made.line, std::polar(9.0, 0.2), [&](Eigen::Index i) {
            return 20e-3 + 2.2e-3 * sense + ArteryLine::bulk(i) +
                   sense * 140e-6 * test::pulse_at(ArteryLine::time(i));
        });
    }
    const Baseband<double> baseband = baseband_of(made.line);
    const std::vector<FrameState> states(1000, good);
    BlockFit before;
    before.record.fitted_count = 1000;
    before.agreed = 5;
    for (Eigen::Index i = 0; i < 1000; ++i) {
        FrameMotion frame;
        frame.near_wall = made.options.near_depth + made.wall_path(-1, i);
        frame.far_wall = made.options.far_depth + made.wall_path(1, i);
        frame.valid = true;
        before.frames.push_back(frame);
    }
    const BlockFit carried = fit_block(baseband, states, 0, before, {});
    CHECK(carried.record.origin == BlockOrigin::carried);
    CHECK_WITHIN(carried.record.near_depth, made.options.near_depth, 0.3e-3);
    CHECK_WITHIN(carried.record.far_depth, made.options.far_depth, 0.3e-3);
    before.agreed = 0;
    CHECK(fit_block(baseband, states, 0, before, {}).record.near_depth > 16e-3);
}

TEST_CASE("a block of which too little is in contact has no walls, and says why") {
    const ArteryLine made({});
    const Baseband<double> baseband = baseband_of(made.line);
    std::vector<FrameState> states(1000, good);
    std::fill(states.begin() + 500, states.end(), dropped);  // 1 s is left, 1.5 s are asked for
    const BlockFit fit = fit_block(baseband, states, 0, {}, {});
    CHECK(fit.record.status == TrackStatus::too_few_frames);
    CHECK(fit.record.origin == BlockOrigin::none);
    CHECK(fit.record.fitted_count == 0);
    CHECK(fit.frames.empty());
    BlockOptions patient;
    patient.shortest_fit = 0.8;
    CHECK(fit_block(baseband, states, 0, {}, patient).record.fitted_count == 500);
    CHECK_THROWS_WITH_AS(static_cast<void>(fit_block(baseband, {good}, 0, {}, {})),
                         "number of frame states = 1: must equal the frames, 1000", InvalidInput);
    patient.length = 0;
    CHECK_THROWS_AS(static_cast<void>(fit_block(baseband, states, 0, {}, patient)), InvalidInput);
}

TEST_CASE("a slip divides a block: the longer part is followed") {
    ArteryLine made({.frames = 1400});
    // From frame 400 on the line lies 1 mm deeper.
    LineHistory shifted = made.line;
    for (Eigen::Index i = 400; i < 1400; ++i) {
        const double metres = made.line.depth(1) - made.line.depth(0);
        const auto by = static_cast<Eigen::Index>(std::lround(1e-3 / metres));
        shifted.samples.row(i).tail(94 - by) = made.line.samples.row(i).head(94 - by);
    }
    const std::vector<FrameState> states(1400, good);
    const BlockFit fit = fit_block(baseband_of(shifted), states, 0, {}, {});
    CHECK(fit.record.slipped == 10);
    CHECK(fit.record.fitted_first == 405);
    CHECK(fit.record.fitted_count == 995);
    CHECK_WITHIN(diameter_error(fit, made), 0, fine);
}
