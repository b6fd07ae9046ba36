// What conditioning a recording takes and gives, as plain structs: options, views and states,
// apart from what computes. Never includes Eigen.
#pragma once

#include <algorithm>
#include <complex>
#include <cstddef>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

struct BasebandOptions {
    double cutoff = 1.1;  ///< of the low-pass, in sensor bandwidths to each side of the centre
    double rate = 3.6;    ///< lowest rate of the result, in sensor bandwidths
    /// taken off every sample before all else, see constant_offset.hpp [counts]
    double offset = 0;
};

inline void validate(const BasebandOptions& options) {
    require(options.cutoff > 0 && is_finite(options.cutoff), "cutoff", options.cutoff,
            "must be positive and finite [sensor bandwidths]");
    require(options.rate > 2 * options.cutoff && is_finite(options.rate), "rate", options.rate,
            "must be finite and exceed twice the cutoff [sensor bandwidths]");
    require(is_finite(options.offset), "offset", options.offset, "must be finite [counts]");
}

/// Baseband<double> (condition/baseband.hpp) converts into it, and must outlive it. Laid out alike
/// whatever the compiler's flags.
struct BasebandView {
    std::span<const std::complex<double>> samples;  ///< [frames x grid.count], frame by frame
    SamplingGrid grid;                              ///< fast time of the samples
    RecordingSettings settings;                     ///< of the recording that it was made from

    /// 0 where the grid has no samples.
    [[nodiscard]] constexpr std::size_t frames() const noexcept {
        return grid.count > 0 ? samples.size() / grid.count : 0;
    }
    /// The frames first .. first + count - 1.
    [[nodiscard]] BasebandView part(std::size_t first, std::size_t count) const noexcept {
        return {samples.subspan(first * grid.count, count * grid.count), grid, settings};
    }
};

/// Throws InvalidInput unless the samples are whole frames.
inline void validate(const BasebandView& baseband) {
    const std::size_t whole = baseband.frames() * baseband.grid.count;
    require(baseband.samples.size() == whole, "number of baseband samples", baseband.samples.size(),
            detail::concatenate("must be whole frames of ", baseband.grid.count));
}

struct OffsetOptions {
    /// of the samples' rms about it, for an offset to count: the ring-down and the echoes of a wide
    /// band have a mean of up to 0.012 (200 drawn recordings), which does no harm
    double least = 0.02;
    std::size_t max_frames = 64;  ///< looked at, evenly spread
};

inline void validate(const OffsetOptions& options) {
    require(options.least >= 0, "least", options.least, "must be zero or more");
    require(options.max_frames >= 1, "max_frames", options.max_frames, "must be at least 1");
}

enum class FrameState : unsigned char {
    good,
    dropped,  ///< e_i = 0, e_i * energy_range < median e, e_i > energy_range * median e, or both
              ///< r_i < least_correlation * m and r_i < m - deviations * d; or frozen from such a
              ///< frame
    frozen,   ///< sample for sample the frame before, which is not dropped
    clipped,  ///< more than clipped_fraction of its samples are pinned at the recording's extremes
    not_finite  ///< holds a NaN or an infinity
};

/// Each neighbour costs as much as the next: more of them are no neighbours.
inline constexpr int most_neighbours = 100;

struct FrameCheckOptions {
    double least_correlation = 0.5;  ///< with the neighbours, relative to the recording's median
    double deviations = 5;           ///< below the median, for noise's own scatter of r
    double energy_range =
        9;               ///< largest factor between a frame's energy and the median, either way
    int neighbours = 3;  ///< looked at on each side
    double clipped_fraction = 0.005;  ///< of a frame's samples, see FrameState::clipped
    double saturated_part =
        0.05;  ///< samples pinned in this part of the frames or more are the ring-down
};

