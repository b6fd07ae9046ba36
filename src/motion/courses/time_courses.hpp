// Pulse and bulk motion kept apart: which mixture of the two common time courses is which.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <optional>

#include "motion/line/slow_time.hpp"

namespace echosieve {

// Symbols
//   p(i), q(i)  pulse (range 1, mean 0) and bulk motion (mean 0) [m];  a [m], b a depth's shares
//
// Any depth moves by a p + b q, so p and q are fixed by the data up to a 2 x 2 mixture. Inside
// their plane they are told apart by speed: the ratio of the variance above a slow frequency to the
// whole is largest for p and smallest for q (a generalised eigenvalue problem).

/// Two time courses and how the former ones are made of them: former = mixture * present.
struct SplitCourses {
    Eigen::ArrayXd pulse;
    Eigen::ArrayXd bulk;
    Eigen::Matrix2d mixture = Eigen::Matrix2d::Identity();
};

/// p with mean 0, range (3 % to 97 %) 1 and a sign that makes the steepest change a rise.
[[nodiscard]] Eigen::ArrayXd normalised_pulse(const Eigen::ArrayXd& p, double frame_rate);

/// Splits the plane of two time courses by speed; nothing if they span no plane.
[[nodiscard]] std::optional<SplitCourses> split_courses(const Eigen::ArrayXd& first,
                                                        const Eigen::ArrayXd& second,
                                                        double slow_frequency, double frame_rate);

/// The mixture that the speed leaves open: how p and q are fixed by the shares of many depths.
struct Gauge {
    double scale = 1;           ///< of q, so that the median b is 1
    double bulk_per_pulse = 0;  ///< a / b of the median depth: moved from its share of p into q [m]
};

/// The gauge in which the median depth has no share of p: new q = scale q + bulk_per_pulse p, new b
/// = b / scale, new a = a - bulk_per_pulse * new b. Nothing if the median b is 0. a [m] and b are
/// the shares of at least one depth.
[[nodiscard]] std::optional<Gauge> gauge_of(const Eigen::ArrayXd& a, const Eigen::ArrayXd& b);

}  // namespace echosieve
