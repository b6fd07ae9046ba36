// The constant that all samples of a recording stand off zero by.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/core/scalar.hpp"

namespace echosieve {

// A band-pass takes an offset out within the line, but not where the line ends: samples beyond
// count as zero, so an offset is a step there, which is heard as an echo that stands still, and a
// low centre or a wide band lets some of it pass everywhere. Echoes have no mean: what the samples
// have of one is the receiver's, and is taken off before all else.

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

/// Median over the frames of their means; 0 if it does not count, see OffsetOptions, or if no frame
/// is finite. Throws InvalidInput for options outside their domain.
template <class T>
[[nodiscard]] double constant_offset(const FrameView<T>& frames,
                                     const OffsetOptions& options = {}) {
    validate(options);
    std::vector<double> means;
    std::vector<double> squares;
    const std::size_t wanted =
        frames.samples() > 0 ? std::min(options.max_frames, frames.frames()) : 0;
    for (std::size_t n = 0; n < wanted; ++n) {
        const std::span<const T> frame = frames[n * frames.frames() / wanted];
        if (detail::all_finite(frame)) {
            const auto x = Eigen::Map<const Eigen::Array<T, Eigen::Dynamic, 1>>(
                               frame.data(), static_cast<Eigen::Index>(frame.size()))
                               .template cast<double>();
            means.push_back(x.mean());
            squares.push_back(x.square().mean());
        }
    }
    const double offset = detail::middle(means);
    // |m| > least rms, rms^2 = mean square - m^2
    const double about = std::max(detail::middle(squares) - offset * offset, 0.0);
    return is_finite(offset) && std::abs(offset) > options.least * std::sqrt(about) ? offset : 0;
}

}  // namespace echosieve
