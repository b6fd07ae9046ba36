// wall_study: recordings drawn at random from both simulators, tracked with no hand work and scored
// against the truth; and recordings without an artery, in which nothing may be found.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <exception>
#include <limits>
#include <string>
#include <vector>

#include "echosieve/io/csv.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "support/parallel.hpp"
#include "support/score.hpp"

namespace {

using namespace echosieve;

struct Row {
    bool volume = false;
    LineKind kind = LineKind::artery;
    std::uint64_t seed = 0;
    bool found = false;
    double seconds = 0;
    double quality = 0;
    examples::Score score;
    double delay = 0, delay_error = 0, delay_deviation = 0;  // of the pulse, as depth [m]
    // what the recording is like, and what the tracker says of itself
    double frequency = 0, share = 0, distension = 0, over_tissue = 0, snr = 0;
    WallReport near, far;
};

template <RenderableScene S>
void run(Row& row, const DrawOptions& draw) {
    const DrawnScene<S> drawn = draw_scene<S>(row.seed, row.kind, draw);
    const SyntheticRecording made = render_drawn<std::int16_t>(drawn);
    row.frequency = drawn.options.settings.sensor.centre_frequency;
    row.share = drawn.options.near_share;
    row.distension = drawn.options.distension;
    row.over_tissue = -drawn.options.clutter_decibels;
    row.snr = drawn.in_band_snr_decibels;
    const auto start = std::chrono::steady_clock::now();
    const ArteryMotion motion = track_artery(made.recording);
    row.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    row.found = motion.usable();
    if (motion.frames.empty()) {
        return;
    }
    const RecordingSettings& settings = made.recording.settings;
    row.delay = settings.depth(motion.pulse_delay.delay);
    row.delay_error = row.delay - made.truth.peak_lag;
    row.delay_deviation = settings.depth(motion.pulse_delay.deviation);
    row.near = motion.near;
    row.far = motion.far;
    double valid = 0;
    for (const FrameMotion& frame : motion) {
        row.quality += frame.quality;
        valid += frame.valid ? 1 : 0;
    }
    row.quality /= std::max(valid, 1.0);
    if (row.kind == LineKind::artery) {
        row.score = examples::score(examples::measured_walls(motion), made.truth);
    }
}

void run_all(std::vector<Row>& rows, const DrawOptions& draw, std::size_t threads) {
    examples::for_each_in_parallel(rows.size(), threads, "studying", [&](std::size_t k) {
        rows[k].volume ? run<VolumeScene>(rows[k], draw) : run<Scene>(rows[k], draw);
    });
}

// Depth errors of both walls against the true outer layers, as reported and with the pulse's delay
// left in.
void print_depths(const std::vector<Row>& rows, bool volume) {
    constexpr double close = 0.3e-3;  // [m]
    std::vector<double> errors, before;
    for (const Row& row : rows) {
        if (row.kind == LineKind::artery && row.volume == volume && row.found) {
            for (const double error : {row.score.near_depth, row.score.far_depth}) {
                errors.push_back(std::abs(error));
                before.push_back(std::abs(error + row.delay));
            }
        }
    }
    if (errors.empty()) {
        return;
    }
    const auto median = [](std::vector<double> x) {
        std::nth_element(x.begin(), x.begin() + static_cast<std::ptrdiff_t>(x.size() / 2), x.end());
        return 1e3 * x[x.size() / 2];
    };
    const auto within = [](const std::vector<double>& x) {
        return std::count_if(x.begin(), x.end(), [](double error) { return error <= close; });
    };
    std::printf(
        "%s simulator: depth error of %zu walls against the outer layer [mm], median %.3f, within "
        "0.3 %ld; with the pulse's delay left in %.3f, %ld\n",
        volume ? "volume " : "section", errors.size(), median(errors),
        static_cast<long>(within(errors)), median(before), static_cast<long>(within(before)));
}

void print_summary(const std::vector<Row>& rows, bool volume) {
    std::vector<double> errors;
    double worst_ten = 0, flagged = 0, drawn = 0, seconds = 0;
    for (const Row& row : rows) {
        if (row.kind != LineKind::artery || row.volume != volume) {
            continue;
        }
        ++drawn;
        seconds += row.seconds;
        if (row.found) {
            const double error = 1e6 * row.score.distension.rms;
            errors.push_back(error);
            worst_ten += error > 10 ? 1 : 0;
            flagged += error > 10 && row.quality < 0.5 ? 1 : 0;
        }
    }
    if (drawn == 0) {
        return;
    }
    std::sort(errors.begin(), errors.end());
    const auto at = [&](double part) {
        return errors.empty() ? std::numeric_limits<double>::quiet_NaN()
                              : errors[static_cast<std::size_t>(
                                    part * static_cast<double>(errors.size() - 1) + 0.5)];
    };
    std::printf(
        "%s simulator: %.0f recordings, walls found in %zu; distension error [um rms] median %.2f, "
        "90 %% %.2f, largest %.2f; over 10 um %.0f, of them with quality under 0.5 %.0f; "
        "%.2f s a recording\n",
        volume ? "volume " : "section", drawn, errors.size(), at(0.5), at(0.9), at(1), worst_ten,
        flagged, seconds / drawn);
}

}  // namespace

