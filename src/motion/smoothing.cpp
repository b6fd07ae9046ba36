#include "echosieve/motion/smoothing.hpp"

#include <Eigen/Core>
#include <cmath>
#include <variant>

#include "echosieve/core/error.hpp"
#include "motion/slow_time.hpp"

namespace echosieve {

Eigen::ArrayXd MovingAverage::operator()(const Eigen::ArrayXd& x, double) const {
    return moving_average(x, frames);
}

Eigen::ArrayXd GaussianSmoothing::operator()(const Eigen::ArrayXd& x, double frame_rate) const {
    return gaussian_smooth<double>(x, sigma * frame_rate);
}

void validate(const Smoothing& smoothing) {
    if (const auto* average = std::get_if<MovingAverage>(&smoothing)) {
        require(average->frames >= 1, "moving average", average->frames,
                "must be at least 1 [frames]");
    }
    if (const auto* gaussian = std::get_if<GaussianSmoothing>(&smoothing)) {
        require(gaussian->sigma >= 0 && std::isfinite(gaussian->sigma), "smoothing sigma",
                gaussian->sigma, "must be zero or more and finite [s]");
    }
}

}  // namespace echosieve
