#include "motion/wall/finder.hpp"

#include <cmath>
#include <optional>

#include "motion/wall/shared_beliefs.hpp"
#include "support/artery_line.hpp"
#include "support/check.hpp"

using namespace echosieve;
using test::ArteryLine;
using test::ArteryLineOptions;

namespace {

// A gate is 1.3 mm long to either side, the outer third of it tapered: any in which the wall lies
// well inside shows it.
constexpr double gate_tolerance = 1e-3;
// One and a half steps of the grid of shares, a quarter of a half wavelength each.
constexpr double share_tolerance = 72e-6;
// Motion too small for it is told from none by the walls' confidence, not by the finder.
constexpr double clear_motion = 60e-6;

void check_walls(const std::optional<WallPair>& pair, const ArteryLine& made) {
    REQUIRE(pair);
    CHECK_WITHIN(pair->near.depth, made.options.near_depth, gate_tolerance);
    CHECK_WITHIN(pair->far.depth, made.options.far_depth, gate_tolerance);
    CHECK_WITHIN(pair->near.share, made.options.near_share * made.range(), share_tolerance);
    CHECK_WITHIN(pair->far.share, made.options.far_share * made.range(), share_tolerance);
}

}  // namespace

TEST_CASE("the walls are the fastest pair that moves apart, whichever sign the pulse has") {
    for (const std::uint64_t seed : {1U, 2U, 3U}) {
        CAPTURE(seed);
        const ArteryLine made({.seed = seed});
        CommonMotion motion = made.motion();
        const auto pair = find_walls(made.line, motion);
        check_walls(pair, made);
        CHECK(pair->pulse_sign == 1);
        CHECK(pair->score > 0);
        CHECK(pair->near.evidence >= WallFinderOptions{}.least_evidence);
        motion.pulse *= -1;
        const auto other = find_walls(made.line, motion);
        check_walls(other, made);
        CHECK(other->pulse_sign == -1);
    }
}

TEST_CASE("what moves together, or not at all, is no artery") {
    WallFinderOptions options;
    options.smallest_motion = clear_motion;
    const ArteryLine together({.near_share = -200e-6, .tissue_share = 0});
    CHECK(!find_walls(together.line, together.motion(), options));
    const ArteryLine still({.near_share = 0, .far_share = 0, .tissue_share = 0});
    CHECK(!find_walls(still.line, still.motion(), options));
    const ArteryLine made({});
    CHECK(find_walls(made.line, made.motion(), options));
    CHECK(!find_walls(made.line, CommonMotion{}, options));
}

TEST_CASE("limits of diameter, motion, shares and evidence are kept") {
    const ArteryLine made({.tissue_share = 0});
    const CommonMotion motion = made.motion();
    const auto with = [&](auto change) {
        WallFinderOptions options;
        options.smallest_motion = clear_motion;
        change(options);
        return find_walls(made.line, motion, options);
    };
    const auto diameter = [](const WallPair& pair) { return pair.far.depth - pair.near.depth; };
    // The nearest other gates hold the walls as well, but no others do.
    const auto wide = with([](auto& o) { o.smallest_diameter = 6.5e-3; });
    CHECK((!wide || diameter(*wide) >= 6.5e-3));
    const auto narrow = with([](auto& o) { o.largest_diameter = 5.2e-3; });
    CHECK((!narrow || diameter(*narrow) <= 5.2e-3));
    CHECK(!with([](auto& o) { o.smallest_diameter = 9e-3; }));
    CHECK(!with([](auto& o) { o.smallest_motion = 300e-6; }));
    CHECK(!with([](auto& o) { o.smallest_distension = 600e-6; }));
    CHECK(!with([](auto& o) { o.least_evidence = 1e6; }));
    CHECK(!with([](auto& o) { o.mirror = 1e6; }));
    // 0.45 and 0.55 of the distension.
    CHECK(with([](auto& o) { o.smallest_share = 0.3; }));
    const ArteryLine uneven({.near_share = 20e-6, .far_share = 380e-6});
    WallFinderOptions even;
    even.smallest_share = 0.3;
    const auto found = find_walls(uneven.line, uneven.motion(), even);
    CHECK((!found || std::min(found->near.share, found->far.share) >=
                         0.3 * (found->near.share + found->far.share)));
}

TEST_CASE("walls are looked for below the dead zone and in their ranges only") {
    const ArteryLine made({.tissue_share = 0});
    const CommonMotion motion = made.motion();
    WallFinderOptions options;
    options.dead_zone = 9e-3;  // to 14 mm: the near wall lies above it
    const auto pair = find_walls(made.line, motion, options);
    CHECK((!pair || pair->near.depth >= 14e-3));
    options = {};
    options.near_range = {9e-3, 13e-3};
    options.far_range = {17e-3, 19e-3};
    check_walls(find_walls(made.line, motion, options), made);
    const std::vector<ScannedDepth> scanned = scan_line(made.line, motion, options);
    REQUIRE(!scanned.empty());
    for (const ScannedDepth& place : scanned) {
        CHECK((options.near_range.holds(place.depth) || options.far_range.holds(place.depth)));
    }
    options.near_range = {14e-3, 16e-3};
    options.smallest_motion = clear_motion;
    CHECK(!find_walls(made.line, motion, options));
    // Each range is for its own wall: the other's may hold what is none of its own.
    options.near_range = {7e-3, 8e-3};
    options.far_range = {9e-3, 22e-3};
    CHECK(!find_walls(made.line, motion, options));
    options.near_range = {9e-3, 22e-3};
    options.far_range = {7e-3, 8e-3};
    CHECK(!find_walls(made.line, motion, options));
    options.near_range = {9e-3, 13e-3};
    options.far_range = {20e-3, 22e-3};
    const auto shifted = find_walls(made.line, motion, options);
    CHECK((!shifted || shifted->far.depth >= 20e-3));
}

