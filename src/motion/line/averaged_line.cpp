#include "motion/line/averaged_line.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>

#include "echosieve/core/error.hpp"
#include "echosieve/kernels/detail/phasors.hpp"
#include "motion/line/cubic.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

constexpr Eigen::Index fewest_for_cubic = 4;  // groups: one through four middles

}  // namespace

LineHistory averaged_line(const LineHistory& line, const Eigen::ArrayXd& path,
                          const FrameGroups& groups) {
    const Eigen::Index frames = line.frames();
    require(path.size() == frames, "length of the path", path.size(),
            detail::concatenate("must equal the frames, ", frames));
    const Eigen::ArrayXd weight = line.weights();
    LineHistory out{Eigen::ArrayXXcd(groups.count(), line.samples.cols()),
                    line.grid,
                    line.settings,
                    {},
                    {},
                    line.stretch_centre,
                    line.dead_zone};
    out.settings.frame_rate /= groups.unit;
    if (line.stretch.size() > 0) {
        out.stretch = group_means(line.stretch, weight, groups);
    }
    const Eigen::ArrayXd means = group_means(path, weight, groups);
    Eigen::ArrayXd within = path;
    Eigen::ArrayXd part = weight;  // of each frame in its group
    for (Eigen::Index k = 0; k < groups.count(); ++k) {
        const auto [first, rows] = groups.range(k);
        const double total = weight.segment(first, rows).sum();
        out.usable.push_back(2 * total >= static_cast<double>(rows));
        within.segment(first, rows) -= means[k];
        part.segment(first, rows) /= std::max(total, 1.0);
    }
    Eigen::ArrayXcd back(frames);
    write_phasors({within.data(), static_cast<std::size_t>(frames)},
                  {-line.phase_per_metre(line.settings.sensor.centre_frequency), 0, 1},
                  {back.data(), static_cast<std::size_t>(frames)});
    back *= part;
    for (Eigen::Index n = 0; n < line.samples.cols(); ++n) {
        const Eigen::ArrayXcd turned = line.samples.col(n) * back;
        for (Eigen::Index k = 0; k < groups.count(); ++k) {
            const auto [first, rows] = groups.range(k);
            out.samples(k, n) = turned.segment(first, rows).sum();
        }
    }
    bridge(out.samples, out.usable);
    return out;
}

Eigen::ArrayXd course_of_means(const Eigen::ArrayXd& means, Eigen::Index frames,
                               Eigen::Index length) {
    require(length >= 1, "length", length, "must be at least 1 [frames]");
    const Eigen::Index groups = means.size();
    require(groups == (frames + length - 1) / length, "number of groups", groups,
            detail::concatenate("must cover the ", frames, " frames"));
    if (length == 1 || groups < fewest_for_cubic) {
        Eigen::ArrayXd course(frames);
        for (Eigen::Index i = 0; i < frames; ++i) {
            course[i] = means[i / length];
        }
        return course;
    }
    const auto size = static_cast<double>(length);
    // A mean over n frames is the middle's value and (n^2 - 1) / 24 of the second derivative.
    const double rounding = (1 - 1 / (size * size)) / 24;
    Eigen::ArrayXd means_at_middles = means;
    // The last group's frames may be too few: their mean belongs nearer to the group before.
    const auto last = static_cast<double>(frames - (groups - 1) * length);
    means_at_middles[groups - 1] = means[groups - 2] + (means[groups - 1] - means[groups - 2]) *
                                                           size / (size - (size - last) / 2);
    const Eigen::Index inner = groups - 2;
    Eigen::ArrayXd bend(groups);  // second differences, at the ends their neighbours'
    bend.segment(1, inner) = means_at_middles.head(inner) - 2 * means_at_middles.segment(1, inner) +
                             means_at_middles.tail(inner);
    bend[0] = bend[1];
    bend[groups - 1] = bend[groups - 2];
    const Eigen::ArrayXd middles = means_at_middles - rounding * bend;
    Eigen::ArrayXd course(frames);
    for (Eigen::Index i = 0; i < frames; ++i) {
        const double place = (static_cast<double>(i) - (size - 1) / 2) / size;
        const Eigen::Index first = std::clamp<Eigen::Index>(
            static_cast<Eigen::Index>(std::floor(place)) - 1, 0, groups - fewest_for_cubic);
        const double x = place - static_cast<double>(first);
        const auto four = middles.segment<4>(first);
        course[i] = cubic_through({four[0], four[1], four[2], four[3]}, x);
    }
    return course;
}

}  // namespace echosieve
