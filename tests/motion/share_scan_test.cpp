#include "motion/wall/share_scan.hpp"

#include <array>
#include <cmath>

#include "motion/layers/group_means.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"

using namespace echosieve;

using test::made_frame_rate;
using test::made_gate;
using test::made_times;
using test::MadeGate;

namespace {

const Sensor sensor{4e6, 1e6};

// Half a wavelength, 193 um, in four steps over a range of p of 1.3.
constexpr double grid_step = 193e-6 / 4 / 1.2;

Eigen::ArrayXd moments(Eigen::Index frames) {
    return Eigen::ArrayXd::LinSpaced(frames, 0, static_cast<double>(frames - 1)) / made_frame_rate;
}

// A scan of frames averaged over groups, as the finder makes it.
struct AveragedScan {
    AveragedScan(const LayerTimes& times, const GateSpectrum& gate, const FrameGroups& at)
        : all(times),
          groups(at),
          scan(group_means(times, at),
               group_means(moments(times.pulse.size()), Eigen::ArrayXd::Ones(times.pulse.size()),
                           at),
               gate.frequencies, sensor) {}
    // In fours: less than a frame's noise, no loss of what moves.
    AveragedScan(const LayerTimes& times, const GateSpectrum& gate)
        : AveragedScan(times, gate, even_groups(times.pulse.size(), 4)) {}

    std::array<FastestShare, 2> operator()(GateSpectrum gate, double bulk) const {
        gate.values = group_means(gate, all, {0, 0}, groups);
        return scan(gate, bulk);
    }

    LayerTimes all;
    FrameGroups groups;
    ShareScan scan;
};

}  // namespace

TEST_CASE("the fastest share is found in its direction, whatever slower tissue lies on it") {
    const LayerTimes times = made_times(800);
    for (const double direction : {-1.0, 1.0}) {
        for (const double tissue : {0.0, 0.3, 0.6}) {
            CAPTURE(direction);
            CAPTURE(tissue);
            const double a = direction * 260e-6;
            const MadeGate made = made_gate(times, {{a, 1.0}, {tissue * a, 1.0}}, 0.1, 4);
            const AveragedScan scan(times, made.gate);
            const std::array<FastestShare, 2> found = scan(made.gate, 1.0);
            const FastestShare& there = found[direction > 0 ? 1 : 0];
            const FastestShare& back = found[direction > 0 ? 0 : 1];
            CHECK_WITHIN(there.share, 260e-6, grid_step);
            CHECK(there.total > 0);
            CHECK(there.evidence > 0);
            CHECK(back.share < grid_step);
            CHECK(there.total > 10 * back.total);
        }
    }
}

TEST_CASE("standing tissue and noise hold nothing that moves") {
    const LayerTimes times = made_times(800);
    const MadeGate still = made_gate(times, {{0, 1.0}}, 0.1, 5);
    const AveragedScan scan(times, still.gate);
    for (const FastestShare& found : scan(still.gate, 1.0)) {
        CHECK(found.share < grid_step);
    }
    MadeGate noise = made_gate(times, {{0, 1.0}}, 1, 6);
    noise.gate.values -=
        layer_phasors(noise.gate, times, {0, 1.0}).rowwise() * noise.spectra.row(0);
    constexpr double chance = 20;  // in logarithms
    for (const FastestShare& found : scan(noise.gate, 1.0)) {
        CHECK(found.total < chance);
    }
    noise.gate.values.setZero();
    for (const FastestShare& found : scan(noise.gate, 1.0)) {
        CHECK(found.share == 0);
        CHECK(found.total == 0);
    }
}

TEST_CASE("unusable frames count for nothing in the scan") {
    LayerTimes times = made_times(801);
    times.weight.segment(100, 3).setZero();
    times.weight.segment(200, 8).setZero();
    MadeGate made = made_gate(times, {{-260e-6, 1.0}, {-20e-6, 1.0}}, 0.1, 6);
    const AveragedScan scan(times, made.gate);
    const FastestShare before = scan(made.gate, 1.0)[0];
    made.gate.values.middleRows(200, 8) = 100;
    const FastestShare after = scan(made.gate, 1.0)[0];
    CHECK(before.share == after.share);
    CHECK(before.evidence == after.evidence);
    CHECK_WITHIN(after.share, 260e-6, grid_step);
}

TEST_CASE("a scan refuses options outside their domain") {
    const LayerTimes times = made_times(100);
    const MadeGate made = made_gate(times, {{1e-4, 1.0}}, 0.1, 1);
    for (const ShareScanOptions& options :
         {ShareScanOptions{.largest_share = 0}, ShareScanOptions{.steps_per_wavelength = 0.5},
          ShareScanOptions{.against = -1e-6}, ShareScanOptions{.drift_frequency = std::nan("")},
          ShareScanOptions{.least_noise = 0}, ShareScanOptions{.unexplained = 1},
          ShareScanOptions{.distinct = 0}}) {
        CHECK_THROWS_AS(ShareScan(times, moments(100), made.gate.frequencies, sensor, options),
                        InvalidInput);
    }
}

TEST_CASE("the scan of frames averaged where little moves finds what that of even groups does") {
    const LayerTimes times = made_times(2000);
    const MadeGate made = made_gate(times, {{-260e-6, 1.0}, {-70e-6, 1.0}}, 0.1, 4);
    const FrameGroups groups = quiet_groups(times, {4, 32, 0.05, 20e-6});
    REQUIRE(groups.count() < 400);
    const FastestShare even = AveragedScan(times, made.gate)(made.gate, 1.0)[0];
    const FastestShare quiet = AveragedScan(times, made.gate, groups)(made.gate, 1.0)[0];
    constexpr double part_of_a_step = 0.3;
    CHECK_WITHIN(quiet.share, even.share, part_of_a_step * grid_step);
    // What turns within a group is lost to the evidence: some per cent.
    CHECK_WITHIN_RELATIVE(quiet.evidence, even.evidence, 0.15);
}

TEST_CASE("a scan refuses frames that are not those of its set-up") {
    const LayerTimes times = made_times(100);
    const MadeGate made = made_gate(times, {{1e-4, 1.0}}, 0.1, 1);
    CHECK_THROWS_AS(ShareScan(times, moments(99), made.gate.frequencies, sensor), InvalidInput);
    const ShareScan scan(times, moments(100), made.gate.frequencies, sensor);
    const MadeGate other = made_gate(made_times(99), {{1e-4, 1.0}}, 0.1, 1);
    CHECK_THROWS_AS(static_cast<void>(scan(other.gate, 1.0)), InvalidInput);
}
