#include "motion/wall/repeated_walls.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "echosieve/core/random.hpp"
#include "motion/wall/finder.hpp"
#include "support/artery_line.hpp"
#include "support/check.hpp"
#include "support/moving_line.hpp"

using namespace echosieve;
using test::ArteryLine;

namespace {

// What moves up along a line, half a millimetre apart.
struct Seen {
    double share;  // [um]
    double total;
};
std::vector<bool> repeated_of(const std::vector<Seen>& seen, std::size_t side = 0) {
    std::vector<ScannedDepth> depths(seen.size());
    for (std::size_t k = 0; k < seen.size(); ++k) {
        depths[k].depth = 10e-3 + 0.5e-3 * static_cast<double>(k);
        depths[k].directions[side] = {1e-6 * seen[k].share, seen[k].total, seen[k].total};
    }
    return repeated_walls(depths, side);
}
using Flags = std::vector<bool>;

// A gate is 1.3 mm long to either side, a pulse 0.3 mm: any that holds some of the wall shows it.
constexpr double gate_tolerance = 1.6e-3;
// In the lumen, more than two gates from wall to wall.
constexpr double repetition_depth = 16.3e-3;
constexpr double deep_far_wall = 20e-3;

// The artery of ArteryLine, but with an empty lumen, and in it the near wall's echo once more,
// which moves twice as far.
ArteryLine with_repetition(double amplitude, std::uint64_t seed) {
    ArteryLine made({.far_depth = deep_far_wall, .seed = seed});
    const test::ArteryLineOptions& o = made.options;
    LineHistory& line = made.line;
    RandomStream random(seed, 1);
    const double noise = o.noise;
    for (std::complex<double>& y : line.samples.reshaped()) {
        const double real = random.normal();
        y = noise * std::complex<double>(real, random.normal());
    }
    for (double z = 6e-3; z < 24e-3; z += 0.1e-3) {
        const double real = random.normal();
        const std::complex<double> scatterer{real, random.normal()};
        const bool above = z < o.near_depth;
        const double share = (above ? -1 : 1) * o.tissue_share;
        if (above || z > o.far_depth) {
            test::add_moving_echo(line, scatterer, [&](Eigen::Index i) {
                return z + share * test::pulse_at(ArteryLine::time(i)) + ArteryLine::bulk(i);
            });
        }
    }
    const auto wall = [&](double depth, double size, double sense, double times) {
        test::add_moving_echo(
            line, size, [&](Eigen::Index i) { return depth + times * made.wall_path(sense, i); });
    };
    wall(o.near_depth, o.wall_amplitude, -1, 1);
    wall(o.far_depth, o.wall_amplitude, 1, 1);
    wall(repetition_depth, amplitude, -1, 2);
    return made;
}

}  // namespace

TEST_CASE("what moves twice as far as a wall above it, with a lumen between, repeats it") {
    const std::vector<Seen> line = {{90, 500}, {200, 1000}, {210, 900}, {0, 10},
                                    {0, 5},    {410, 300},  {400, 250}, {0, 0}};
    const Flags expected = {false, false, false, false, false, true, true, false};
    CHECK(repeated_of(line) == expected);
    CHECK(repeated_of(line, 1) == expected);
    // Without the wall itself, or without a lumen, it is a wall.
    std::vector<Seen> alone = line;
    alone[0] = alone[1] = alone[2] = {0, 0};
    CHECK(repeated_of(alone) == Flags(line.size(), false));
    std::vector<Seen> filled = line;
    filled[3] = filled[4] = {100, 400};
    CHECK(repeated_of(filled) == Flags(line.size(), false));
    // What is as fast, or very much slower, is not what is repeated.
    for (const double share : {50.0, 350.0}) {
        CAPTURE(share);
        std::vector<Seen> other = line;
        other[0] = other[1] = other[2] = {share, 1000};
        CHECK(repeated_of(other) == Flags(line.size(), false));
    }
    // Nor is a whisper above a strong wall, nor anything below.
    std::vector<Seen> faint = line;
    faint[0] = faint[1] = faint[2] = {200, 20};
    CHECK(repeated_of(faint) == Flags(line.size(), false));
    std::vector<Seen> upside_down(line.rbegin(), line.rend());
    CHECK(repeated_of(upside_down) == Flags(line.size(), false));
    CHECK(repeated_of({}).empty());
}

TEST_CASE("a fast share of next to no evidence beside a wall's above it is chance") {
    CHECK(repeated_of({{200, 1000}, {210, 500}, {560, 40}}) == Flags{false, false, true});
    CHECK(repeated_of({{200, 1000}, {210, 500}, {560, 60}}) == Flags{false, false, false});
    // The tail of the wall itself is no faster.
    CHECK(repeated_of({{200, 1000}, {210, 500}, {220, 40}}) == Flags{false, false, false});
}

TEST_CASE("a near wall that comes back from the lumen, moving twice as far, is not the near wall") {
    for (const std::uint64_t seed : {1U, 2U, 3U}) {
        for (const double amplitude : {1.5, 3.0}) {
            CAPTURE(seed);
            CAPTURE(amplitude);
            const ArteryLine made = with_repetition(amplitude, seed);
            // The repetition is seen, and a pair that the finder would allow.
            const WallFinderOptions options;
            const std::vector<ScannedDepth> scanned = scan_line(made.line, made.motion(), options);
            const auto at = std::ranges::min_element(scanned, {}, [](const ScannedDepth& place) {
                return std::abs(place.depth - repetition_depth);
            });
            CHECK(at->directions[0].share > 1.5 * made.options.near_share * made.range());
            const auto pair = find_walls(made.line, made.motion(), options);
            REQUIRE(pair);
            CHECK_WITHIN(pair->near.depth, made.options.near_depth, gate_tolerance);
            CHECK_WITHIN(pair->far.depth, made.options.far_depth, gate_tolerance);
        }
    }
}
