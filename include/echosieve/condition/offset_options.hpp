// When the constant that samples stand off zero by counts: the options, apart from what computes.
#pragma once

#include <cstddef>

#include "echosieve/core/error.hpp"

namespace echosieve {

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

}  // namespace echosieve
