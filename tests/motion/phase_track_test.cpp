#include "motion/courses/phase_track.hpp"

#include <Eigen/SVD>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>

#include "echosieve/core/random.hpp"
#include "support/check.hpp"
#include "support/layers.hpp"
#include "support/moving_line.hpp"

using namespace echosieve;
using test::moving_line;
using test::rms;

namespace {

constexpr double pi = std::numbers::pi;
constexpr Eigen::Index frames = 400;

// Faster at depth; 0.3 mm in all, more than a half wavelength.
double path(double depth, Eigen::Index i) {
    const double t = static_cast<double>(i) / 500;
    return (depth < 15e-3 ? 0.6 : 1.0) * 150e-6 * std::sin(2 * pi * 1.5 * t);
}

Eigen::ArrayXd true_path(double depth) {
    return Eigen::ArrayXd::NullaryExpr(frames, [=](Eigen::Index i) { return path(depth, i); });
}

Eigen::ArrayXd centred(const Eigen::ArrayXd& x) {
    return x - x.mean();
}

}  // namespace

TEST_CASE("the line's motion is that of what lies below the first offset, ring-down or not") {
    LineHistory line =
        moving_line(frames, 0.1, 5, [](double, Eigen::Index i) { return path(20e-3, i); });
    const Eigen::ArrayXd truth = true_path(20e-3);
    const PhaseTrackOptions options;
    // 3 ms of smoothing, 1.5 frames, hardly bend a motion of 1.5 Hz: 1 um and the noise.
    constexpr double fine = 2e-6;
    CHECK(rms(centred(line_motion(line, options) - truth)) < fine);
    CHECK(line_motion(line, options)[0] == 0);
    // Ring-down that stands still, 30 times the echoes, in the first 1.5 mm: the first gate's
    // centre is 2.5 mm below the first sample.
    line.samples.leftCols(7) += 30;
    CHECK(rms(centred(line_motion(line, options) - truth)) < fine);
    PhaseTrackOptions from_the_top;
    from_the_top.first_offset = 0;
    // What lies in the dead zone does not count whatever the first gate's place ...
    CHECK(rms(centred(line_motion(line, from_the_top) - truth)) < fine);
    line.dead_zone = 0;
    CHECK(rms(centred(line_motion(line, from_the_top) - truth)) > 20 * fine);
}

TEST_CASE("gates all along the line have the tracks of what lies in them") {
    const LineHistory line = moving_line(frames, 0.05, 6, path);
    const PhaseTrackOptions options;
    const PhaseTracks tracks = phase_tracks(line, options);
    REQUIRE(tracks.runs.size() == 1);
    const Eigen::Index gates = tracks.depths.size();
    REQUIRE(gates > 30);
    CHECK_WITHIN(tracks.depths[0], line.first_depth() + options.first_offset, 1e-12);
    CHECK_WITHIN(tracks.depths[1] - tracks.depths[0], options.spacing, 1e-12);
    CHECK(tracks.depths[gates - 1] + options.half_gate <= line.last_depth() + 1e-12);
    CHECK(tracks.depths[gates - 1] + options.half_gate + options.spacing > line.last_depth());
    int followed = 0;
    for (Eigen::Index g = 0; g < gates; ++g) {
        const double depth = tracks.depths[g];
        CAPTURE(depth);
        CHECK_WITHIN(tracks.displacement.col(g).mean(), 0, 1e-12);
        // A gate across the border holds both motions, and a weak one mostly what lies beside it.
        if (std::abs(depth - 15e-3) > 1.5e-3 && tracks.coherence[g] > 0.9) {
            // Up to 5.9 um of 106 um rms: what is weak in a gate is pulled along by what is strong.
            constexpr double fine = 8e-6;
            CHECK(rms(centred(tracks.displacement.col(g) - true_path(depth))) < fine);
            ++followed;
        }
    }
    CHECK(followed > 25);
}