inline void validate(const FrameCheckOptions& options) {
    require(options.least_correlation >= 0 && options.least_correlation < 1, "least_correlation",
            options.least_correlation, "must lie in [0, 1)");
    require(options.deviations >= 0 && is_finite(options.deviations), "deviations",
            options.deviations, "must be zero or more and finite");
    require(options.energy_range > 1, "energy_range", options.energy_range, "must exceed 1");
    require(is_finite(options.energy_range), "energy_range", options.energy_range,
            "must be finite");
    require(options.neighbours >= 1 && options.neighbours <= most_neighbours, "neighbours",
            options.neighbours, detail::concatenate("must lie in [1, ", most_neighbours, "]"));
    require(options.clipped_fraction > 0, "clipped_fraction", options.clipped_fraction,
            "must be positive");
    require(options.saturated_part > 0, "saturated_part", options.saturated_part,
            "must be positive");
}

/// How many frames are in each state.
struct FrameCounts {
    std::size_t good = 0;
    std::size_t dropped = 0;
    std::size_t frozen = 0;
    std::size_t clipped = 0;
    std::size_t not_finite = 0;
};

[[nodiscard]] inline FrameCounts count_states(std::span<const FrameState> states) {
    const auto number = [&](FrameState state) {
        return static_cast<std::size_t>(std::count(states.begin(), states.end(), state));
    };
    return {number(FrameState::good), number(FrameState::dropped), number(FrameState::frozen),
            number(FrameState::clipped), number(FrameState::not_finite)};
}

// What is contradicted lowers the trust in all that is computed with the settings; what is only
// unusual is said, and lowers nothing. A quantity that the samples don't show surely enough (no
// band above the noise, too few samples) contradicts nothing.
//
// The limits stand clear of what the two simulators draw (seeds 1 to 120 of both and tissue without
// an artery, 306 recordings, each event with a chance of 0.1): the echoes' centre lies at 0.92 to
// 1.02 of the sensor's, since tissue takes more from high frequencies than from low ones, their
// bandwidth at 0.39 to 1.5 of its.

struct SettingsCheckOptions {
    double lowest_centre = 0.8;    ///< of the echoes, over the settings'
    double highest_centre = 1.15;  ///< nothing makes echoes of a higher frequency than was sent
    double narrowest = 0.25;       ///< bandwidth of the echoes, over the settings'
    double widest = 2;
    double deviations = 5;            ///< by which an estimate must miss the settings' value
    double largest_repetition = 0.1;  ///< part of the frames that are the frame before once more
    double least_counts =
        4;  ///< rms of whole numbers: below it their rounding is as strong as noise
    double least_likeness =
        4;  ///< how much less samples change than frames, for a transposed array
    double contradicted = 0.2;    ///< factor of the trust for each setting that is contradicted
    std::size_t max_frames = 16;  ///< looked at for the spectrum, evenly spread
};

inline void validate(const SettingsCheckOptions& options) {
    const auto within = [](double x, double low, double high, std::string_view name) {
        require(x >= low && x <= high, name, x,
                detail::concatenate("must lie in [", low, ", ", high, "]"));
    };
    within(options.lowest_centre, 0, 1, "lowest_centre");
    within(options.highest_centre, 1, 1e3, "highest_centre");
    within(options.narrowest, 0, 1, "narrowest");
    within(options.widest, 1, 1e3, "widest");
    within(options.deviations, 0, 1e3, "deviations");
    within(options.largest_repetition, 0, 1, "largest_repetition");
    within(options.least_counts, 0, 1e6, "least_counts");
    within(options.least_likeness, 1, 1e6, "least_likeness");
    within(options.contradicted, 0, 1, "contradicted");
    require(options.max_frames >= 1, "max_frames", options.max_frames, "must be at least 1");
}

/// What was found: a sentence each, and by which factor qualities are lowered for it.
struct SettingsCheck {
    std::vector<std::string> warnings;
    double trust = 1;       ///< 1 if nothing is contradicted
    bool band_seen = true;  ///< false: no band of echoes stands out of the noise

    void add(std::string warning, double factor) {
        warnings.push_back(std::move(warning));
        trust *= factor;
    }
};

}  // namespace echosieve
