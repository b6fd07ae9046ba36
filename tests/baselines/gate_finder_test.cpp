#include "baselines/gate_finder.hpp"

#include <cmath>
#include <cstddef>
#include <vector>

#include "baselines/on_lines.hpp"
#include "support/artery_line.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::baselines;
using test::ArteryLine;

namespace {

// The peak of an echo 5 dB over the tissue: their sum moves it.
constexpr double peak_tolerance = 0.25e-3;

}  // namespace

TEST_CASE("gates are set on the two strong echoes that move apart with a quick rise") {
    for (const std::uint64_t seed : {1U, 2U, 3U}) {
        CAPTURE(seed);
        const ArteryLine made({.seed = seed});
        const auto gates = find_wall_gates(made.line);
        REQUIRE(gates);
        CHECK_WITHIN(gates->near.depth, made.options.near_depth, peak_tolerance);
        CHECK_WITHIN(gates->far.depth, made.options.far_depth, peak_tolerance);
        CHECK(gates->near.half_length == GateSearchOptions{}.half_length);
        CHECK(gates->far.half_length == GateSearchOptions{}.half_length);
    }
}

TEST_CASE("echoes that fall faster than they rise, or move together, are no artery's") {
    ArteryLine made({.tissue_share = 0});
    made.line.samples = made.line.samples.colwise().reverse().eval();
    CHECK(!find_wall_gates(made.line));
    const ArteryLine together({.near_share = -200e-6, .tissue_share = 0});
    CHECK(!find_wall_gates(together.line));
    const ArteryLine still({.near_share = 5e-6, .far_share = 5e-6, .tissue_share = 0});
    CHECK(!find_wall_gates(still.line));
    CHECK(!find_wall_gates(ArteryLine({.frames = 2}).line));
}

TEST_CASE("limits of the gate search are kept") {
    const ArteryLine made({.tissue_share = 0});
    const auto with = [&](auto change) {
        GateSearchOptions options;
        change(options);
        return find_wall_gates(made.line, options);
    };
    CHECK(with([](auto&) {}));
    CHECK(!with([](auto& o) { o.smallest_diameter = 7e-3; }));
    CHECK(!with([](auto& o) { o.largest_diameter = 5e-3; }));
    CHECK(!with([](auto& o) { o.dead_zone = 8e-3; }));  // to 13 mm: without the near wall
    CHECK(!with([](auto& o) { o.smallest_motion = 1e-3; }));
    CHECK(with([](auto& o) { o.half_length = 0.9e-3; })->near.half_length == 0.9e-3);
}

TEST_CASE("an envelope is the mean modulus over usable frames, and its peaks come highest first") {
    LineHistory line = ArteryLine({.frames = 40, .wall_amplitude = 30}).line;
    line.usable[7] = false;
    line.samples.row(7) = 1e6;
    Eigen::ArrayXd slow = Eigen::ArrayXd::Zero(line.samples.cols());
    for (Eigen::Index i = 0; i < 40; ++i) {
        if (i != 7) {
            slow += line.samples.row(i).abs().transpose() / 39;
        }
    }
    CHECK((mean_envelope(line) - slow).abs().maxCoeff() < 1e-12);
    GateSearchOptions options;
    options.candidates = 5;
    options.lowest_peak = 0;
    const auto peaks = envelope_peaks(line, options);
    REQUIRE(peaks.size() == 5);
    for (std::size_t k = 0; k < peaks.size(); ++k) {
        CHECK((k == 0 || peaks[k].height <= peaks[k - 1].height));
        CHECK(peaks[k].depth > line.first_depth() + options.dead_zone);
        CHECK(peaks[k].depth < line.last_depth() - options.half_length);
    }
    // Both walls, 20 dB over the tissue.
    CHECK_WITHIN(std::min(peaks[0].depth, peaks[1].depth), 12e-3, peak_tolerance);
    CHECK_WITHIN(std::max(peaks[0].depth, peaks[1].depth), 18e-3, peak_tolerance);
    options.lowest_peak = 0.99;
    CHECK(envelope_peaks(line, options).size() <= 2);
    line.usable.assign(40, false);
    CHECK((mean_envelope(line) == 0).all());
}

TEST_CASE("options of the gate search outside their domain are refused by name") {
    const LineHistory line = ArteryLine({.frames = 10}).line;
    const auto refused = [&](auto change, const char* name) {
        GateSearchOptions options;
        change(options);
        CHECK_THROWS_WITH_AS(static_cast<void>(find_wall_gates(line, options)),
                             doctest::Contains(name), InvalidInput);
    };
    refused([](auto& o) { o.half_length = 0; }, "half_length = 0");
    refused([](auto& o) { o.dead_zone = -1; }, "dead_zone = -1");
    refused([](auto& o) { o.smallest_diameter = 0; }, "smallest_diameter = 0");
    refused([](auto& o) { o.largest_diameter = 1e-3; }, "largest_diameter = 0.001");
    refused([](auto& o) { o.candidates = 1; }, "candidates = 1");
    refused([](auto& o) { o.lowest_peak = 2; }, "lowest_peak = 2");
    refused([](auto& o) { o.envelope_smoothing = -1; }, "envelope_smoothing = -1");
    refused([](auto& o) { o.slow_frequency = 0; }, "slow_frequency = 0");
    refused([](auto& o) { o.smallest_motion = 0; }, "smallest_motion = 0");
}
