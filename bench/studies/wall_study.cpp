// wall_study: recordings drawn at random from both simulators, tracked with no hand work and scored
// against the truth; and recordings without an artery, in which nothing may be found.
#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "echosieve/io/csv.hpp"
#include "echosieve/motion/track_artery.hpp"
#include "echosieve/synthesis/random_scene.hpp"
#include "support/command_line.hpp"
#include "support/event_kinds.hpp"
#include "support/options.hpp"
#include "support/parallel.hpp"
#include "support/results.hpp"
#include "support/score.hpp"

namespace {

using namespace echosieve;

// Frames whose quality lies in one tenth of 0 to 1.
struct QualityBin {
    double count = 0, within = 0, quality = 0;
};

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
    WallSigns near_signs{}, far_signs{};
    // over the valid frames: rms standard deviation [m], part within close_motion of the truth
    double near_std = 0, far_std = 0, near_within = 0, far_within = 0;
    // of right walls: valid frames, those with errors within 1 and 1.96 standard deviations
    double right_frames = 0, within_one = 0, within_two = 0;
    std::array<QualityBin, 10> bins{};
};

void count_qualities(Row& row, const ArteryMotion& motion, const examples::MeasuredWalls& measured,
                     const Truth& truth) {
    for (const bool far : {false, true}) {
        const std::vector<double> errors =
            examples::displacement_errors(far ? measured.far : measured.near, truth, far);
        double square = 0, count = 0, within = 0, one = 0, two = 0;
        for (std::size_t i = 0; i < errors.size(); ++i) {
            const FrameMotion& frame = motion.frames[i];
            if (!frame.valid || !std::isfinite(errors[i])) {
                continue;
            }
            const double quality = far ? frame.far_quality : frame.near_quality;
            const double deviation = far ? frame.far_wall_std : frame.near_wall_std;
            const auto bin = static_cast<std::size_t>(std::clamp(10 * quality, 0.0, 9.0));
            row.bins[bin].count += 1;
            row.bins[bin].quality += quality;
            row.bins[bin].within += std::abs(errors[i]) <= examples::close_motion ? 1 : 0;
            within += std::abs(errors[i]) <= examples::close_motion ? 1 : 0;
            square += deviation * deviation;
            count += 1;
            one += std::abs(errors[i]) <= deviation ? 1 : 0;
            two += std::abs(errors[i]) <= 1.959964 * deviation ? 1 : 0;
        }
        (far ? row.far_std : row.near_std) = std::sqrt(square / std::max(count, 1.0));
        (far ? row.far_within : row.near_within) = within / std::max(count, 1.0);
        if (within >= 0.9 * count) {
            row.right_frames += count;
            row.within_one += one;
            row.within_two += two;
        }
    }
}

template <RenderableScene S>
void run(Row& row, const DrawOptions& draw, const TrackOptions& track) {
    const DrawnScene<S> drawn = draw_scene<S>(row.seed, row.kind, draw);
    const SyntheticRecording made = render_drawn<std::int16_t>(drawn);
    row.frequency = drawn.options.settings.sensor.centre_frequency;
    row.share = drawn.options.near_share;
    row.distension = drawn.options.distension;
    row.over_tissue = -drawn.options.clutter_decibels;
    row.snr = drawn.in_band_snr_decibels;
    const auto start = std::chrono::steady_clock::now();
    const ArteryMotion motion = track_artery(made.recording, track);
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
    row.near_signs = wall_signs(motion.near, motion.far);
    row.far_signs = wall_signs(motion.far, motion.near);
    double valid = 0;
    for (const FrameMotion& frame : motion) {
        row.quality += frame.quality;
        valid += frame.valid ? 1 : 0;
    }
    row.quality /= std::max(valid, 1.0);
    if (row.kind == LineKind::artery) {
        const examples::MeasuredWalls measured = examples::measured_walls(motion);
        row.score = examples::score(measured, made.truth);
        count_qualities(row, motion, measured, made.truth);
    }
}

void run_all(std::vector<Row>& rows, const DrawOptions& draw, const TrackOptions& track,
             std::size_t threads) {
    examples::for_each_in_parallel(rows.size(), threads, "studying", [&](std::size_t k) {
        rows[k].volume ? run<VolumeScene>(rows[k], draw, track) : run<Scene>(rows[k], draw, track);
    });
}

