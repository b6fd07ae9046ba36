#include "row.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>

#include "echosieve/synthesis/render.hpp"
#include "effects.hpp"

namespace wall_study {
namespace {

void judge_wall(Row& row, const ArteryMotion& motion, const std::vector<double>& errors, bool far) {
    WallErrors& wall = far ? row.far_errors : row.near_errors;
    double within = 0;
    for (std::size_t i = 0; i < errors.size(); ++i) {
        if (!std::isfinite(errors[i])) {
            continue;
        }
        const FrameMotion& frame = motion.frames[i];
        const double quality = far ? frame.far_quality : frame.near_quality;
        const double close = std::abs(errors[i]) <= examples::close_motion ? 1 : 0;
        QualityBin& bin = row.bins[static_cast<std::size_t>(std::clamp(10 * quality, 0.0, 9.0))];
        bin.count += 1;
        bin.quality += quality;
        bin.within += close;
        within += close;
        wall.coverage.add(errors[i], far ? frame.far_wall_std : frame.near_wall_std);
    }
    wall.within = within / std::max(wall.coverage.count, 1.0);
}

void judge(Row& row, const ArteryMotion& motion, const examples::MeasuredWalls& measured,
           const Truth& truth) {
    // Of the valid frames alone.
    const auto valid = [&](std::vector<double> errors) {
        for (std::size_t i = 0; i < errors.size(); ++i) {
            errors[i] = motion.frames[i].valid ? errors[i] : std::nan("");
        }
        return errors;
    };
    for (const bool far : {false, true}) {
        const std::vector<double> errors =
            valid(examples::displacement_errors(far ? measured.far : measured.near, truth, far));
        judge_wall(row, motion, errors, far);
        (far ? row.far_errors : row.near_errors).parts = examples::error_parts(errors, truth);
    }
    const std::vector<double> errors = valid(examples::distension_errors(measured, truth));
    for (std::size_t i = 0; i < errors.size(); ++i) {
        if (std::isfinite(errors[i])) {
            row.distension_coverage.add(errors[i], motion.frames[i].diameter_std);
        }
    }
}

template <RenderableScene S>
void run(Row& row, const DrawnScene<S>& drawn, const TrackOptions& track) {
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
        judge(row, motion, measured, made.truth);
    }
}

}  // namespace

void Coverage::add(double error, double deviation) {
    constexpr double normal_95 = 1.959964;
    count += 1;
    one += std::abs(error) <= deviation ? 1 : 0;
    two += std::abs(error) <= normal_95 * deviation ? 1 : 0;
    square += deviation * deviation;
}

double Coverage::deviation() const {
    return std::sqrt(square / std::max(count, 1.0));
}

bool flagged(const Row& row) {
    constexpr double doubtful = 0.5;
    constexpr double two_deviations = 1.959964;
    return row.quality < doubtful ||
           two_deviations * row.distension_coverage.deviation() > large_error;
}

void study_recording(Row& row, const DrawOptions& draw, const TrackOptions& track,
                     const std::vector<std::string>& without) {
    switch (row.simulator) {
        case Simulator::section:
            return run(row, draw_scene<Scene>(row.seed, row.kind, draw), track);
        case Simulator::volume:
            return run(row, draw_scene<VolumeScene>(row.seed, row.kind, draw), track);
        case Simulator::layered: {
            DrawnScene<LayeredScene> drawn = draw_scene<LayeredScene>(row.seed, row.kind, draw);
            switch_off(without, drawn.options);
            return run(row, drawn, track);
        }
    }
}

}  // namespace wall_study
