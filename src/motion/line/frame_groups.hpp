// Frames put together: averages over some milliseconds of a line's frames.
#pragma once

#include <Eigen/Core>
#include <utility>
#include <vector>

namespace echosieve {

/// Frames put together: group k holds the frames first[k] to first[k + 1] - 1.
struct FrameGroups {
    std::vector<Eigen::Index> first;  ///< of each group, and at the end the number of frames
    double unit = 1;                  ///< so many frames together weigh 1

    [[nodiscard]] Eigen::Index count() const noexcept {
        return static_cast<Eigen::Index>(first.size()) - 1;
    }
    /// First frame of group k and number of its frames.
    [[nodiscard]] std::pair<Eigen::Index, Eigen::Index> range(Eigen::Index k) const {
        const auto at = static_cast<std::size_t>(k);
        return {first[at], first[at + 1] - first[at]};
    }
};

/// Groups of `length` >= 1 frames, the last perhaps of fewer; `length` frames weigh 1.
[[nodiscard]] FrameGroups even_groups(Eigen::Index frames, Eigen::Index length);

/// Weighted means of `x` over groups; of all of a group's entries alike where their weights are 0.
[[nodiscard]] Eigen::ArrayXd group_means(const Eigen::ArrayXd& x, const Eigen::ArrayXd& weight,
                                         const FrameGroups& groups);

}  // namespace echosieve
