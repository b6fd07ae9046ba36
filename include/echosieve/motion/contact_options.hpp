// Frames without contact, and frames in which the sensor slips: how they are told. The steps
// themselves, with their symbols: src/motion/line/contact.hpp, slips.hpp.
#pragma once

#include "echosieve/core/detail/api.hpp"
#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

/// A frame without contact has no coherence with the next one.
struct ContactOptions {
    double smoothing = 8e-3;       ///< Gaussian in slow time [s]
    double least_coherence = 0.2;  ///< of the recording's median: below it contact is lost
    double surroundings =
        16e-3;  ///< Gaussian: a frame with a quarter of lost ones around it is lost too [s]
};

ECHOSIEVE_API void validate(const ContactOptions& options);

/// Frames between which the line moves faster than the echoes' phase can be followed.
struct SlipOptions {
    double span = 10e-3;          ///< between the lines compared [s]
    double largest_turn = 1.2;    ///< of the phase from frame to frame that can be followed [rad]
    double largest_shift = 3e-3;  ///< within span that is looked for [m]
    double least_correlation = 0.5;  ///< of the shifted lines
};

inline void validate(const SlipOptions& options) {
    require(options.span > 0 && is_finite(options.span), "span", options.span,
            "must be positive and finite [s]");
    require(options.largest_turn > 0 && is_finite(options.largest_turn), "largest_turn",
            options.largest_turn, "must be positive and finite [rad]");
    require(options.largest_shift > 0 && is_finite(options.largest_shift), "largest_shift",
            options.largest_shift, "must be positive and finite [m]");
    require(options.least_correlation > 0 && options.least_correlation <= 1, "least_correlation",
            options.least_correlation, "must lie in (0, 1]");
    detail::require_at_most(options.span, largest_option::time, "span", "[s]");
    detail::require_at_most(options.largest_turn, largest_option::factor, "largest_turn", "[rad]");
    detail::require_at_most(options.largest_shift, largest_option::length, "largest_shift", "[m]");
}

}  // namespace echosieve
