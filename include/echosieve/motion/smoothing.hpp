// How displacements are smoothed along frames: policies to choose from, or a callable of the user's
// own. Link echosieve::motion.
#pragma once

#include <algorithm>
#include <cmath>
#include <concepts>
#include <cstddef>
#include <numbers>
#include <span>
#include <variant>
#include <vector>

#include "echosieve/core/detail/api.hpp"

namespace echosieve {

/// A smoother takes displacements [m] and the frame rate [Hz], and gives as many displacements
/// back.
template <class S>
concept Smoother =
    requires(const S& smoother, std::span<const double> displacement, double frame_rate) {
        { smoother(displacement, frame_rate) } -> std::convertible_to<std::vector<double>>;
        { smoother.noise_gain(frame_rate) } -> std::convertible_to<double>;
    };

/// Leaves the frames as they are.
struct NoSmoothing {
    [[nodiscard]] std::vector<double> operator()(std::span<const double> x, double) const {
        return {x.begin(), x.end()};
    }
    /// Standard deviation of smoothed white noise over that of the noise.
    [[nodiscard]] double noise_gain(double) const noexcept { return 1; }
};

/// Mean over a number of frames. 30 frames at 1 kHz is the customary choice in wall tracking
/// (common practice, no source); it rounds the upstroke: a 15 Hz motion keeps 70 % of its size.
struct MovingAverage {
    std::ptrdiff_t frames = 30;

    [[nodiscard]] ECHOSIEVE_API std::vector<double> operator()(std::span<const double> x,
                                                               double frame_rate) const;
    [[nodiscard]] double noise_gain(double) const noexcept {
        return 1 / std::sqrt(static_cast<double>(frames));
    }
};

/// Gaussian of standard deviation `sigma` [s]: 3 ms keeps 98 % of a 10 Hz motion.
struct GaussianSmoothing {
    double sigma = 3e-3;

    [[nodiscard]] ECHOSIEVE_API std::vector<double> operator()(std::span<const double> x,
                                                               double frame_rate) const;
    [[nodiscard]] double noise_gain(double frame_rate) const noexcept {
        const double frames = sigma * frame_rate;
        // Sum of the squared weights of a Gaussian: 1 / (2 sqrt(pi) sigma), 1 where it has but one
        // weight.
        return std::min(1.0,
                        std::sqrt(1 / (2 * std::sqrt(std::numbers::pi) * std::max(frames, 1e-9))));
    }
};

/// The choice at run time, as options hold it.
using Smoothing = std::variant<GaussianSmoothing, MovingAverage, NoSmoothing>;

ECHOSIEVE_API void validate(const Smoothing& smoothing);

static_assert(Smoother<NoSmoothing> && Smoother<MovingAverage> && Smoother<GaussianSmoothing>);
static_assert(!Smoother<double>);

}  // namespace echosieve
