#include "echosieve/motion/averaged_line.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/kernels/phasors.hpp"
#include "echosieve/motion/block_means.hpp"
#include "echosieve/motion/gate_spectrum.hpp"
#include "echosieve/motion/slow_time.hpp"
#include "echosieve/motion/wall_fit.hpp"

namespace echosieve {

namespace {

// The pulse's share at a depth, by the straight line between those known.
double pulse_share_at(const CommonMotion& motion, double depth) {
    const Eigen::Index last = motion.depths.size() - 1;
    Eigen::Index k = 0;
    while (k < last && motion.depths[k + 1] < depth) {
        ++k;
    }
    if (k == last || depth <= motion.depths[0]) {
        return motion.pulse_share[depth <= motion.depths[0] ? 0 : last];
    }
    const double t = (depth - motion.depths[k]) / (motion.depths[k + 1] - motion.depths[k]);
    return (1 - t) * motion.pulse_share[k] + t * motion.pulse_share[k + 1];
}

}  // namespace

AveragedLine averaged_line(const LineHistory& line, const CommonMotion& motion,
                           Eigen::Index length) {
    require(length >= 1, "length", length, "must be at least 1 [frames]");
    if (length == 1) {
        return {line, motion, 1};
    }
    const Eigen::Index frames = line.frames();
    const Eigen::Index blocks = (frames + length - 1) / length;
    const Eigen::ArrayXd weight = line.weights();
    AveragedLine out{{Eigen::ArrayXXcd(blocks, line.samples.cols()), line.grid, line.settings, {}, {},
                      line.stretch_centre},
                     motion,
                     length};
    out.line.settings.frame_rate /= static_cast<double>(length);
    const auto means = [&](const Eigen::ArrayXd& x) { return block_means(x, weight, even_blocks(frames, length)); };
    out.motion.pulse = means(motion.pulse);
    out.motion.bulk = means(motion.bulk);
    if (line.stretch.size() > 0) {
        out.line.stretch = means(line.stretch);
        out.motion.stretch = out.line.stretch;
    }
    for (Eigen::Index b = 0; b < blocks; ++b) {
        const Eigen::Index rows = std::min(length, frames - b * length);
        out.line.usable.push_back(2 * weight.segment(b * length, rows).sum() >=
                                  static_cast<double>(rows));
    }
    // Within a block only the difference from its mean is turned back: no more than a few radians.
    const auto differences = [&](const Eigen::ArrayXd& x, const Eigen::ArrayXd& mean) {
        Eigen::ArrayXd d(frames);
        for (Eigen::Index i = 0; i < frames; ++i) {
            d[i] = x[i] - mean[i / length];
        }
        return d;
    };
    const Eigen::ArrayXd pulse = differences(motion.pulse, out.motion.pulse);
    const Eigen::ArrayXd bulk = differences(motion.bulk, out.motion.bulk);
    const Eigen::ArrayXd stretch = line.stretch.size() > 0
                                       ? differences(line.stretch, out.line.stretch)
                                       : Eigen::ArrayXd::Zero(frames);
    const double k = line.phase_per_metre(line.settings.sensor.centre_frequency);
    Eigen::ArrayXcd back(frames);
    for (Eigen::Index n = 0; n < line.samples.cols(); ++n) {
        const double depth = line.depth(static_cast<double>(n));
        const Eigen::ArrayXd path = pulse_share_at(motion, depth) * pulse +
                                    motion.bulk_share_at(depth) * bulk +
                                    (depth - line.stretch_centre) * stretch;
        write_phasors({path.data(), static_cast<std::size_t>(frames)}, {-k, 0, 1},
                      {back.data(), static_cast<std::size_t>(frames)});
        for (Eigen::Index b = 0; b < blocks; ++b) {
            std::complex<double> sum = 0;
            double total = 0;
            for (Eigen::Index i = b * length; i < std::min(frames, (b + 1) * length); ++i) {
                sum += weight[i] * line.samples(i, n) * back[i];
                total += weight[i];
            }
            out.line.samples(b, n) = total > 0 ? sum / total : 0;
        }
    }
    bridge(out.line.samples, out.line.usable);
    return out;
}

Eigen::ArrayXd course_of_means(const Eigen::ArrayXd& means, Eigen::Index frames,
                               Eigen::Index length) {
    require(length >= 1, "length", length, "must be at least 1 [frames]");
    const Eigen::Index blocks = means.size();
    require(blocks == (frames + length - 1) / length, "number of blocks", blocks,
            detail::concatenate("must cover the ", frames, " frames"));
    if (length == 1 || blocks < 4) {
        Eigen::ArrayXd course(frames);
        for (Eigen::Index i = 0; i < frames; ++i) {
            course[i] = means[i / length];
        }
        return course;
    }
    const auto size = static_cast<double>(length);
    // A mean over n frames is the middle's value and (n^2 - 1) / 24 of the second derivative.
    const double rounding = (1 - 1 / (size * size)) / 24;
    Eigen::ArrayXd middles = means;
    middles.segment(1, blocks - 2) -=
        rounding * (means.head(blocks - 2) - 2 * means.segment(1, blocks - 2) +
                    means.tail(blocks - 2));
    Eigen::ArrayXd course(frames);
    for (Eigen::Index i = 0; i < frames; ++i) {
        const double place = (static_cast<double>(i) - (size - 1) / 2) / size;
        const Eigen::Index first = std::clamp<Eigen::Index>(
            static_cast<Eigen::Index>(std::floor(place)) - 1, 0, blocks - 4);
        const double x = place - static_cast<double>(first);
        course[i] = middles[first] * -(x - 1) * (x - 2) * (x - 3) / 6 +
                    middles[first + 1] * x * (x - 2) * (x - 3) / 2 -
                    middles[first + 2] * x * (x - 1) * (x - 3) / 2 +
                    middles[first + 3] * x * (x - 1) * (x - 2) / 6;
    }
    return course;
}

SeparatedWalls at_every_frame(const LineHistory& line, const SeparatedWalls& averaged,
                              Eigen::Index length) {
    if (length == 1) {
        return averaged;
    }
    const Eigen::Index frames = line.frames();
    const auto course = [&](const Eigen::ArrayXd& means) {
        return course_of_means(means, frames, length);
    };
    SeparatedWalls out;
    out.times.pulse = course(averaged.times.pulse);
    out.times.bulk = course(averaged.times.bulk);
    out.times.weight = line.weights();
    out.times.sound_speed = averaged.times.sound_speed;
    out.times.lag = averaged.times.lag * static_cast<double>(length);
    const auto put = [&](const SeparatedWall& from, SeparatedWall& to) {
        to.state = from.state;
        to.wall_layers = from.wall_layers;
        to.reference = from.reference;
        to.evidence = from.evidence;
        to.tissue_linearity = from.tissue_linearity;
        if (from.state.own.size() > 0) {
            to.state.own = course(from.state.own);
        }
        to.layered.trust = from.layered.trust;
        to.layered.own_layers = from.layered.own_layers;
        to.layered.gate = wall_gate(line, to.state, out.times,
                                    separation_half_gate(line.settings.sensor));
        to.layered.fit = layered_fit(
            to.layered.gate, out.times,
            {from.layered.fit.shares, from.layered.fit.spectra, from.wall_layers, from.reference, 0},
            to.state.own);
        if (to.state.own.size() > 0) {
            to.layered.own = own_phasors(to.layered.gate, out.times, to.state.own);
        }
    };
    put(averaged.near, out.near);
    put(averaged.far, out.far);
    return out;
}

}  // namespace echosieve
