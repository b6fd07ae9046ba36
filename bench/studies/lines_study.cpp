// lines_study: an artery drawn at random, seen by one line and by several, tracked and scored: what
// more lines are worth, what they cost, and whether the pulse's delays hold.
#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <string>
#include <vector>

#include "echosieve/motion/track_lines.hpp"
#include "echosieve/synthesis/layered_scene.hpp"
#include "echosieve/synthesis/lines.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "echosieve/synthesis/scene.hpp"
#include "echosieve/synthesis/volume_scene.hpp"
#include "support/command_line.hpp"
#include "support/options.hpp"
#include "support/progress.hpp"

namespace {

using namespace echosieve;

struct Orders {
    std::uint64_t first = 1;
    std::size_t count = 10;
    std::vector<std::size_t> lines = {1, 4, 16};
    std::vector<std::string> simulators = {"section", "volume", "layered"};
    LinesPlan plan{.spacing = 1e-3, .tilt = 0.03};
    LinesOptions track;
};

// What was found with so many lines of one simulator.
struct Score {
    std::size_t arteries = 0;
    std::size_t lines_seen = 0;
    std::vector<double> error;   // of the artery's distension, rms [m]
    std::vector<double> within;  // part of the frames within 1.96 deviations
    std::vector<double> seconds;
    std::size_t delays = 0;
    std::size_t delays_within = 0;
};

double quantile_of(std::vector<double> values, double part) {
    if (values.empty()) {
        return std::nan("");
    }
    std::ranges::sort(values);
    const auto last = static_cast<double>(values.size() - 1);
    return values[static_cast<std::size_t>(std::round(part * last))];
}

double mean_of(const std::vector<double>& values) {
    double sum = 0;
    for (const double value : values) {
        sum += value;
    }
    return sum / static_cast<double>(std::max<std::size_t>(values.size(), 1));
}

// The artery's diameter is the mean of what its lines see.
void score_frames(const LinesMotion& motion, const std::vector<Truth>& truths, Score& score) {
    std::vector<double> errors, deviations;
    double mean = 0;
    for (std::size_t i = 0; i < motion.frames.size(); ++i) {
        if (motion.frames[i].valid) {
            double truth = 0;
            for (std::size_t k = 0; k < motion.lines.size(); ++k) {
                const WallDepths& walls = truths[k].walls[i];
                truth += motion.lines[k].weight * (walls.far_outer - walls.near_outer);
            }
            errors.push_back(motion.frames[i].diameter - truth);
            deviations.push_back(motion.frames[i].diameter_std);
            mean += errors.back();
        }
    }
    const auto count = static_cast<double>(errors.size());
    mean /= count;
    double square = 0, within = 0;
    for (std::size_t n = 0; n < errors.size(); ++n) {
        const double error = errors[n] - mean;
        square += error * error;
        within += std::abs(error) <= 1.96 * deviations[n] ? 1 : 0;
    }
    score.error.push_back(std::sqrt(square / count));
    score.within.push_back(within / count);
}

void score_delays(const LinesMotion& motion, const LinesPlan& plan, Score& score) {
    double mean = 0, count = 0;
    const auto later = [&](std::size_t k) { return plan.position(k) / plan.pulse_wave_velocity; };
    for (std::size_t k = 0; k < motion.lines.size(); ++k) {
        if (motion.lines[k].delay) {
            mean += later(k);
            ++count;
        }
    }
    for (std::size_t k = 0; k < motion.lines.size() && count > 1; ++k) {
        if (const auto& delay = motion.lines[k].delay) {
            ++score.delays;
            score.delays_within +=
                std::abs(delay->value - later(k) + mean / count) <= 1.96 * delay->deviation ? 1 : 0;
        }
    }
}

// The first lines of those that were made.
RecordedLines first_of(const SyntheticLines& made, std::size_t count) {
    RecordedLines out = made.recorded;
    out.lines.resize(count);
    out.positions.resize(count);
    return out;
}

template <class S>
void study(const Orders& orders, const char* name) {
    std::vector<Score> scores(orders.lines.size());
    LinesPlan plan = orders.plan;
    plan.count = std::ranges::max(orders.lines);
    examples::Progress progress(name);
    for (std::size_t n = 0; n < orders.count; ++n) {
        const SyntheticLines made =
            render_lines<std::int16_t>(draw_scene<S>(orders.first + n), plan);
        for (std::size_t k = 0; k < orders.lines.size(); ++k) {
            const RecordedLines recorded = first_of(made, orders.lines[k]);
            const auto start = std::chrono::steady_clock::now();
            const LinesMotion motion = track_lines(recorded, orders.track);
            const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
            scores[k].seconds.push_back(took.count());
            if (motion.usable()) {
                ++scores[k].arteries;
                scores[k].lines_seen += motion.followed();
                score_frames(motion, made.truths, scores[k]);
                score_delays(motion, plan, scores[k]);
            }
        }
        progress.show(n + 1, orders.count);
    }
    progress.finish();
    for (std::size_t k = 0; k < scores.size(); ++k) {
        const Score& s = scores[k];
        std::printf("| %s | %zu | %zu of %zu | %.1f | %.2f, %.1f | %.1f | %.3f | ", name,
                    orders.lines[k], s.arteries, orders.count,
                    static_cast<double>(s.lines_seen) /
                        static_cast<double>(std::max<std::size_t>(s.arteries, 1)),
                    1e6 * quantile_of(s.error, 0.5), 1e6 * quantile_of(s.error, 0.9),
                    100 * mean_of(s.within), quantile_of(s.seconds, 0.5));
        s.delays > 0 ? std::printf("%zu of %zu |\n", s.delays_within, s.delays)
                     : std::printf("|\n");
    }
}

void study_all(const Orders& orders) {
    std::printf(
        "| simulator | lines | arteries | lines followed | distension, median, nine of ten [um "
        "rms] | within 1.96 deviations [%%] | time, median [s] | delays within 1.96 deviations "
        "|\n|---|---|---|---|---|---|---|---|\n");
    for (const std::string& name : orders.simulators) {
        name == "section"  ? study<Scene>(orders, "section")
        : name == "volume" ? study<VolumeScene>(orders, "volume")
                           : study<LayeredScene>(orders, "layered");
    }
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line(
        "lines_study", "Tracks drawn arteries in one line and in several, and scores both.");
    Orders orders;
    CLI::App& app = line.app();
    examples::add_count(app, "--first", orders.first, {.least = 0}, "Number of the first artery");
    examples::add_count(app, "--recordings", orders.count, {}, "Arteries, per simulator");
    examples::add_count(app, "--threads", orders.track.threads, {.most = 1024}, "Of the tracker");
    app.add_option("--lines", orders.lines, "Numbers of lines, separated by commas")
        ->delimiter(',')
        ->check(CLI::Range(std::size_t{1}, most_lines))
        ->capture_default_str();
    app.add_option("--simulator", orders.simulators, "Which ones, separated by commas")
        ->delimiter(',')
        ->check(CLI::IsMember({"section", "volume", "layered"}))
        ->capture_default_str();
    return line.run(argc, argv, [&] {
        study_all(orders);
        return 0;
    });
}
