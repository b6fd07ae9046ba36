// Several lines over one artery, from samples to the artery's motion.
#include "echosieve/motion/track_lines.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <optional>
#include <vector>

#include "echosieve/motion/track_artery.hpp"
#include "echosieve/synthesis/lines.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr LinesPlan four_lines{.count = 4, .spacing = 2e-3, .tilt = 0.03, .pulse_wave_velocity = 5};

DrawnScene<Scene> short_scene() {
    DrawnScene<Scene> drawn;
    drawn.seed = 3;
    drawn.options.duration = 2;
    drawn.options.settings.sampling_rate = 40e6;
    drawn.options.settings.frame_rate = 400;
    return drawn;
}

const SyntheticLines& made() {
    static const SyntheticLines lines = render_lines<std::int16_t>(short_scene(), four_lines);
    return lines;
}

// rms error of a diameter, mean removed [m].
template <class Truth>
double error_of(const std::vector<FrameMotion>& frames, Truth truth) {
    double sum = 0, square = 0, count = 0;
    for (std::size_t i = 0; i < frames.size(); ++i) {
        if (frames[i].valid) {
            const double error = frames[i].diameter - truth(i);
            sum += error;
            square += error * error;
            ++count;
        }
    }
    return std::sqrt(std::max(square / count - sum * sum / count / count, 0.0));
}

double true_diameter(const SyntheticLines& lines, std::size_t line, std::size_t frame) {
    const WallDepths& walls = lines.truths[line].walls[frame];
    return walls.far_outer - walls.near_outer;
}

std::vector<std::uint64_t> bits_of(const LinesMotion& motion) {
    std::vector<std::uint64_t> bits;
    for (const FrameMotion& m : motion.frames) {
        for (const double x : {m.near_wall, m.far_wall, m.diameter_std, m.quality}) {
            bits.push_back(std::bit_cast<std::uint64_t>(x));
        }
    }
    for (const LineMotion& line : motion.lines) {
        bits.push_back(std::bit_cast<std::uint64_t>(line.delay ? line.delay->value : 0));
    }
    return bits;
}

}  // namespace

TEST_CASE("lines over one artery give its motion, the pulse's delays and the tilt") {
    const SyntheticLines& lines = made();
    const LinesMotion motion = track_lines(lines.recorded, {.threads = 2});
    REQUIRE(motion.usable());
    CHECK(motion.followed() == 4);
    double worst = 0, weights = 0;
    for (std::size_t k = 0; k < 4; ++k) {
        CAPTURE(k);
        const LineMotion& line = motion.lines[k];
        const double error =
            error_of(line.motion.frames, [&](std::size_t i) { return true_diameter(lines, k, i); });
        worst = std::max(worst, error);
        weights += line.weight;
        REQUIRE(line.delay);
        const double later =
            (static_cast<double>(k) - 1.5) * four_lines.spacing / four_lines.pulse_wave_velocity;
        CHECK_WITHIN(line.delay->value, later, 3 * line.delay->deviation);
        CHECK(line.delay->deviation < 0.3e-3);
    }
    CHECK_WITHIN(weights, 1, 1e-12);
    const double error = error_of(motion.frames, [&](std::size_t i) {
        double mean = 0;
        for (std::size_t k = 0; k < 4; ++k) {
            mean += motion.lines[k].weight * true_diameter(lines, k, i);
        }
        return mean;
    });
    MESSAGE("artery " << 1e6 * error << " um, worst line " << 1e6 * worst << " um");
    // Errors of lines are not all independent: of four, half at best.
    CHECK(error < 0.9 * worst);
    CHECK(worst < 10e-6);  // as one line alone
    const LinesPlacement& at = motion.placement;
    REQUIRE((at.delay_per_metre && at.near_tilt && at.far_tilt));
    CHECK_WITHIN(at.delay_per_metre->value, 0.2, 3 * at.delay_per_metre->deviation);
    CHECK_WITHIN(at.near_tilt->value, 0.03, 3 * at.near_tilt->deviation);
    CHECK_WITHIN(at.far_tilt->value, 0.03, 3 * at.far_tilt->deviation);
    CHECK(bits_of(track_lines(lines.recorded)) == bits_of(motion));
}

TEST_CASE("one line is what track_artery makes of it") {
    const Recording& recording = made().recorded.lines[1];
    const ArteryMotion alone = track_artery(recording);
    const LinesMotion motion = track_lines({{recording}});
    REQUIRE(motion.frames.size() == alone.frames.size());
    CHECK(motion.status == alone.status);
    CHECK(motion.followed() == 1);
    for (std::size_t i = 0; i < alone.frames.size(); ++i) {
        REQUIRE(motion.frames[i].diameter == alone.frames[i].diameter);
        REQUIRE(motion.frames[i].diameter_std == alone.frames[i].diameter_std);
    }
}

TEST_CASE("lines without the artery, or without echoes, are left out and said to be") {
    RecordedLines lines = made().recorded;
    DrawnScene<Scene> without = short_scene();
    without.options.artery = false;
    without.options.line = 7;
    lines.lines[0] = render_drawn<std::int16_t>(without).recording;
    Recording& silent = lines.lines[2];
    silent.samples = FrameMatrix<std::int16_t>(silent.frame_count(), silent.sample_count());
    const LinesMotion motion = track_lines(lines);
    REQUIRE(motion.usable());
    CHECK(motion.followed() == 2);
    CHECK(motion.lines[0].motion.status == TrackStatus::no_artery);
    CHECK(motion.lines[0].weight == 0);
    CHECK(!motion.lines[0].delay);
    CHECK(motion.lines[2].motion.status == TrackStatus::too_few_frames);
    CHECK(motion.lines[2].motion.frames.empty());
    // Without any line that shows it there is no motion.
    lines.lines[1] = lines.lines[0];
    lines.lines[3] = lines.lines[2];
    const LinesMotion none = track_lines(lines);
    CHECK(none.status == TrackStatus::no_artery);
    CHECK(none.frames.empty());
    CHECK(none.followed() == 0);
    CHECK(!none.placement.near_tilt);
}

TEST_CASE("lines that make no sense together are refused") {
    const auto problem = [](const RecordedLines& lines, const LinesOptions& options = {}) {
        try {
            static_cast<void>(track_lines(lines, options));
        } catch (const InvalidInput& error) {
            return std::string(error.what());
        }
        return std::string("none");
    };
    CHECK(problem({}) == "number of lines = 0: must lie in [1, 256]");
    const RecordedLines& good = made().recorded;
    RecordedLines other = good;
    other.lines[1].settings.frame_rate = 999;
    CHECK(problem(other).starts_with("frame_rate = 999: line 2 of lines over one vessel"));
    other = good;
    other.offsets = {0, 1};
    CHECK(problem(other) == "number of offsets = 2: must be 0 or the number of lines, 4");
    CHECK(problem(good, {.largest_tilt = 1.5}) == "largest_tilt = 1.5: must lie in [0, 1]");
    CHECK(problem(good, {.depth_reach = -1}) == "depth_reach = -1: must lie in [0, 0.1] [m]");
    CHECK(problem(good, {.unknown_reach = 1}) == "unknown_reach = 1: must lie in [0, 0.1] [m]");
    CHECK(problem(good, {.most_searches = 0}) == "most_searches = 0: must be at least 1");
    CHECK(problem(good, {.threads = 0}) == "threads = 0: must lie in 1 to 1024");
}
