#include "motion/courses/pulse_candidates.hpp"

#include <Eigen/Core>
#include <Eigen/QR>
#include <cmath>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "motion/courses/common_motion.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

// An artery whose walls move and whose tissue does not follow them.
SceneOptions scene_with_quiet_tissue() {
    SceneOptions options;
    options.duration = 2.5;
    options.settings.sampling_rate = 40e6;
    options.settings.frame_rate = 500;
    options.coupling = 0;
    options.clutter_decibels = -6;
    return options;
}

struct Made {
    SyntheticRecording recording;
    LineHistory line;
};

Made made_line(const SceneOptions& options, std::uint64_t seed) {
    SyntheticRecording made = render<std::int16_t>(Scene(options, seed), seed);
    return std::visit(
        [&](const auto& frames) {
            const Baseband<double> baseband =
                to_baseband<double>(frames.view(), made.recording.settings);
            LineHistory line = line_history(baseband, check_frames(frames.view(), baseband));
            return Made{made, std::move(line)};
        },
        made.recording.samples);
}

// How well p, q and a constant explain the true distension: the part of its variance left.
double unexplained(const Eigen::ArrayXd& pulse, const Eigen::ArrayXd& bulk, const Truth& truth) {
    Eigen::MatrixXd basis(pulse.size(), 3);
    Eigen::VectorXd distension(pulse.size());
    basis.col(0).setOnes();
    basis.col(1) = pulse.matrix();
    basis.col(2) = bulk.matrix() / 1e-4;
    for (Eigen::Index i = 0; i < pulse.size(); ++i) {
        const WallDepths& w = truth.walls[static_cast<std::size_t>(i)];
        distension[i] = w.far_outer - w.near_outer;
    }
    distension.array() -= distension.mean();
    const Eigen::VectorXd rest = distension - basis * basis.colPivHouseholderQr().solve(distension);
    return rest.squaredNorm() / distension.squaredNorm();
}

}  // namespace

TEST_CASE("where the tissue shows no pulse, single gates do") {
    for (const std::uint64_t seed : {1U, 2U, 3U}) {
        CAPTURE(seed);
        const Made made = made_line(scene_with_quiet_tissue(), seed);
        CommonMotion motion = estimate_common_motion(made.line);
        REQUIRE(motion.usable());
        // A pulse that is none: slow noise, of which the candidates must not need anything.
        motion.pulse = Eigen::ArrayXd::LinSpaced(motion.pulse.size(), -0.5, 0.5);
        const auto candidates =
            pulse_candidates(made.line, motion, {made.line.first_depth() + 3e-3, 3e-3, 13e-3});
        REQUIRE(candidates.size() > 1);
        CHECK(candidates[1].opposition > 2 * candidates[0].opposition);
        // Tissue lies on the gate's wall: its track is bent, but it is the pulse.
        CHECK(unexplained(candidates[1].pulse, motion.bulk, made.recording.truth) < 0.2);
        for (std::size_t k = 2; k < candidates.size(); ++k) {
            CHECK(candidates[k].opposition <= candidates[k - 1].opposition);
        }
        for (std::size_t k = 0; k < candidates.size(); ++k) {
            for (std::size_t l = 0; l < k; ++l) {
                const Eigen::ArrayXd& x = candidates[k].pulse;
                const Eigen::ArrayXd& y = candidates[l].pulse;
                CHECK(std::abs((x * y).sum()) <=
                      0.98 * std::sqrt(x.square().sum() * y.square().sum()));
            }
        }
    }
}

TEST_CASE("walls are followed where the tissue does not pulsate") {
    for (const std::uint64_t seed : {1U, 2U, 3U}) {
        CAPTURE(seed);
        const Made made = made_line(scene_with_quiet_tissue(), seed);
        const ArteryMotion motion = track_artery(made.recording.recording);
        REQUIRE(motion.status == TrackStatus::tracked);
        double mean = 0, square = 0;
        for (std::size_t i = 0; i < motion.frames.size(); ++i) {
            const WallDepths& w = made.recording.truth.walls[i];
            const double error = motion.frames[i].diameter - (w.far_outer - w.near_outer);
            mean += error / static_cast<double>(motion.frames.size());
            square += error * error / static_cast<double>(motion.frames.size());
        }
        constexpr double limit = 6e-6;  // what the project aims at on every recording is 4 um
        CHECK_WITHIN(std::sqrt(std::max(square - mean * mean, 0.0)), 0.0, limit);
    }
}

TEST_CASE("options of the pulse candidates are checked") {
    const Made made = made_line(scene_with_quiet_tissue(), 1);
    const CommonMotion motion = estimate_common_motion(made.line);
    const auto refused = [&](auto change) {
        PulseCandidateOptions options;
        change(options);
        CHECK_THROWS_AS(static_cast<void>(pulse_candidates(made.line, motion, {}, options)),
                        InvalidInput);
    };
    refused([](PulseCandidateOptions& o) { o.slow_frequency = 0; });
    refused([](PulseCandidateOptions& o) { o.lowest_coherence = 1; });
    refused([](PulseCandidateOptions& o) { o.smoothing = -1e-3; });
    refused([](PulseCandidateOptions& o) { o.lag = 0; });
    refused([](PulseCandidateOptions& o) { o.depth_smoothing = std::nan(""); });
    refused([](PulseCandidateOptions& o) { o.alike = 1.5; });
}
