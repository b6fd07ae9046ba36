#include "row.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <concepts>
#include <cstddef>

#include "echosieve/synthesis/render.hpp"
#include "effects.hpp"
#include "support/sensor_size.hpp"

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

Levels levels_of(const ArteryMotion& motion, const Truth& truth) {
    Levels out;
    double valid = 0;
    for (std::size_t i = 0; i < motion.frames.size(); ++i) {
        const FrameMotion& frame = motion.frames[i];
        if (!frame.valid || truth.dropped[i]) {
            continue;
        }
        const WallDepths& walls = truth.walls[i];
        const bool inner = motion.layer == WallLayer::inner;
        const double near = frame.near_wall - (inner ? walls.near_inner : walls.near_outer);
        const double far = frame.far_wall - (inner ? walls.far_inner : walls.far_outer);
        valid += 1;  // running means
        out.near.error += (near - out.near.error) / valid;
        out.far.error += (far - out.far.error) / valid;
    }
    out.diameter = {out.far.error - out.near.error, motion.diameter_level_std};
    out.near.deviation = motion.near.depth_std;
    out.far.deviation = motion.far.depth_std;
    return out;
}

template <RenderableScene S>
void run(Row& row, const DrawnScene<S>& drawn, const TrackOptions& track, bool sensor_size) {
    SyntheticRecording made = render_drawn<std::int16_t>(drawn);
    if (sensor_size) {
        examples::note_sensor_size(drawn.options, made.recording.settings.sensor);
    }
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
    if constexpr (std::same_as<S, LayeredScene>) {
        if (row.kind == LineKind::artery && row.found) {
            row.bound = layered_bound(S(drawn.options, drawn.seed), drawn.seed);
        }
    }
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
        row.levels = levels_of(motion, made.truth);
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
                     const Changes& changes) {
    const bool size = changes.sensor_size;
    switch (row.simulator) {
        case Simulator::section:
            return run(row, draw_scene<Scene>(row.seed, row.kind, draw), track, size);
        case Simulator::volume:
            return run(row, draw_scene<VolumeScene>(row.seed, row.kind, draw), track, size);
        case Simulator::layered: {
            DrawnScene<LayeredScene> drawn = draw_scene<LayeredScene>(row.seed, row.kind, draw);
            switch_off(changes.without, drawn.options);
            return run(row, drawn, track, size);
        }
    }
}

}  // namespace wall_study