// The value below which a part of them lies, the nearest one.
double part_of(std::vector<double> values, double part) {
    if (values.empty()) {
        return std::numeric_limits<double>::quiet_NaN();
    }
    std::sort(values.begin(), values.end());
    return values[static_cast<std::size_t>(
        std::lround(part * static_cast<double>(values.size() - 1)))];
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
    const auto within = [](const std::vector<double>& x) {
        return std::count_if(x.begin(), x.end(), [](double error) { return error <= close; });
    };
    std::printf(
        "%s simulator: depth error of %zu walls against the outer layer [mm], median %.3f, within "
        "0.3 %ld; with the pulse's delay left in %.3f, %ld\n",
        volume ? "volume " : "section", errors.size(), 1e3 * part_of(errors, 0.5),
        static_cast<long>(within(errors)), 1e3 * part_of(before, 0.5),
        static_cast<long>(within(before)));
}

void print_summary(const std::vector<Row>& rows, bool volume) {
    std::vector<double> errors, valid_errors;
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
            valid_errors.push_back(1e6 * row.score.valid_distension.rms);
            worst_ten += error > 10 ? 1 : 0;
            flagged += error > 10 && row.quality < 0.5 ? 1 : 0;
        }
    }
    if (drawn == 0) {
        return;
    }
    const char* name = volume ? "volume " : "section";
    std::printf(
        "%s simulator: %.0f recordings, walls found in %zu; distension error [um rms] median %.2f, "
        "90 %% %.2f, largest %.2f; over 10 um %.0f, of them with quality under 0.5 %.0f; "
        "%.2f s a recording\n",
        name, drawn, errors.size(), part_of(errors, 0.5), part_of(errors, 0.9), part_of(errors, 1),
        worst_ten, flagged, seconds / drawn);
    std::printf(
        "%s simulator: over the valid frames alone [um rms] median %.2f, 90 %% %.2f, largest "
        "%.2f; over 10 um %td\n",
        name, part_of(valid_errors, 0.5), part_of(valid_errors, 0.9), part_of(valid_errors, 1),
        std::ranges::count_if(valid_errors, [](double error) { return error > 10; }));
}

// Whether standard deviations are what they say: 68.3 and 95 % of a normal error.
void print_deviations(const std::vector<Row>& rows) {
    double frames = 0, one = 0, two = 0;
    for (const Row& row : rows) {
        frames += row.right_frames;
        one += row.within_one;
        two += row.within_two;
    }
    if (frames > 0) {
        std::printf(
            "walls with 90 %% of their frames within 20 um: errors within 1 standard deviation "
            "%.1f %%, within 1.96 %.1f %%\n",
            100 * one / frames, 100 * two / frames);
    }
}

// Whether quality is what it says: of the frames with quality q, a part q within 20 um.
void print_calibration(const std::vector<Row>& rows) {
    std::printf("quality of a frame's wall, frames, mean quality, part within 20 um:\n");
    for (std::size_t k = 0; k < 10; ++k) {
        QualityBin sum;
        for (const Row& row : rows) {
            sum.count += row.bins[k].count;
            sum.quality += row.bins[k].quality;
            sum.within += row.bins[k].within;
        }
        if (sum.count > 0) {
            std::printf("  %.1f to %.1f  %8.0f  %.3f  %.3f\n", 0.1 * static_cast<double>(k),
                        0.1 * static_cast<double>(k + 1), sum.count, sum.quality / sum.count,
                        sum.within / sum.count);
        }
    }
}

