#include "baselines/gate_finder.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <vector>

#include "baselines/gated_track.hpp"
#include "baselines/on_lines.hpp"
#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/correlate/sampled.hpp"
#include "motion/line/line.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve::baselines {

void validate(const GateSearchOptions& options) {
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
    detail::require_at_most(options.half_length, largest_option::length, "half_length", "[m]");
    detail::require_at_most(options.dead_zone, largest_option::length, "dead_zone", "[m]");
    detail::require_at_most(options.largest_diameter, largest_option::length, "largest_diameter",
                            "[m]");
    detail::require_at_most(options.envelope_smoothing, largest_option::length,
                            "envelope_smoothing", "[m]");
    detail::require_at_most(options.slow_frequency, largest_option::frequency, "slow_frequency",
                            "[Hz]");
    detail::require_at_most(options.smallest_motion, largest_option::length, "smallest_motion",
                            "[m]");
}

Eigen::ArrayXd mean_envelope(const LineHistory& line) {
    const Eigen::ArrayXd weight = line.weights();
    const double total = std::max(weight.sum(), 1.0);
    Eigen::ArrayXd mean(line.samples.cols());
    for (Eigen::Index k = 0; k < mean.size(); ++k) {
        mean[k] = (line.samples.col(k).abs() * weight).sum() / total;
    }
    return mean;
}

std::vector<EnvelopePeak> envelope_peaks(const LineHistory& line,
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

namespace {

// The displacement of each peak's gate, without its slow part.
std::vector<Eigen::ArrayXd> quick_tracks(const LineHistory& line,
                                         const std::vector<EnvelopePeak>& peaks,
                                         const GateSearchOptions& options) {
    std::vector<Eigen::ArrayXd> tracks;
    for (const auto& peak : peaks) {
        const WallTrack track = follow_gate(line, {peak.depth, options.half_length});
        tracks.push_back(without_slow_part(track.displacement, options.slow_frequency,
                                           line.settings.frame_rate));
    }
    return tracks;
}

}  // namespace

std::optional<WallGates> find_wall_gates(const LineHistory& line,
                                         const GateSearchOptions& options) {
    validate(options);
    const auto peaks = envelope_peaks(line, options);
    if (line.frames() < 3) {
        return std::nullopt;
    }
    const std::vector<Eigen::ArrayXd> tracks = quick_tracks(line, peaks, options);
    constexpr double step_smoothing = 6e-3;  // takes the noise off the steps [s]
    const double smoothing = step_smoothing * line.settings.frame_rate;
    std::optional<WallGates> best;
    double highest = 0;
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

std::optional<WallGates> find_wall_gates(const BasebandView& baseband,
                                         const std::vector<FrameState>& states,
                                         const GateSearchOptions& options) {
    return find_wall_gates(line_history(baseband, states), options);
}

}  // namespace echosieve::baselines
