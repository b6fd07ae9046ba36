// How raw samples become a narrow complex baseband: the options, apart from what computes.
#pragma once

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

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

}  // namespace echosieve
