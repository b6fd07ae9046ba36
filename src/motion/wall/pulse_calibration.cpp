#include "echosieve/motion/pulse_delay.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <utility>
#include <variant>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/error.hpp"
#include "motion/line/gate_spectrum.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/recording_check.hpp"

namespace echosieve {

void validate(const PulseCalibrationOptions& options) {
    validate(options.baseband);
    require(options.reach > 0 && options.reach <= longest_pulse_delay, "reach", options.reach,
            "must lie in (0, 10] [1 / bandwidth]");
    require(options.least_peak >= 1, "least_peak", options.least_peak, "must be at least 1");
}

namespace {

constexpr Eigen::Index peak_steps = 16;  // between samples; a parabola does the rest
// Of the gate's window: what it cuts lies beyond the reach.
constexpr double calibration_taper = 0.3;

struct Peak {
    double depth = 0;
    double energy = 0;
    bool inside = false;  // not at the end of the reach
};

// The largest energy within `reach` [m] of `depth`, between samples by a parabola.
Peak highest_peak(const GateSpectrum& gate, const Eigen::ArrayXXcd& values, double depth,
                  double reach, const RecordingSettings& settings) {
    const Eigen::ArrayXd energy = gate_samples(gate, values, peak_steps).row(0).abs2().transpose();
    const double step = settings.depth(gate.grid.step()) / static_cast<double>(peak_steps);
    const double start = settings.depth(gate.grid.start_time);
    Peak peak;
    Eigen::Index at = -1;
    for (Eigen::Index k = 1; k + 1 < energy.size(); ++k) {
        const double z = start + step * static_cast<double>(k);
        if (std::abs(z - depth) <= reach && energy[k] > peak.energy) {
            peak.energy = energy[k];
            at = k;
        }
    }
    if (at > 0) {
        const double before = energy[at - 1];
        const double after = energy[at + 1];
        peak.inside = before <= peak.energy && after <= peak.energy;
        const double bend = before - 2 * peak.energy + after;
        const double part = peak.inside && bend < 0 ? (before - after) / (2 * bend) : 0;
        peak.depth = start + step * (static_cast<double>(at) + part);
    }
    return peak;
}

// A recording's frames that can be used, below their mean.
struct MeanAndFrames {
    LineHistory line;  ///< the first row is the mean
    Eigen::Index frames = 0;
};

MeanAndFrames used_frames(const Recording& recording, const BasebandOptions& options) {
    const RecordingSettings& settings = recording.settings;
    const auto [baseband, states] = std::visit(
        [&](const auto& frames) {
            validate(settings);
            BasebandOptions own = options;
            own.offset = settled_offset(frames.view(), settings, own, OffsetOptions{});
            Baseband<double> y = to_baseband<double>(frames.view(), settings, own);
            std::vector<FrameState> checked = check_frames(frames.view(), y);
            return std::pair(std::move(y), std::move(checked));
        },
        recording.samples);
    MeanAndFrames out;
    LineHistory& line = out.line;
    line.grid = baseband.grid;
    line.settings = settings;
    line.samples.resize(baseband.samples.rows() + 1, baseband.samples.cols());
    for (std::size_t i = 0; i < states.size(); ++i) {
        // A still reflector gives the same frame again and again: a frozen frame is a good one.
        if (states[i] == FrameState::good || states[i] == FrameState::frozen) {
            line.samples.row(++out.frames) = baseband.samples.row(static_cast<Eigen::Index>(i));
        }
    }
    line.samples.conservativeResize(out.frames + 1, Eigen::NoChange);
    if (out.frames > 0) {
        line.samples.row(0) = line.samples.bottomRows(out.frames).colwise().mean();
    }
    return out;
}

// Energy of the mean frame's samples, in the median.
double median_energy(const LineHistory& line) {
    Eigen::ArrayXd along = line.samples.row(0).abs2().transpose();
    std::nth_element(along.begin(), along.begin() + along.size() / 2, along.end());
    return along[along.size() / 2];
}

}  // namespace

PulseCalibration calibrate_pulse_delay(const Recording& recording, double depth,
                                       const PulseCalibrationOptions& options) {
    validate(options);
    const RecordingSettings& settings = recording.settings;
    const auto [line, frames] = used_frames(recording, options.baseband);
    PulseCalibration out;
    out.frames = static_cast<std::size_t>(frames);
    const double reach = settings.depth(options.reach / settings.sensor.bandwidth);
    require(depth - reach >= line.first_depth() && depth + reach <= line.last_depth(), "depth",
            depth,
            detail::concatenate("must lie ", reach, " inside the line, ", line.first_depth(),
                                " to ", line.last_depth(), " [m]"));
    if (out.frames == 0) {
        return out;
    }
    const GateSpectrum gate =
        gate_spectrum(line, depth, 2 * reach, GateWindow{.taper = calibration_taper});
    const Peak peak = highest_peak(gate, gate.values.row(0), depth, reach, settings);
    const double median = median_energy(line);
    out.peak = median > 0 ? peak.energy / median : std::numeric_limits<double>::max();
    out.delay = settings.arrival(peak.depth - depth);
    if (!(peak.energy > 0) || out.peak < options.least_peak) {
        out.status = CalibrationStatus::no_echo;
        return out;
    }
    out.status = peak.inside ? CalibrationStatus::measured : CalibrationStatus::out_of_reach;
    double square = 0;
    for (Eigen::Index i = 1; i <= frames; ++i) {
        const Peak one = highest_peak(gate, gate.values.row(i), depth, reach, settings);
        square += std::pow(settings.arrival(one.depth - peak.depth), 2);
    }
    const auto n = static_cast<double>(frames);
    out.deviation = n > 1 ? std::sqrt(square / (n - 1) / n) : 0;
    return out;
}

}  // namespace echosieve