TEST_CASE("in noise a track is settled on what its gate holds in the mean") {
    const LineHistory line = moving_line(frames, 3, 6, path);
    const PhaseTracks tracks = phase_tracks(line, {});
    double square = 0;
    int gates = 0;
    for (Eigen::Index g = 0; g < tracks.depths.size(); ++g) {
        if (std::abs(tracks.depths[g] - 15e-3) > 1.5e-3) {
            const double error =
                rms(tracks.displacement.col(g) - centred(true_path(tracks.depths[g])));
            square += error * error;
            ++gates;
        }
    }
    // 8.4 um and 0.85; from frame to frame alone the noise adds up to 15.5 um and 0.72.
    constexpr double settled = 11e-6;
    CHECK(std::sqrt(square / gates) < settled);
    CHECK(tracks.coherence.mean() > 0.78);
}

TEST_CASE("coherence is the part of a gate's power that follows its track") {
    // Below 15 mm the echoes are gone: noise, in bands as smooth as the echoes.
    LineHistory line = moving_line(frames, 0, 7, path);
    RandomStream random(8);
    for (Eigen::Index k = 0; k < line.samples.cols(); ++k) {
        const bool gone = line.depth(static_cast<double>(k)) > 15e-3;
        for (Eigen::Index i = 0; i < frames; ++i) {
            const double real = random.normal();
            const std::complex<double> noise(real, random.normal());
            line.samples(i, k) = gone ? noise : line.samples(i, k) + 0.02 * noise;
        }
    }
    const PhaseTracks tracks = phase_tracks(line, {});
    for (Eigen::Index g = 0; g < tracks.depths.size(); ++g) {
        CAPTURE(tracks.depths[g]);
        CHECK(tracks.coherence[g] <= 1 + 1e-12);
        if (tracks.depths[g] < 13.5e-3) {
            CHECK(tracks.coherence[g] > 0.8);
        } else if (tracks.depths[g] > 16.5e-3) {
            // Up to 0.53 here: a gate holds few independent values, whose phase is free.
            CHECK(tracks.coherence[g] < 0.65);
        }
    }
    line.samples.setZero();
    CHECK(phase_tracks(line, {}).coherence.maxCoeff() == 0);
}

TEST_CASE("runs of contact are tracked each by itself, and nothing between them") {
    LineHistory line = moving_line(frames, 0.05, 6, path);
    for (std::size_t i = 150; i < 200; ++i) {
        line.usable[i] = false;
    }
    line.samples.middleRows(150, 50).setZero();
    const PhaseTracks tracks = phase_tracks(line, {});
    REQUIRE(tracks.runs.size() == 2);
    CHECK((tracks.displacement.middleRows(150, 50) == 0).all());
    const Eigen::Index g = 30;  // 22 mm
    CHECK(tracks.coherence[g] > 0.8);
    for (const FrameRun& run : tracks.runs) {
        const auto first = static_cast<Eigen::Index>(run.first);
        const auto count = static_cast<Eigen::Index>(run.count);
        const Eigen::ArrayXd found = tracks.displacement.col(g).segment(first, count);
        CHECK_WITHIN(found.mean(), 0, 1e-12);
        constexpr double fine = 6e-6;  // shorter runs: their ends are smoothed into themselves
        CHECK(rms(centred(found - true_path(tracks.depths[g]).segment(first, count))) < fine);
    }
}

TEST_CASE("lines filtered for tracking keep slow echoes of the band and lose what is beside it") {
    LineHistory line = moving_line(frames, 0, 5, [](double, Eigen::Index) { return 0.0; });
    const Eigen::ArrayXXcd matched = matched_lines(line, 4e-3);
    // A still line is the same in all frames; a sign that alternates from frame to frame is gone.
    CHECK((matched.rowwise() - matched.row(0)).abs().maxCoeff() < 1e-12);
    const double kept = matched.abs2().mean() / line.samples.abs2().mean();
    CHECK(kept > 0.5);  // the band squared is narrower: 1 / sqrt 2
    CHECK(kept < 0.8);
    for (Eigen::Index i = 1; i < frames; i += 2) {
        line.samples.row(i) *= -1;
    }
    CHECK(matched_lines(line, 4e-3).abs2().mean() < 1e-3 * matched.abs2().mean());
    // The same window in cycles of the carrier: half as long at 8 MHz.
    line.settings.sensor = {8e6, 1e6};
    LineHistory once = line;
    once.samples.setZero();
    once.samples.row(200).setOnes();
    const Eigen::ArrayXd response =
        matched_lines(once, 8e-3).col(50).abs() / matched_lines(once, 8e-3)(200, 50).real();
    const double sigma = 8e-3 / 2 * 500;  // [frames]
    CHECK_WITHIN(response[203], std::exp(-9 / (2 * sigma * sigma)), 1e-9);
}

