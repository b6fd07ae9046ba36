#include "motion/line/frame_run.hpp"

#include <cstddef>
#include <limits>
#include <string>
#include <vector>

#include "support/check.hpp"

using namespace echosieve;

namespace {

// '#' usable, '.' not; gaps of more than 2, runs of at least 3.
std::vector<FrameRun> runs(const std::string& frames) {
    std::vector<bool> usable;
    for (const char c : frames) {
        usable.push_back(c == '#');
    }
    return runs_of(usable, 2, 3);
}

void check_runs(const std::string& frames, const std::vector<FrameRun>& expected) {
    CAPTURE(frames);
    const std::vector<FrameRun> found = runs(frames);
    REQUIRE(found.size() == expected.size());
    for (std::size_t k = 0; k < found.size(); ++k) {
        CHECK(found[k].first == expected[k].first);
        CHECK(found[k].count == expected[k].count);
    }
}

}  // namespace

TEST_CASE("runs of frames end at gaps that are too long, and short ones are left out") {
    check_runs("##########", {{0, 10}});
    check_runs("##.##..###", {{0, 10}});
    check_runs("####...###", {{0, 4}, {7, 3}});
    check_runs("####...##...####", {{0, 4}, {12, 4}});
    check_runs("..####..", {{0, 8}});    // the ends are bridged as gaps are
    check_runs("...####...", {{3, 4}});  // or left out as gaps are
    check_runs("##......##", {});
    check_runs("..........", {});
    check_runs("..", {});
    check_runs("", {});
    constexpr std::size_t most = std::numeric_limits<std::size_t>::max();
    const std::vector<FrameRun> whole =
        runs_of({false, true, false, false, true, false, false}, most, 1);
    REQUIRE(whole.size() == 1);
    CHECK(whole[0].first == 0);
    CHECK(whole[0].count == 7);
}
