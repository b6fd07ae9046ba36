// How displacements are smoothed along frames: policies to choose from, or a callable of the user's
// own.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <concepts>
#include <numbers>
#include <variant>

#include "echosieve/core/error.hpp"
#include "motion/slow_time.hpp"

namespace echosieve {

/// A smoother takes displacements [m] and the frame rate [Hz], and gives as many displacements
/// back.
template <class S>
concept Smoother =
    requires(const S& smoother, const Eigen::ArrayXd& displacement, double frame_rate) {
        { smoother(displacement, frame_rate) } -> std::convertible_to<Eigen::ArrayXd>;
        { smoother.noise_gain(frame_rate) } -> std::convertible_to<double>;
    };

/// Leaves the frames as they are.
struct NoSmoothing {
    [[nodiscard]] Eigen::ArrayXd operator()(const Eigen::ArrayXd& x, double) const { return x; }
    /// Standard deviation of smoothed white noise over that of the noise.
    [[nodiscard]] double noise_gain(double) const noexcept { return 1; }
};

/// Mean over a number of frames. 30 frames at 1 kHz is the customary choice in wall tracking
/// (common practice, no source); it rounds the upstroke: a 15 Hz motion keeps 70 % of its size.
struct MovingAverage {
    Eigen::Index frames = 30;

    [[nodiscard]] Eigen::ArrayXd operator()(const Eigen::ArrayXd& x, double frame_rate) const;
    [[nodiscard]] double noise_gain(double) const noexcept {
        return 1 / std::sqrt(static_cast<double>(frames));
    }
};

/// Gaussian of standard deviation `sigma` [s]: 3 ms keeps 98 % of a 10 Hz motion.
struct GaussianSmoothing {
    double sigma = 3e-3;

    [[nodiscard]] Eigen::ArrayXd operator()(const Eigen::ArrayXd& x, double frame_rate) const;
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

void validate(const Smoothing& smoothing);

static_assert(Smoother<NoSmoothing> && Smoother<MovingAverage> && Smoother<GaussianSmoothing>);
static_assert(!Smoother<double>);

}  // namespace echosieve
