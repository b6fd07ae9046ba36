// Frames of complex baseband in memory that somebody else owns: what compiled functions take.
#pragma once

#include <complex>
#include <cstddef>
#include <span>

#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

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

}  // namespace echosieve
