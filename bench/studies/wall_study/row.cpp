#include "row.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>

#include "echosieve/synthesis/render.hpp"

namespace wall_study {
namespace {

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

}  // namespace

void study_recording(Row& row, const DrawOptions& draw, const TrackOptions& track) {
    switch (row.simulator) {
        case Simulator::section:
            return run<Scene>(row, draw, track);
        case Simulator::volume:
            return run<VolumeScene>(row, draw, track);
        case Simulator::layered:
            return run<LayeredScene>(row, draw, track);
    }
}

}  // namespace wall_study