void write_details(const std::vector<Row>& rows, const std::filesystem::path& file) {
    struct Column {
        const char* name;
        int decimals;
        double (*value)(const Row&);
    };
    const std::vector<Column> columns = {
        {"volume", 0, [](const Row& r) { return r.volume ? 1.0 : 0.0; }},
        {"artery", 0, [](const Row& r) { return r.kind == LineKind::artery ? 1.0 : 0.0; }},
        {"seed", 0, [](const Row& r) { return static_cast<double>(r.seed); }},
        {"found", 0, [](const Row& r) { return r.found ? 1.0 : 0.0; }},
        {"error_um", 3, [](const Row& r) { return 1e6 * r.score.distension.rms; }},
        {"valid_error_um", 3, [](const Row& r) { return 1e6 * r.score.valid_distension.rms; }},
        {"gain_error", 4, [](const Row& r) { return r.score.distension.gain_error; }},
        {"near_um", 3, [](const Row& r) { return 1e6 * r.score.near.rms; }},
        {"far_um", 3, [](const Row& r) { return 1e6 * r.score.far.rms; }},
        {"near_within", 4, [](const Row& r) { return r.near_within; }},
        {"far_within", 4, [](const Row& r) { return r.far_within; }},
        {"near_std_um", 3, [](const Row& r) { return 1e6 * r.near_std; }},
        {"far_std_um", 3, [](const Row& r) { return 1e6 * r.far_std; }},
        {"near_depth_mm", 3, [](const Row& r) { return 1e3 * r.score.near_depth; }},
        {"far_depth_mm", 3, [](const Row& r) { return 1e3 * r.score.far_depth; }},
        {"delay_error_mm", 3, [](const Row& r) { return 1e3 * r.delay_error; }},
        {"delay_std_mm", 3, [](const Row& r) { return 1e3 * r.delay_deviation; }},
        {"valid_part", 4,
         [](const Row& r) {
             return static_cast<double>(r.score.valid) /
                    std::max(static_cast<double>(r.score.measured), 1.0);
         }},
        {"quality", 4, [](const Row& r) { return r.quality; }},
        {"near_own_um", 3, [](const Row& r) { return 1e6 * r.near.own_motion; }},
        {"far_own_um", 3, [](const Row& r) { return 1e6 * r.far.own_motion; }},
        {"near_fast_um", 3, [](const Row& r) { return 1e6 * r.near.fast_motion; }},
        {"far_fast_um", 3, [](const Row& r) { return 1e6 * r.far.fast_motion; }},
        {"near_share_um", 1, [](const Row& r) { return 1e6 * r.near.pulse_share; }},
        {"far_share_um", 1, [](const Row& r) { return 1e6 * r.far.pulse_share; }},
        {"near_share_std_um", 2, [](const Row& r) { return 1e6 * r.near.share_deviation; }},
        {"far_share_std_um", 2, [](const Row& r) { return 1e6 * r.far.share_deviation; }},
        {"near_bulk", 3, [](const Row& r) { return r.near.bulk_share; }},
        {"far_bulk", 3, [](const Row& r) { return r.far.bulk_share; }},
        {"near_evidence", 0, [](const Row& r) { return r.near.evidence; }},
        {"far_evidence", 0, [](const Row& r) { return r.far.evidence; }},
        {"near_residual", 4, [](const Row& r) { return r.near.residual; }},
        {"far_residual", 4, [](const Row& r) { return r.far.residual; }},
        {"near_line_um", 2, [](const Row& r) { return 1e6 * r.near.tissue_line; }},
        {"far_line_um", 2, [](const Row& r) { return 1e6 * r.far.tissue_line; }},
        {"near_confidence", 4, [](const Row& r) { return r.near.confidence; }},
        {"far_confidence", 4, [](const Row& r) { return r.far.confidence; }},
        {"frequency_mhz", 1, [](const Row& r) { return 1e-6 * r.frequency; }},
        {"share", 3, [](const Row& r) { return r.share; }},
        {"distension_um", 0, [](const Row& r) { return 1e6 * r.distension; }},
        {"over_tissue_db", 1, [](const Row& r) { return r.over_tissue; }},
        {"snr_db", 1, [](const Row& r) { return r.snr; }},
        {"seconds", 3, [](const Row& r) { return r.seconds; }}};
    std::vector<CsvColumn> heads;
    for (const Column& column : columns) {
        heads.push_back({column.name, column.decimals});
    }
    std::vector<std::string> signs;  // the heads refer to their names
    for (const char* wall : {"near", "far"}) {
        for (std::size_t k = 0; k < wall_sign_count; ++k) {
            signs.push_back(detail::concatenate(wall, "_sign_", k));
        }
    }
    for (const std::string& sign : signs) {
        heads.push_back({sign, 5});
    }
    CsvWriter table(file, heads);
    for (const Row& row : rows) {
        std::vector<double> values;
        for (const Column& column : columns) {
            values.push_back(column.value(row));
        }
        values.insert(values.end(), row.near_signs.begin(), row.near_signs.end());
        values.insert(values.end(), row.far_signs.begin(), row.far_signs.end());
        table.row(values);
    }
    table.commit();
}

