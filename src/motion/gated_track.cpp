#include "echosieve/motion/gated_track.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/correlate/sampled.hpp"
#include "echosieve/motion/smoothing.hpp"
#include "motion/compared_tracks.hpp"
#include "motion/follow/smoothing.hpp"
#include "motion/line/line.hpp"
#include "motion/line/plain.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

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

WallTrack follow_gate(const LineHistory& line, const WallGate& gate,
                      const GatedTrackOptions& options) {
    validate(gate);
    validate(options);
    const Eigen::Index frames = line.frames();
    const Eigen::Index samples = line.samples.cols();
    const auto whole = [samples](double place) {
        return held_whole(std::round(place), Eigen::Index{-1}, samples);
    };
    const Eigen::Index first = whole(line.index(gate.depth - gate.half_length));
    const Eigen::Index last = whole(line.index(gate.depth + gate.half_length));
    require(first >= 0 && last < samples, "gate depth", gate.depth,
            detail::concatenate("the gate must lie within ", line.first_depth(), " to ",
                                line.last_depth(), " [m]"));
    const auto count = static_cast<std::size_t>(last - first + 1);
    const double frequency = line.settings.sensor.centre_frequency;
    const double metres_per_sample = line.depth(1) - line.depth(0);

    WallTrack track{Eigen::ArrayXd::Zero(frames), Eigen::ArrayXd::Zero(frames),
                    std::vector<bool>(static_cast<std::size_t>(frames), false)};
    std::vector<std::complex<double>> before(count);
    std::vector<std::complex<double>> now(count);
    Eigen::Index reference = -1;
    double position = 0;
    for (Eigen::Index i = 0; i < frames; ++i) {
        if (!line.usable[static_cast<std::size_t>(i)]) {
            continue;
        }
        if (reference >= 0) {
            const Eigen::Index moved =
                options.follow
                    ? held_whole(std::round(position / metres_per_sample), -first, samples)
                    : Eigen::Index{0};
            const Eigen::Index begin =
                std::clamp<Eigen::Index>(first + moved, 0, samples - (last - first + 1));
            for (std::size_t k = 0; k < count; ++k) {
                before[k] = line.samples(reference, begin + static_cast<Eigen::Index>(k));
                now[k] = line.samples(i, begin + static_cast<Eigen::Index>(k));
            }
            const SampledDelay step =
                phase_delay(std::span<const std::complex<double>>(before),
                            std::span<const std::complex<double>>(now), frequency);
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

WallPairTrack join_walls(const WallTrack& near, double near_depth, const WallTrack& far,
                         double far_depth, const Smoothing& smoothing, double frame_rate) {
    const std::size_t count = near.valid.size();
    WallPairTrack pair;
    pair.valid.resize(count);
    for (std::size_t i = 0; i < count; ++i) {
        pair.valid[i] = near.valid[i] && far.valid[i];
    }
    const auto depths = [&](const WallTrack& wall, double depth) {
        Eigen::ArrayXd x = depth + wall.displacement;
        bridge(x, pair.valid);
        return vector_of(smoothed(x, smoothing, frame_rate));
    };
    pair.near_wall = depths(near, near_depth);
    pair.far_wall = depths(far, far_depth);
    pair.quality = vector_of(near.correlation.min(far.correlation));
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
    return join_walls(near, gates.near.depth - middle(near), far, gates.far.depth - middle(far),
                      options.smoothing, line.settings.frame_rate);
}

WallPairTrack track_gates(const BasebandView& baseband, const std::vector<FrameState>& states,
                          const WallGates& gates, const GatedTrackOptions& options) {
    return track_gates(line_history(baseband, states), gates, options);
}

}  // namespace echosieve
