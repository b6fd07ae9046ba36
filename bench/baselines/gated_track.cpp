#include "baselines/gated_track.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "baselines/on_lines.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/correlate/sampled.hpp"
#include "echosieve/motion/smoothing.hpp"
#include "motion/follow/smoothing.hpp"
#include "motion/line/line.hpp"
#include "motion/line/plain.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve::baselines {

void validate(const WallGate& gate) {
    require(is_finite(gate.depth), "gate depth", gate.depth, "must be finite [m]");
    require(gate.half_length > 0 && is_finite(gate.half_length), "gate half_length",
            gate.half_length, "must be positive and finite [m]");
}

void validate(const WallGates& gates) {
    validate(gates.near);
    validate(gates.far);
    require(gates.far.depth > gates.near.depth, "far gate depth", gates.far.depth,
            detail::concatenate("must exceed the near gate's, ", gates.near.depth, " [m]"));
}

void validate(const GatedTrackOptions& options) {
    validate(options.smoothing);
}

namespace {

// The samples of a gate that moves along, within the line.
struct SampleGate {
    Eigen::Index first = 0;
    Eigen::Index count = 0;

    SampleGate(const LineHistory& line, const WallGate& gate) {
        const Eigen::Index samples = line.samples.cols();
        const auto whole = [samples](double place) {
            return held_whole(std::round(place), Eigen::Index{-1}, samples);
        };
        first = whole(line.index(gate.depth - gate.half_length));
        const Eigen::Index last = whole(line.index(gate.depth + gate.half_length));
        require(first >= 0 && last < samples, "gate depth", gate.depth,
                detail::concatenate("the gate must lie within ", line.first_depth(), " to ",
                                    line.last_depth(), " [m]"));
        count = last - first + 1;
    }
    // The first one, the gate moved by `by` samples.
    [[nodiscard]] Eigen::Index begin(const LineHistory& line, double by) const {
        const Eigen::Index samples = line.samples.cols();
        return std::clamp<Eigen::Index>(first + held_whole(std::round(by), -first, samples), 0,
                                        samples - count);
    }
};

void copy_gate(const LineHistory& line, Eigen::Index frame, Eigen::Index begin,
               std::vector<std::complex<double>>& samples) {
    for (std::size_t k = 0; k < samples.size(); ++k) {
        samples[k] = line.samples(frame, begin + static_cast<Eigen::Index>(k));
    }
}

}  // namespace

WallTrack follow_gate(const LineHistory& line, const WallGate& gate,
                      const GatedTrackOptions& options) {
    validate(gate);
    validate(options);
    const SampleGate part(line, gate);
    const double metres_per_sample = line.depth(1) - line.depth(0);
    WallTrack track(line.frames());
    std::vector<std::complex<double>> before(static_cast<std::size_t>(part.count));
    std::vector<std::complex<double>> now = before;
    Eigen::Index reference = -1;
    double position = 0;
    for (Eigen::Index i = 0; i < line.frames(); ++i) {
        if (!line.usable[static_cast<std::size_t>(i)]) {
            continue;
        }
        if (reference >= 0) {
            const Eigen::Index begin =
                part.begin(line, options.follow ? position / metres_per_sample : 0);
            copy_gate(line, reference, begin, before);
            copy_gate(line, i, begin, now);
            const SampledDelay step = phase_delay(std::span<const std::complex<double>>(before),
                                                  std::span<const std::complex<double>>(now),
                                                  line.settings.sensor.centre_frequency);
            if (!step.usable()) {
                continue;  // silent in the gate: the next frame is compared with the last good one
            }
            position += line.settings.depth(step.delay);
            track.correlation[i] = step.correlation;
        } else {
            track.correlation[i] = 1;
        }
        reference = i;
        track.displacement[i] = position;
        track.valid[static_cast<std::size_t>(i)] = true;
    }
    bridge(track.displacement, track.valid);
    return track;
}

WallPairTrack join_walls(const PlacedTrack& near, const PlacedTrack& far,
                         const Smoothing& smoothing, double frame_rate) {
    const std::size_t count = near.track.valid.size();
    WallPairTrack pair;
    pair.valid.resize(count);
    for (std::size_t i = 0; i < count; ++i) {
        pair.valid[i] = near.track.valid[i] && far.track.valid[i];
    }
    const auto depths = [&](const PlacedTrack& wall) {
        Eigen::ArrayXd x = wall.depth + wall.track.displacement;
        bridge(x, pair.valid);
        return vector_of(smoothed(x, smoothing, frame_rate));
    };
    pair.near_wall = depths(near);
    pair.far_wall = depths(far);
    pair.quality = vector_of(near.track.correlation.min(far.track.correlation));
    for (std::size_t i = 0; i < count; ++i) {
        if (!pair.valid[i]) {
            pair.quality[i] = 0;
        }
    }
    return pair;
}

WallPairTrack track_gates(const LineHistory& line, const WallGates& gates,
                          const GatedTrackOptions& options) {
    validate(gates);
    const WallTrack near = follow_gate(line, gates.near, options);
    const WallTrack far = follow_gate(line, gates.far, options);
    const auto middle = [](const WallTrack& wall) {
        return wall.displacement.size() > 0 ? wall.displacement.mean() : 0.0;
    };
    return join_walls({near, gates.near.depth - middle(near)}, {far, gates.far.depth - middle(far)},
                      options.smoothing, line.settings.frame_rate);
}

WallPairTrack track_gates(const BasebandView& baseband, const std::vector<FrameState>& states,
                          const WallGates& gates, const GatedTrackOptions& options) {
    return track_gates(line_history(baseband, states), gates, options);
}

}  // namespace echosieve::baselines
