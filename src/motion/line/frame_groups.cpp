#include "motion/line/frame_groups.hpp"

#include <Eigen/Core>

#include "echosieve/core/error.hpp"

namespace echosieve {

FrameGroups even_groups(Eigen::Index frames, Eigen::Index length) {
    require(length >= 1, "length", length, "must be at least 1 [frames]");
    FrameGroups groups{{}, static_cast<double>(length)};
    for (Eigen::Index i = 0; i < frames; i += length) {
        groups.first.push_back(i);
    }
    groups.first.push_back(frames);
    return groups;
}

Eigen::ArrayXd group_means(const Eigen::ArrayXd& x, const Eigen::ArrayXd& weight,
                           const FrameGroups& groups) {
    Eigen::ArrayXd means(groups.count());
    for (Eigen::Index k = 0; k < means.size(); ++k) {
        const auto [first, rows] = groups.range(k);
        const double total = weight.segment(first, rows).sum();
        means[k] = total > 0 ? (x.segment(first, rows) * weight.segment(first, rows)).sum() / total
                             : x.segment(first, rows).mean();
    }
    return means;
}

}  // namespace echosieve