struct Orders {
    std::uint64_t first = 1;
    std::size_t count = 100;
    std::size_t empty = 25;
    std::size_t threads = 1;
    std::string simulator = "both";
    std::string event;
    std::string details;
    DrawOptions draw;
    TrackOptions track;
};

std::vector<Row> rows_of(const Orders& orders) {
    std::vector<Row> rows;
    for (const bool volume : {false, true}) {
        if (orders.simulator != "both" && volume != (orders.simulator == "volume")) {
            continue;
        }
        for (std::size_t k = 0; k < orders.count + orders.empty; ++k) {
            Row row;
            row.volume = volume;
            row.seed = orders.first + k;
            row.kind = k < orders.count              ? LineKind::artery
                       : (k - orders.count) % 2 == 0 ? LineKind::breathing_tissue
                                                     : LineKind::pulsating_tissue;
            rows.push_back(row);
        }
    }
    return rows;
}

void study(const Orders& orders) {
    const std::filesystem::path details = orders.details;
    std::optional<examples::Results> results;
    if (!orders.details.empty()) {
        results.emplace(examples::one_file(details));
    }
    std::vector<Row> rows = rows_of(orders);
    run_all(rows, orders.draw, orders.track, orders.threads);
    if (results) {
        write_details(rows, results->stage(details.filename().string()));
        results->commit();
    }
    print_summary(rows, false);
    print_summary(rows, true);
    print_depths(rows, false);
    print_depths(rows, true);
    print_calibration(rows);
    print_deviations(rows);
    std::size_t false_walls = 0, without = 0;
    for (const Row& row : rows) {
        without += row.kind != LineKind::artery ? 1 : 0;
        false_walls += row.kind != LineKind::artery && row.found ? 1 : 0;
    }
    std::printf("without an artery: %zu recordings, false walls in %zu\nSynthetic data. %s\n",
                without, false_walls, examples::notice);
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line(
        "wall_study",
        "Tracks recordings drawn at random from both simulators and scores them against the "
        "truth.");
    Orders orders;
    constexpr examples::CountLimits recordings{.least = 0, .most = 1'000'000};  // weeks of work
    CLI::App& app = line.app();
    examples::add_count(app, "--first", orders.first, {.least = 0},
                        "Number of the first recording");
    examples::add_count(app, "--recordings", orders.count, recordings,
                        "With an artery, per simulator");
    examples::add_count(app, "--without-artery", orders.empty, recordings,
                        "Without one, per simulator");
    app.add_option("--simulator", orders.simulator, "Which one")
        ->check(CLI::IsMember({"section", "volume", "both"}))
        ->capture_default_str();
    examples::add_number(
        app, "--seconds",
        [&](double seconds) {
            constexpr double longest = 60;  // a recording is tracked as a whole
            require(seconds > 0 && seconds <= longest, "--seconds", seconds,
                    detail::concatenate("must lie in (0, ", longest, "] [s]"));
            orders.draw.duration = seconds;
        },
        "Length of a recording [s]")
        ->default_str(detail::concatenate(orders.draw.duration));
    examples::add_number(app, "--event-probability", orders.draw.event_probability,
                         "Of each kind of event");
    app.add_option("--event", orders.event,
                   "The one kind of event that happens, in every recording")
        ->check(CLI::IsMember(examples::event_kinds()));
    examples::add_number(app, "--least-confidence", orders.track.confidence.least_confidence,
                         "Of each wall; 0 to calibrate the confidence anew");
    examples::add_count(app, "--threads", orders.threads, {.most = examples::most_threads},
                        "Recordings worked on at once");
    app.add_option("--details", orders.details, "CSV file with a row a recording");
    return line.run(argc, argv, [&] {
        if (!orders.event.empty()) {
            orders.draw.only_event = examples::event_kinds().at(orders.event);
        }
        study(orders);
        return 0;
    });
}