int main(int argc, char** argv) {
    CLI::App app{
        "Tracks recordings drawn at random from both simulators and scores them against the "
        "truth.\nResearch use: not a medical device, not for diagnosis."};
    std::uint64_t first = 1;
    std::size_t count = 100, empty = 25, threads = 1;
    std::string simulator = "both";
    std::string details;
    DrawOptions draw;
    app.add_option("--first", first, "Number of the first recording")->capture_default_str();
    app.add_option("--recordings", count, "With an artery, per simulator")->capture_default_str();
    app.add_option("--without-artery", empty, "Without one, per simulator")->capture_default_str();
    app.add_option("--simulator", simulator, "Which one")
        ->check(CLI::IsMember({"section", "volume", "both"}))
        ->capture_default_str();
    app.add_option("--seconds", draw.duration, "Length of a recording [s]")->capture_default_str();
    app.add_option("--event-probability", draw.event_probability, "Of each kind of event")
        ->capture_default_str();
    app.add_option("--threads", threads, "Recordings worked on at once")
        ->check(CLI::Range(1, 256))
        ->capture_default_str();
    app.add_option("--details", details, "CSV file with a row a recording");
    CLI11_PARSE(app, argc, argv);
    try {
        std::vector<Row> rows;
        for (const bool volume : {false, true}) {
            if (simulator != "both" && volume != (simulator == "volume")) {
                continue;
            }
            for (std::size_t k = 0; k < count + empty; ++k) {
                Row row;
                row.volume = volume;
                row.seed = first + k;
                row.kind = k < count              ? LineKind::artery
                           : (k - count) % 2 == 0 ? LineKind::breathing_tissue
                                                  : LineKind::pulsating_tissue;
                rows.push_back(row);
            }
        }
        run_all(rows, draw, threads);
        if (!details.empty()) {
            CsvWriter table(details,
                            {{"volume", 0},         {"artery", 0},         {"seed", 0},
                             {"found", 0},          {"error_um", 3},       {"gain_error", 4},
                             {"near_um", 3},        {"far_um", 3},         {"near_depth_mm", 3},
                             {"far_depth_mm", 3},   {"delay_error_mm", 3}, {"delay_std_mm", 3},
                             {"valid_part", 4},     {"quality", 4},        {"near_own_um", 3},
                             {"far_own_um", 3},     {"near_share_um", 1},  {"far_share_um", 1},
                             {"near_tissue_um", 1}, {"far_tissue_um", 1},  {"near_residual", 4},
                             {"far_residual", 4},   {"frequency_mhz", 1},  {"share", 3},
                             {"distension_um", 0},  {"over_tissue_db", 1}, {"snr_db", 1},
                             {"seconds", 3}});
            for (const Row& r : rows) {
                const examples::Score& s = r.score;
                table.row({r.volume ? 1.0 : 0.0,
                           r.kind == LineKind::artery ? 1.0 : 0.0,
                           static_cast<double>(r.seed),
                           r.found ? 1.0 : 0.0,
                           1e6 * s.distension.rms,
                           s.distension.gain_error,
                           1e6 * s.near.rms,
                           1e6 * s.far.rms,
                           1e3 * s.near_depth,
                           1e3 * s.far_depth,
                           1e3 * r.delay_error,
                           1e3 * r.delay_deviation,
                           s.measured > 0
                               ? static_cast<double>(s.valid) / static_cast<double>(s.measured)
                               : 0,
                           r.quality,
                           1e6 * r.near.own_motion,
                           1e6 * r.far.own_motion,
                           1e6 * r.near.pulse_share,
                           1e6 * r.far.pulse_share,
                           1e6 * r.near.tissue_pulse_share,
                           1e6 * r.far.tissue_pulse_share,
                           r.near.residual,
                           r.far.residual,
                           1e-6 * r.frequency,
                           r.share,
                           1e6 * r.distension,
                           r.over_tissue,
                           r.snr,
                           r.seconds});
            }
            table.commit();
        }
        print_summary(rows, false);
        print_summary(rows, true);
        print_depths(rows, false);
        print_depths(rows, true);
        std::size_t false_walls = 0, without = 0;
        for (const Row& row : rows) {
            without += row.kind != LineKind::artery ? 1 : 0;
            false_walls += row.kind != LineKind::artery && row.found ? 1 : 0;
        }
        std::printf(
            "without an artery: %zu recordings, false walls in %zu\n"
            "Synthetic data. Research use: not a medical device, not for diagnosis.\n",
            without, false_walls);
    } catch (const std::exception& problem) {
        std::fprintf(stderr, "wall_study: %s\n", problem.what());
        return 1;
    }
    return 0;
}
