#include "motion/line/contact.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>

#include "motion/line/line.hpp"
#include "motion/line/numbers.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

// Noise is coherent by chance: a frame has no contact either if so many of those around it, as
// weighed by ContactOptions::surroundings, have none.
constexpr double lost_around = 0.25;
constexpr Eigen::Index fewest_frames_compared = 3;  // for a median of the coherence

}  // namespace

std::size_t leave_out_lost_contact(LineHistory& line, const ContactOptions& options) {
    validate(options);
    const Eigen::Index frames = line.frames();
    const Eigen::Index samples = line.samples.cols();
    const Eigen::Index first = line.first_below_dead_zone();
    if (frames < fewest_frames_compared || first >= samples) {
        return 0;
    }
    const auto below = line.samples.rightCols(samples - first);
    const Eigen::ArrayXcd product =
        (below.topRows(frames - 1).conjugate() * below.bottomRows(frames - 1)).rowwise().sum();
    const Eigen::ArrayXd energy = below.abs2().rowwise().sum();
    const double sigma = options.smoothing * line.settings.frame_rate;
    const Eigen::ArrayXd common = gaussian_smooth<std::complex<double>>(product, sigma).abs();
    const Eigen::ArrayXd whole =
        gaussian_smooth<double>((energy.head(frames - 1) + energy.tail(frames - 1)) / 2, sigma);
    const Eigen::ArrayXd coherence = common / whole.max(least_divisor);
    const double least = options.least_coherence * median(coherence);
    Eigen::ArrayXd without(frames);
    for (Eigen::Index i = 0; i < frames; ++i) {
        const double mine = std::max(coherence[std::min(i, frames - 2)],
                                     coherence[std::max<Eigen::Index>(i - 1, 0)]);
        without[i] = mine < least || !line.usable[static_cast<std::size_t>(i)] ? 1 : 0;
    }
    const Eigen::ArrayXd around =
        gaussian_smooth<double>(without, options.surroundings * line.settings.frame_rate);
    std::size_t lost = 0;
    for (Eigen::Index i = 0; i < frames; ++i) {
        if (line.usable[static_cast<std::size_t>(i)] &&
            (without[i] > 0 || around[i] > lost_around)) {
            line.usable[static_cast<std::size_t>(i)] = false;
            ++lost;
        }
    }
    if (lost > 0) {
        bridge(line.samples, line.usable);
    }
    return lost;
}

}  // namespace echosieve
