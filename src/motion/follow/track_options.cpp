#include "echosieve/motion/track_options.hpp"

#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

namespace {

// Averages over longer times leave nothing of a pulse [s].
constexpr double longest_averaging = 0.1;

}  // namespace

void validate(const TrackOptions& options) {
    validate(options.baseband);
    validate(options.offset);
    validate(options.settings_check);
    validate(options.frames);
    validate(options.contact);
    validate(options.motion);
    require(options.averaging >= 0, "averaging", options.averaging, "must be zero or more [s]");
    validate(options.walls);
    validate(options.separation);
    validate(options.search);
    validate(options.wall_motion);
    validate(options.echoes);
    validate(options.pulse);
    validate(options.confidence);
    require(options.least_correlation >= 0 && options.least_correlation < 1, "least_correlation",
            options.least_correlation, "must lie in [0, 1)");
    validate(options.smoothing);
    detail::require_at_most(options.averaging, longest_averaging, "averaging", "[s]");
}

}  // namespace echosieve
