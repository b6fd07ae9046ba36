// A delay between two noisy frames with its error bar: standard deviation, and the chance that it
// is a period off.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <optional>
#include <span>

#include "echosieve/atoms/fisher_information.hpp"
#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/correlate/cross_correlation.hpp"
#include "echosieve/correlate/delay.hpp"
#include "echosieve/correlate/delay_limits.hpp"

namespace echosieve {

// Symbols (R12, eta as in delay_limits.hpp)
//   I_k   information on the delay in frame k: 1 / (sd of one frame)^2, from integral |dx_k/dt|^2
//   sd    sqrt(1 / I_1 + 1 / I_2)
//   rho   the larger correlation, real part over R12 at the delay, one period later or earlier
//
// The chance of a period is that of cycle_skip_probability, with the mean of both energies and this
// rho: for a single echo the same, for several what they do together.

/// A Delay, and how sure it is.
struct MeasuredDelay {
    Delay delay;
    double deviation = std::numeric_limits<double>::infinity();  ///< least standard deviation [s]
    double cycle_skip_probability = 1;  ///< that the phase zero is a neighbour of the right one,
                                        ///< where no prediction chose it
    bool reliable = false;  ///< usable, and that chance at most the options' limit: above it lies
                            ///< the threshold region, where `deviation` is too small

    [[nodiscard]] bool usable() const noexcept { return delay.usable(); }
};

struct MeasuredDelayOptions {
    DelayOptions delay{};
    double largest_skip_probability = 0.01;
};

inline void validate(const MeasuredDelayOptions& options) {
    validate(options.delay);
    require(options.largest_skip_probability >= 0 && options.largest_skip_probability <= 1,
            "largest_skip_probability", options.largest_skip_probability, "must lie in [0, 1]");
}

/// delay_between of the echoes fitted to two frames, each with `noise`. A prediction `near` [s]
/// chooses the phase zero, and with it the cycle. Throws InvalidInput as delay_between does and for
/// invalid noise.
template <Atom A>
[[nodiscard]] MeasuredDelay measure_delay(std::span<const Echo<A>> x1, std::span<const Echo<A>> x2,
                                          const SampledNoise& noise,
                                          std::optional<double> near = std::nullopt,
                                          const MeasuredDelayOptions& options = {}) {
    validate(options);
    validate(noise);
    MeasuredDelay out;
    out.delay = delay_between(x1, x2, near, options.delay);
    if (!out.usable()) {
        return out;
    }
    // common_delay_limit is that of two frames alike.
    const double d1 = common_delay_limit(x1, noise);
    const double d2 = common_delay_limit(x2, noise);
    out.deviation = std::hypot(d1, d2) / std::numbers::sqrt2;
    const auto correlation = [&](double delay) {
        return cross_correlation(x1, x2, -delay).value.real();
    };
    const double period = 1 / out.delay.frequency;
    const double peak = correlation(out.delay.delay);
    const double beside =
        std::max(correlation(out.delay.delay - period), correlation(out.delay.delay + period));
    const double per_energy = (noise.complex_samples ? 2 : 0.5) * noise.sampling_rate /
                              (noise.deviation * noise.deviation);
    const double mean = per_energy * std::max(peak - beside, 0.0);
    out.cycle_skip_probability = near ? 0 : detail::skip_probability(mean, {});
    out.reliable = out.cycle_skip_probability <= options.largest_skip_probability;
    return out;
}

template <Atom A>
[[nodiscard]] MeasuredDelay measure_delay(const Echo<A>& x1, const Echo<A>& x2,
                                          const SampledNoise& noise,
                                          std::optional<double> near = std::nullopt,
                                          const MeasuredDelayOptions& options = {}) {
    return measure_delay(std::span<const Echo<A>>(&x1, 1), std::span<const Echo<A>>(&x2, 1), noise,
                         near, options);
}

}  // namespace echosieve