TEST_CASE("a scan tells what moves up from what moves down, all along the line") {
    const ArteryLine made({});
    const WallFinderOptions options;
    const std::vector<ScannedDepth> scanned = scan_line(made.line, made.motion(), options);
    const double half_gate = wall_half_gate(made.line.settings.sensor);
    REQUIRE(scanned.size() > 30);
    CHECK_WITHIN(scanned.front().depth, made.line.first_depth() + options.dead_zone, 1e-12);
    CHECK(scanned.back().depth < made.line.last_depth() - half_gate);
    CHECK(scanned.back().depth > made.line.last_depth() - 1.4 * half_gate);
    for (std::size_t k = 0; k < scanned.size(); ++k) {
        const ScannedDepth& place = scanned[k];
        CAPTURE(place.depth);
        CHECK(place.bulk == 1);
        if (k > 0) {
            CHECK_WITHIN(place.depth - scanned[k - 1].depth, options.scan_spacing * half_gate,
                         1e-12);
        }
        const auto& [up, down] = place.directions;
        if (std::abs(place.depth - made.options.near_depth) < 0.4e-3) {
            CHECK_WITHIN(up.share, made.options.near_share * made.range(), share_tolerance);
            CHECK(up.total > 10 * down.total);
        } else if (std::abs(place.depth - made.options.far_depth) < 0.4e-3) {
            CHECK_WITHIN(down.share, made.options.far_share * made.range(), share_tolerance);
            CHECK(down.total > 10 * up.total);
        }
    }
}

TEST_CASE("a straight line through pulse shares, by weighted least squares") {
    CommonMotion motion;
    motion.depths = Eigen::ArrayXd{{1, 2, 3, 4, 5}};
    motion.pulse_share = Eigen::ArrayXd{{3, 5, 7, 9, 100}};
    const ShareLine line = pulse_share_line(motion, Eigen::ArrayXd{{1, 1, 1, 1, 0}});
    CHECK_WITHIN(line.slope, 2, 1e-12);
    CHECK_WITHIN(line.at(10), 21, 1e-12);
    CHECK_WITHIN(line.depth, 2.5, 1e-12);
    CHECK_WITHIN(line.linearity, 1, 1e-12);
    // Shares that turn over: (-1, 0, -1), no slope, and that explains nothing.
    motion.depths = Eigen::ArrayXd{{1, 2, 3}};
    motion.pulse_share = Eigen::ArrayXd{{-1, 0, -1}};
    const ShareLine turned = pulse_share_line(motion, Eigen::ArrayXd::Ones(3));
    CHECK_WITHIN(turned.slope, 0, 1e-12);
    CHECK_WITHIN(turned.linearity, 0, 1e-12);
    // (0, 1, 1) with weights (2, 1, 1): squares of depths 2.75, of shares 1, products 1.5.
    motion.pulse_share = Eigen::ArrayXd{{0, 1, 1}};
    const ShareLine weighted = pulse_share_line(motion, Eigen::ArrayXd{{2, 1, 1}});
    CHECK_WITHIN(weighted.slope, 1.5 / 2.75, 1e-12);
    CHECK_WITHIN(weighted.linearity, 1.5 * 1.5 / 2.75, 1e-12);
    motion.depths.setConstant(2);
    CHECK(pulse_share_line(motion, Eigen::ArrayXd::Ones(3)).slope == 0);
    CHECK(pulse_share_line(motion, Eigen::ArrayXd::Ones(3)).linearity == 0);
}

TEST_CASE("finder options outside their domain are refused by name") {
    const auto refused = [](auto change, const char* name) {
        WallFinderOptions options;
        change(options);
        CHECK_THROWS_WITH_AS(validate(options), doctest::Contains(name), InvalidInput);
    };
    refused([](auto& o) { o.dead_zone = -1; }, "dead_zone = -1");
    refused([](auto& o) { o.smallest_diameter = 0; }, "smallest_diameter = 0");
    refused([](auto& o) { o.largest_diameter = o.smallest_diameter; }, "largest_diameter");
    refused([](auto& o) { o.scan_spacing = 0; }, "scan_spacing = 0");
    refused([](auto& o) { o.smallest_motion = 0; }, "smallest_motion = 0");
    refused([](auto& o) { o.smallest_distension = -1; }, "smallest_distension = -1");
    refused([](auto& o) { o.smallest_share = 0.6; }, "smallest_share = 0.6");
    refused([](auto& o) { o.least_evidence = -1; }, "least_evidence = -1");
    refused([](auto& o) { o.mirror = -1; }, "mirror = -1");
    refused([](auto& o) { o.usual_part = -1; }, "usual_part = -1");
    refused([](auto& o) { o.evidence_power = -1; }, "evidence_power = -1");
    refused([](auto& o) { o.scan.largest_share = 0; }, "largest_share = 0");
    refused([](auto& o) { o.interval = -1; }, "interval = -1");
    refused([](auto& o) { o.longest_interval = -1; }, "longest_interval = -1");
    refused([](auto& o) { o.usual_motion = 0; }, "usual_motion = 0");
    refused([](auto& o) { o.largest_turn = -1; }, "largest_turn = -1");
    refused([](auto& o) { o.near_range = {2, 1}; }, "near_range.from = 2");
    refused([](auto& o) { o.far_range = {2, 1}; }, "far_range.from = 2");
}
