#include "motion/courses/track_joining.hpp"

#include <cmath>
#include <numbers>

#include "motion/courses/common_motion.hpp"
#include "support/check.hpp"
#include "support/moving_line.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

constexpr Eigen::Index frames = 1000;
constexpr Eigen::Index gap_first = 480;
constexpr Eigen::Index gap_end = 600;

double path(double z, Eigen::Index i, double jump) {
    const double t = static_cast<double>(i) / 500;
    return 60e-6 * share_at(z) * pulse_at(t) + 150e-6 * std::sin(2 * std::numbers::pi * 0.3 * t) +
           (i >= gap_end ? jump : 0);
}

// Nothing but noise in the gap, and marked so.
LineHistory interrupted_line(double jump) {
    LineHistory line =
        moving_line(frames, 0.1, 3, [&](double z, Eigen::Index i) { return path(z, i, jump); });
    for (Eigen::Index i = gap_first; i < gap_end; ++i) {
        line.samples.row(i) *= 0.01;
        line.usable[static_cast<std::size_t>(i)] = false;
    }
    return line;
}

}  // namespace

TEST_CASE("tracks are joined over a gap by what the line moved meanwhile, more than a cycle") {
    // Half a wavelength is 192.5 um: phases alone would say the same of all three.
    for (const double jump : {0.0, 192.5e-6, -385e-6}) {
        CAPTURE(jump);
        const LineHistory line = interrupted_line(jump);
        PhaseTracks tracks = phase_tracks(line, {});
        REQUIRE(tracks.runs.size() == 2);
        CHECK(tracks.runs[0].count == static_cast<std::size_t>(gap_first));
        CHECK(tracks.runs[1].first == static_cast<std::size_t>(gap_end));
        TrackJoiningOptions options;
        options.least_reach = 0.6e-3;  // the runs themselves move by less than the jump
        join_tracks(line, tracks, (tracks.coherence - 0.2).max(0).square(), options);
        // An eighth of a cycle: a gate holds echoes of several depths, which move by up to 30 um
        // differently; a wrong cycle would be eight times as much.
        constexpr double fine = 24e-6;
        int followed = 0;
        for (Eigen::Index g = 0; g < tracks.depths.size(); ++g) {
            if (tracks.coherence[g] < 0.8) {
                continue;
            }
            const double z = tracks.depths[g];
            const double expected = path(z, gap_end + 20, jump) - path(z, gap_first - 20, jump);
            CHECK_WITHIN(
                tracks.displacement(gap_end + 20, g) - tracks.displacement(gap_first - 20, g),
                expected, fine);
            ++followed;
        }
        CHECK(followed > 10);
        CHECK(tracks.displacement.allFinite());
        CHECK_WITHIN(tracks.displacement.colwise().mean().abs().maxCoeff(), 0.0, 1e-12);
    }
}

TEST_CASE("without a gap, or without trust, joining changes no bit") {
    const LineHistory whole =
        moving_line(200, 0.1, 3, [](double z, Eigen::Index i) { return path(z, i, 0); });
    PhaseTracks tracks = phase_tracks(whole, {});
    const Eigen::ArrayXXd before = tracks.displacement;
    join_tracks(whole, tracks, tracks.coherence);
    CHECK((tracks.displacement == before).all());
    const LineHistory line = interrupted_line(0);
    PhaseTracks apart = phase_tracks(line, {});
    const Eigen::ArrayXXd kept = apart.displacement;
    join_tracks(line, apart, Eigen::ArrayXd::Zero(apart.depths.size()));
    CHECK((apart.displacement == kept).all());
}

TEST_CASE("joining options outside their domain are refused by name") {
    TrackJoiningOptions options;
    options.window = 0;
    CHECK_THROWS_WITH_AS(validate(options), doctest::Contains("window = 0"), InvalidInput);
    options = {};
    options.most_reach = 1e-6;
    CHECK_THROWS_WITH_AS(validate(options), doctest::Contains("most_reach"), InvalidInput);
}

TEST_CASE(
    "a slip beside breathing that grows with depth asks for a strain of the line, else none") {
    const auto motion = [](bool slips, bool grows) {
        const LineHistory line = moving_line(1250, 0.05, 5, [&](double z, Eigen::Index i) {
            const double t = static_cast<double>(i) / 500;
            const double growth = grows ? 1 + 20 * (z - 15e-3) : 1;
            const double slip = slips ? 200e-6 / (1 + std::exp(-(t - 1.3) / 0.01)) : 0;
            return 60e-6 * share_at(z) * pulse_at(t) + slip +
                   200e-6 * growth * std::sin(2 * std::numbers::pi * 0.3 * t + 1);
        });
        return estimate_common_motion(line);
    };
    CHECK(motion(true, false).stretch.size() == 0);
    CHECK(motion(false, true).stretch.size() == 0);  // one bulk motion with a share for each depth
    const CommonMotion both = motion(true, true);
    REQUIRE(both.stretch.size() == 1250);
    // p is the pulse all the same, up to its scale.
    Eigen::ArrayXd truth(1250);
    for (Eigen::Index i = 0; i < 1250; ++i) {
        truth[i] = pulse_at(static_cast<double>(i) / 500);
    }
    truth -= truth.mean();
    const double alike =
        (truth * both.pulse).sum() / std::sqrt(truth.square().sum() * both.pulse.square().sum());
    constexpr double smoothed_pulse = 0.03;  // upstroke of 100 ms against Gaussians of 4 and 3 ms
    CHECK_WITHIN(alike, 1.0, smoothed_pulse);
}
