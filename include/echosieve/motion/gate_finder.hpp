// Gates for the customary way, set without a hand: two strong echoes that move against each other.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/scalar.hpp"
#include "echosieve/correlate/sampled.hpp"
#include "echosieve/motion/gated_track.hpp"
#include "echosieve/motion/line.hpp"
#include "echosieve/motion/slow_time.hpp"

namespace echosieve {

// Symbols
//   A(z)  mean envelope over the usable frames;  z_n < z_f two of its strongest maxima
//   u_n, u_f  their displacements, without the part slower than slow_frequency [m]
//   d = u_f - u_n;  sigma_d its standard deviation
//   score = sqrt(A(z_n) A(z_f)) sigma_d
//
// A pair counts if the two move against each other (sum of u_n u_f below 0), if d rises faster than
// it falls, as an artery does (sum of the cubed steps above 0), and if sigma_d is large enough.
// Deliberately plain: tissue that moves with the artery and outshines the wall is taken for it.

struct GateSearchOptions {
    double half_length = 0.6e-3;       ///< of the gates [m]
    double dead_zone = 3.0e-3;         ///< below the first sample where no wall is looked for [m]
    double smallest_diameter = 3e-3;   ///< between the gates' centres [m]
    double largest_diameter = 13e-3;   ///< [m]
    std::size_t candidates = 12;       ///< maxima of the envelope that are tried
    double lowest_peak = 0.1;          ///< of the highest maximum; lower ones are not tried
    double envelope_smoothing = 1e-4;  ///< of A over depth, Gaussian [m]
    double slow_frequency = 0.7;       ///< below it a motion is breathing [Hz]
    double smallest_motion = 15e-6;    ///< least sigma_d [m]
};

inline void validate(const GateSearchOptions& options) {
    require(options.half_length > 0 && is_finite(options.half_length), "half_length",
            options.half_length, "must be positive and finite [m]");
    require(options.dead_zone >= 0, "dead_zone", options.dead_zone, "must be zero or more [m]");
    require(options.smallest_diameter > 0, "smallest_diameter", options.smallest_diameter,
            "must be positive [m]");
    require(options.largest_diameter > options.smallest_diameter, "largest_diameter",
            options.largest_diameter, "must exceed smallest_diameter [m]");
    require(options.candidates >= 2, "candidates", options.candidates, "must be at least 2");
    require(options.lowest_peak >= 0 && options.lowest_peak <= 1, "lowest_peak",
            options.lowest_peak, "must lie in [0, 1]");
    require(options.envelope_smoothing >= 0, "envelope_smoothing", options.envelope_smoothing,
            "must be zero or more [m]");
    require(options.slow_frequency > 0, "slow_frequency", options.slow_frequency,
            "must be positive [Hz]");
    require(options.smallest_motion > 0, "smallest_motion", options.smallest_motion,
            "must be positive [m]");
}

/// Mean of |samples| over the usable frames, per sample; zeros if none is usable.
[[nodiscard]] inline Eigen::ArrayXd mean_envelope(const LineHistory& line) {
    const Eigen::ArrayXd weight = line.weights();
    const double total = std::max(weight.sum(), 1.0);
    Eigen::ArrayXd mean(line.samples.cols());
    for (Eigen::Index k = 0; k < mean.size(); ++k) {
        mean[k] = (line.samples.col(k).abs() * weight).sum() / total;
    }
    return mean;
}

namespace detail {

struct EnvelopePeak {
    double depth = 0;
    double height = 0;
};

// Local maxima whose gates fit into the line below the dead zone, highest first.
[[nodiscard]] inline std::vector<EnvelopePeak> envelope_peaks(const LineHistory& line,
                                                              const GateSearchOptions& options) {
    std::vector<EnvelopePeak> peaks;
    if (line.samples.cols() < 3) {
        return peaks;
    }
    const Eigen::ArrayXd envelope = gaussian_smooth<double>(
        mean_envelope(line), options.envelope_smoothing / (line.depth(1) - line.depth(0)));
    const double top = line.first_depth() + std::max(options.dead_zone, options.half_length);
    const double bottom = line.last_depth() - options.half_length;
    for (Eigen::Index k = 1; k + 1 < envelope.size(); ++k) {
        if (!(envelope[k] > envelope[k - 1] && envelope[k] >= envelope[k + 1])) {
            continue;
        }
        const double offset = parabolic_peak(envelope[k - 1], envelope[k], envelope[k + 1]);
        const double depth = line.depth(static_cast<double>(k) + offset);
        if (depth > top && depth < bottom) {
            peaks.push_back({depth, envelope[k]});
        }
    }
    std::sort(peaks.begin(), peaks.end(),
              [](const EnvelopePeak& a, const EnvelopePeak& b) { return a.height > b.height; });
    while (!peaks.empty() && (peaks.size() > options.candidates ||
                              peaks.back().height < options.lowest_peak * peaks.front().height)) {
        peaks.pop_back();
    }
    return peaks;
}

}  // namespace detail

/// The pair of gates with the highest score, or nothing if no pair counts. Throws InvalidInput for
/// options outside their domain.
[[nodiscard]] inline std::optional<WallGates> find_wall_gates(
    const LineHistory& line, const GateSearchOptions& options = {}) {
    validate(options);
    const auto peaks = detail::envelope_peaks(line, options);
    if (line.frames() < 3) {
        return std::nullopt;
    }
    std::vector<Eigen::ArrayXd> tracks;
    for (const auto& peak : peaks) {
        const WallTrack track = follow_gate(line, {peak.depth, options.half_length});
        tracks.push_back(without_slow_part(track.displacement, options.slow_frequency,
                                           line.settings.frame_rate));
    }
    std::optional<WallGates> best;
    double highest = 0;
    const double smoothing = 6e-3 * line.settings.frame_rate;  // takes the noise off the steps
    for (std::size_t n = 0; n < peaks.size(); ++n) {
        for (std::size_t f = 0; f < peaks.size(); ++f) {
            const double diameter = peaks[f].depth - peaks[n].depth;
            if (diameter < options.smallest_diameter || diameter > options.largest_diameter ||
                (tracks[n] * tracks[f]).sum() >= 0) {
                continue;
            }
            const Eigen::ArrayXd d = gaussian_smooth<double>(tracks[f] - tracks[n], smoothing);
            const double deviation = std::sqrt((d - d.mean()).square().mean());
            const Eigen::Index steps = d.size() - 1;
            const double rises = (d.tail(steps) - d.head(steps)).cube().sum();
            const double score = std::sqrt(peaks[n].height * peaks[f].height) * deviation;
            if (rises > 0 && deviation >= options.smallest_motion && score > highest) {
                highest = score;
                best = WallGates{{peaks[n].depth, options.half_length},
                                 {peaks[f].depth, options.half_length}};
            }
        }
    }
    return best;
}

}  // namespace echosieve