TEST_CASE("the leading plane is that of the two largest singular values") {
    RandomStream random(9);
    Eigen::MatrixXd tracks(50, 6);
    for (double& x : tracks.reshaped()) {
        x = random.normal();
    }
    Eigen::ArrayXd weight(6);
    weight << 1, 3, 0.1, 2, 1, 0.5;
    const Eigen::MatrixXd plane = leading_plane(tracks.array(), weight);
    const Eigen::JacobiSVD<Eigen::MatrixXd> svd(tracks * weight.matrix().asDiagonal(),
                                                Eigen::ComputeThinU);
    const Eigen::MatrixXd two = svd.matrixU().leftCols(2);
    constexpr double rounding = 1e-10;  // squared singular values, and gaps between them
    CHECK_WITHIN((plane.transpose() * plane - Eigen::Matrix2d::Identity()).norm(), 0, rounding);
    CHECK_WITHIN((two * (two.transpose() * plane) - plane).norm(), 0, rounding);
}

TEST_CASE("a deeper dead zone moves the first gate down with it") {
    LineHistory line = moving_line(frames, 0.05, 6, path);
    const double first = line.first_depth();
    line.dead_zone = 8e-3;
    const PhaseTracks tracks = phase_tracks(line, {});
    REQUIRE(tracks.depths.size() > 10);
    CHECK_WITHIN(tracks.depths[0], first + 7.5e-3, 1e-12);
    // Ring-down down to 7 mm: nothing of it in the line's motion.
    line.samples.leftCols(
        held_whole(line.index(first + 6.5e-3), Eigen::Index{0}, line.samples.cols())) += 30;
    CHECK(rms(centred(line_motion(line, {}) - true_path(20e-3))) < 20e-6);
}

TEST_CASE("a line that ends above its first gate has no motion, and is read within its ends") {
    for (const Eigen::Index samples : {1, 2, 3, 8, 16, 17, 20}) {
        CAPTURE(samples);
        LineHistory line = moving_line(50, 0.05, 6, path);
        line.samples = Eigen::ArrayXXcd(line.samples.leftCols(samples));
        line.grid.count = static_cast<std::size_t>(samples);
        const Eigen::ArrayXd motion = line_motion(line, {});
        CHECK(motion.size() == 50);
        CHECK(motion.allFinite());
        CHECK(phase_tracks(line, {}).displacement.allFinite());
        line.settings.sound_speed = 1.54;  // metres become micrometres
        CHECK(line_motion(line, {}).allFinite());
    }
}

TEST_CASE("lines too short for a gate have no tracks, and options are checked by name") {
    const LineHistory line = moving_line(20, 0.1, 5, path);
    PhaseTrackOptions far;
    far.first_offset = 30e-3;
    CHECK(phase_tracks(line, far).depths.size() == 0);
    const auto refused = [&](auto change, const char* name) {
        PhaseTrackOptions options;
        change(options);
        CHECK_THROWS_WITH_AS(static_cast<void>(phase_tracks(line, options)),
                             doctest::Contains(name), InvalidInput);
    };
    refused([](auto& o) { o.first_offset = -1; }, "first_offset = -1");
    refused([](auto& o) { o.spacing = 0; }, "spacing = 0");
    refused([](auto& o) { o.half_gate = 0; }, "half_gate = 0");
    refused([](auto& o) { o.line_smoothing = -1; }, "line_smoothing = -1");
    refused([](auto& o) { o.phase_smoothing = std::nan(""); }, "phase_smoothing = nan");
}
