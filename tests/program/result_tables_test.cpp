#include "support/result_tables.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <cstddef>
#include <fstream>
#include <sstream>
#include <string>

#include "echosieve/io/files.hpp"
#include "io/folder.hpp"
#include "support/check.hpp"
#include "support/tracking.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

constexpr double written = 0.5e-9;  // depths have nine decimals

FrameMotion frame_at(double time, double near, double far, bool valid) {
    FrameMotion m;
    m.time = time;
    m.near_wall = near;
    m.far_wall = far;
    m.diameter = far - near;
    m.near_wall_std = m.far_wall_std = valid ? 2e-6 : std::nan("");
    m.valid = valid;
    m.quality = valid ? 0.75 : 0;
    return m;
}

void write_motion(const std::filesystem::path& file, double step) {
    CsvWriter table = examples::motion_table(file);
    examples::write_frame(frame_at(0, 10e-3, 17e-3, true), table);
    examples::write_frame(frame_at(step, 10.1e-3, 17.2e-3, false), table);
    table.commit();
}

Truth truth_of_two() {
    Truth truth;
    truth.times = {0, 1e-3};
    truth.walls = {{11e-3, 10.5e-3, 16e-3, 16.5e-3}, {11.25e-3, 10.75e-3, 16.25e-3, 16.75e-3}};
    truth.dropped = {false, true};
    truth.onsets = {0.125};
    return truth;
}

}  // namespace

TEST_CASE("a motion and its truth come back from their tables") {
    const Folder folder("tables");
    const auto motion = folder.path / "motion.csv";
    const auto walls = folder.path / "a.truth.csv";
    const auto beats = folder.path / "a.beats.csv";
    write_motion(motion, 1e-3);
    const Truth truth = truth_of_two();
    examples::write_truth(truth, walls);
    examples::write_beats(truth, beats);
    const auto read = examples::read_motion_and_truth(motion, walls);
    REQUIRE(read.motion.near.size() == 2);
    CHECK_WITHIN(read.motion.near[1], 10.1e-3, written);
    CHECK_WITHIN(read.motion.far[1], 17.2e-3, written);
    CHECK(read.motion.valid == std::vector<bool>{true, false});
    for (std::size_t i = 0; i < 2; ++i) {
        CHECK_WITHIN(read.truth.walls[i].near_inner, truth.walls[i].near_inner, written);
        CHECK_WITHIN(read.truth.walls[i].near_outer, truth.walls[i].near_outer, written);
        CHECK_WITHIN(read.truth.walls[i].far_inner, truth.walls[i].far_inner, written);
        CHECK_WITHIN(read.truth.walls[i].far_outer, truth.walls[i].far_outer, written);
    }
    CHECK(read.truth.dropped == truth.dropped);
    std::stringstream text;
    text << std::ifstream(beats).rdbuf();
    CHECK(text.str() == "onset_s\n0.1250\n");
    // Of other frames.
    write_motion(motion, 2e-3);
    CHECK_THROWS_AS(static_cast<void>(examples::read_motion_and_truth(motion, walls)), FileError);
}

TEST_CASE("totals of frames: only valid ones count for the diameter and the deviations") {
    examples::FrameTotals totals;
    totals.add(frame_at(0, 10e-3, 17e-3, true));
    totals.add(frame_at(1e-3, 10e-3, 30e-3, false));
    totals.add(frame_at(2e-3, 10e-3, 19e-3, true));
    CHECK(totals.frames == 3);
    CHECK(totals.valid == 2);
    CHECK_WITHIN(totals.mean(totals.diameter), 8e-3, 1e-15);
    CHECK_WITHIN(totals.smallest, 7e-3, 1e-15);
    CHECK_WITHIN(totals.largest, 9e-3, 1e-15);
    CHECK_WITHIN(totals.mean(totals.near_std), 2e-6, 1e-18);
    CHECK_WITHIN(totals.mean(totals.far_std), 2e-6, 1e-18);
}
