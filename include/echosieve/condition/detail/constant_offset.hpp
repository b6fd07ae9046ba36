// The constant that all samples of a recording stand off zero by.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/condition/detail/frame_values.hpp"
#include "echosieve/condition/options.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

// A band-pass takes an offset out within the line, but not where the line ends: samples beyond
// count as zero, so an offset is a step there, which is heard as an echo that stands still, and a
// low centre or a wide band lets some of it pass everywhere. Echoes have no mean: what the samples
// have of one is the receiver's, and is taken off before all else.

/// Median over the frames of their means; 0 if it does not count, see OffsetOptions, or if no frame
/// is finite. Throws InvalidInput for options outside their domain.
template <class T>
[[nodiscard]] double constant_offset(const FrameView<T>& frames,
                                     const OffsetOptions& options = {}) {
    validate(options);
    std::vector<double> means;
    std::vector<double> squares;
    for (const std::size_t i : detail::spread_frames(frames, options.max_frames)) {
        const std::span<const T> frame = frames[i];
        const auto x = Eigen::Map<const Eigen::Array<T, Eigen::Dynamic, 1>>(
                           frame.data(), static_cast<Eigen::Index>(frame.size()))
                           .template cast<double>();
        means.push_back(x.mean());
        squares.push_back(x.square().mean());
    }
    const double offset = detail::middle(means);
    // |m| > least rms, rms^2 = mean square - m^2
    const double about = std::max(detail::middle(squares) - offset * offset, 0.0);
    return is_finite(offset) && std::abs(offset) > options.least * std::sqrt(about) ? offset : 0;
}

}  // namespace echosieve
