#include "echosieve/motion/smoothing.hpp"

#include <Eigen/Core>
#include <cmath>
#include <span>
#include <variant>
#include <vector>

#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/error.hpp"
#include "motion/follow/smoothing.hpp"
#include "motion/line/plain.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

std::vector<double> MovingAverage::operator()(std::span<const double> x, double) const {
    return vector_of(moving_average(array_of(x), frames));
}

std::vector<double> GaussianSmoothing::operator()(std::span<const double> x,
                                                  double frame_rate) const {
    return vector_of(gaussian_smooth<double>(array_of(x), sigma * frame_rate));
}

Eigen::ArrayXd smoothed(const Eigen::ArrayXd& x, const Smoothing& smoothing, double frame_rate) {
    return std::visit(
        [&](const auto& smoother) {
            return Eigen::ArrayXd(array_of(smoother(span_of(x), frame_rate)));
        },
        smoothing);
}

namespace {

constexpr Eigen::Index most_averaged = 1'000'000;  // [frames], a quarter of an hour at 1 kHz

}  // namespace

void validate(const Smoothing& smoothing) {
    if (const auto* average = std::get_if<MovingAverage>(&smoothing)) {
        require(average->frames >= 1, "moving average", average->frames,
                "must be at least 1 [frames]");
        detail::require_at_most(average->frames, most_averaged, "moving average", "[frames]");
    }
    if (const auto* gaussian = std::get_if<GaussianSmoothing>(&smoothing)) {
        require(gaussian->sigma >= 0 && std::isfinite(gaussian->sigma), "smoothing sigma",
                gaussian->sigma, "must be zero or more and finite [s]");
        detail::require_at_most(gaussian->sigma, largest_option::time, "smoothing sigma", "[s]");
    }
}

}  // namespace echosieve
