#include "echosieve/motion/block_motion.hpp"

#include <cmath>
#include <vector>

#include "support/check.hpp"

using namespace echosieve;

TEST_CASE("block options outside their domain are refused by name") {
    CHECK_NOTHROW(validate(BlockOptions{}));
    const auto refused = [](auto change, const char* name) {
        BlockOptions options;
        change(options);
        CHECK_THROWS_WITH_AS(validate(options), doctest::Contains(name), InvalidInput);
    };
    const double infinite = std::numeric_limits<double>::infinity();
    for (const double bad : {0.0, -1.0, std::nan(""), infinite}) {
        CAPTURE(bad);
        refused([&](auto& o) { o.length = bad; }, "length = ");
        refused([&](auto& o) { o.overlap = bad; }, "overlap = ");
        refused([&](auto& o) { o.search_reach = bad; }, "search_reach = ");
        refused([&](auto& o) { o.largest_jump = bad; }, "largest_jump = ");
        refused([&](auto& o) { o.longest_gap = bad; }, "longest_gap = ");
        refused([&](auto& o) { o.shortest_fit = bad; }, "shortest_fit = ");
        refused([&](auto& o) { o.longest_loss = bad; }, "longest_loss = ");
        refused([&](auto& o) { o.drift_time = bad; }, "drift_time = ");
    }
    refused([](auto& o) { o.overlap = 2.1; }, "overlap = 2.1: must not exceed half of length, 2");
    refused([](auto& o) { o.shortest_fit = 4.5; }, "shortest_fit = 4.5: must not exceed length, 4");
    refused([](auto& o) { o.confirmations = -1; }, "confirmations = -1");
    refused([](auto& o) { o.slips.span = 0; }, "span = 0");
    refused([](auto& o) { o.track.least_correlation = 1; }, "least_correlation = 1");
}

TEST_CASE("the status of a whole: half of its frames, or why the first block has none") {
    BlockRecord none;
    none.status = TrackStatus::no_artery;
    BlockRecord other = none;
    other.status = TrackStatus::nothing_coherent;
    BlockRecord fitted;
    fitted.status = TrackStatus::tracked;
    fitted.fitted_count = 10;
    CHECK(status_of(0, 100, {none, other}) == TrackStatus::no_artery);
    CHECK(status_of(50, 100, {none, fitted}) == TrackStatus::tracked);
    CHECK(status_of(49, 100, {none, fitted}) == TrackStatus::mostly_invalid);
    CHECK(status_of(51, 101, {fitted}) == TrackStatus::tracked);
    CHECK(status_of(50, 101, {fitted}) == TrackStatus::mostly_invalid);
    CHECK(status_of(0, 0, {}) == TrackStatus::too_few_frames);
}

TEST_CASE("a motion in blocks counts its valid frames") {
    BlockMotion motion;
    CHECK_FALSE(motion.usable());
    motion.frames.resize(3);
    motion.frames[1].valid = true;
    CHECK(motion.valid_frames() == 1);
    motion.status = TrackStatus::tracked;
    CHECK(motion.usable());
    for (const Seam seam : {Seam::none, Seam::matched, Seam::broken}) {
        CHECK(describe(seam) != "unknown");
    }
    CHECK(describe(BlockOrigin::acquired) == "acquired");
    CHECK(describe(BlockOrigin::carried) == "carried");
    CHECK(describe(BlockOrigin::none) == "none");
}
