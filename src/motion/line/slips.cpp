#include "motion/line/slips.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/correlate/sampled.hpp"
#include "motion/line/line.hpp"
#include "motion/line/plain.hpp"

namespace echosieve {

std::vector<bool> find_slips(const BasebandView& baseband, const std::vector<FrameState>& states,
                             double dead_zone, const SlipOptions& options) {
    validate(options);
    const RecordingSettings& settings = baseband.settings;
    const auto y = array_of(baseband);
    const Eigen::Index frames = y.rows();
    require(states.size() == static_cast<std::size_t>(frames), "number of frame states",
            states.size(), detail::concatenate("must equal the frames, ", frames));
    std::vector<bool> slips(states.size(), false);
    if (y.cols() < 3 || frames == 0) {
        return slips;
    }
    const double spacing =
        settings.depth(baseband.grid.time(1)) - settings.depth(baseband.grid.time(0));
    const Eigen::Index first =
        std::min(first_below(dead_zone, baseband.grid, settings), y.cols() - 1);
    const Eigen::Index count = y.cols() - first;
    const Eigen::Index step = held_whole(std::round(options.span * settings.frame_rate),
                                         Eigen::Index{1}, Eigen::Index{most_counted});
    const double limit = static_cast<double>(step) * options.largest_turn * settings.sound_speed /
                         (4 * std::numbers::pi * settings.sensor.centre_frequency) / spacing;
    const Eigen::Index reach =
        held_whole(std::ceil(options.largest_shift / spacing), Eigen::Index{0}, count - 1);
    std::vector<double> correlation(static_cast<std::size_t>(2 * reach + 1));
    const Eigen::ArrayXd norm = y.rightCols(count).abs2().rowwise().sum().sqrt();
    for (Eigen::Index i = 0; i + step < frames; ++i) {
        const Eigen::Index j = i + step;
        if (states[static_cast<std::size_t>(i)] != FrameState::good ||
            states[static_cast<std::size_t>(j)] != FrameState::good || !(norm[i] * norm[j] > 0)) {
            continue;
        }
        for (Eigen::Index lag = -reach; lag <= reach; ++lag) {
            double re = 0;
            double im = 0;
            const Eigen::Index from = std::max<Eigen::Index>(0, -lag);
            const Eigen::Index to = std::min(count, count - lag);
            for (Eigen::Index k = from; k < to; ++k) {
                const std::complex<double> a = y(i, first + k);
                const std::complex<double> b = y(j, first + k + lag);
                re += a.real() * b.real() + a.imag() * b.imag();
                im += a.real() * b.imag() - a.imag() * b.real();
            }
            correlation[static_cast<std::size_t>(lag + reach)] = std::hypot(re, im);
        }
        const auto peak = static_cast<std::size_t>(
            std::max_element(correlation.begin(), correlation.end()) - correlation.begin());
        double shift = static_cast<double>(peak) - static_cast<double>(reach);
        if (peak > 0 && peak + 1 < correlation.size()) {
            shift +=
                parabolic_peak(correlation[peak - 1], correlation[peak], correlation[peak + 1]);
        }
        if (std::abs(shift) > limit &&
            correlation[peak] >= options.least_correlation * norm[i] * norm[j]) {
            std::fill(slips.begin() + i, slips.begin() + j + 1, true);
        }
    }
    return slips;
}

}  // namespace echosieve
