#include "motion/wall/averaged_line.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>

#include "echosieve/core/error.hpp"
#include "echosieve/kernels/detail/phasors.hpp"
#include "motion/layers/block_means.hpp"
#include "motion/line/gate_spectrum.hpp"
#include "motion/line/slow_time.hpp"
#include "motion/wall/shared_beliefs.hpp"
#include "motion/wall/wall_fit.hpp"

namespace echosieve {

LineHistory averaged_line(const LineHistory& line, const Eigen::ArrayXd& path,
                          const FrameBlocks& blocks) {
    const Eigen::Index frames = line.frames();
    require(path.size() == frames, "length of the path", path.size(),
            detail::concatenate("must equal the frames, ", frames));
    const Eigen::ArrayXd weight = line.weights();
    LineHistory out{Eigen::ArrayXXcd(blocks.count(), line.samples.cols()),
                    line.grid,
                    line.settings,
                    {},
                    {},
                    line.stretch_centre,
                    line.dead_zone};
    out.settings.frame_rate /= blocks.unit;
    if (line.stretch.size() > 0) {
        out.stretch = block_means(line.stretch, weight, blocks);
    }
    const Eigen::ArrayXd means = block_means(path, weight, blocks);
    Eigen::ArrayXd within = path;
    Eigen::ArrayXd part = weight;  // of each frame in its block
    for (Eigen::Index k = 0; k < blocks.count(); ++k) {
        const auto [first, rows] = blocks.range(k);
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
        for (Eigen::Index k = 0; k < blocks.count(); ++k) {
            const auto [first, rows] = blocks.range(k);
            out.samples(k, n) = turned.segment(first, rows).sum();
        }
    }
    bridge(out.samples, out.usable);
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
    Eigen::ArrayXd means_at_middles = means;
    // The last block's frames may be too few: their mean belongs nearer to the block before.
    const auto last = static_cast<double>(frames - (blocks - 1) * length);
    means_at_middles[blocks - 1] = means[blocks - 2] + (means[blocks - 1] - means[blocks - 2]) *
                                                           size / (size - (size - last) / 2);
    const Eigen::Index inner = blocks - 2;
    Eigen::ArrayXd bend(blocks);  // second differences, at the ends their neighbours'
    bend.segment(1, inner) = means_at_middles.head(inner) - 2 * means_at_middles.segment(1, inner) +
                             means_at_middles.tail(inner);
    bend[0] = bend[1];
    bend[blocks - 1] = bend[blocks - 2];
    const Eigen::ArrayXd middles = means_at_middles - rounding * bend;
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
        to.mean_evidence = from.mean_evidence;
        to.tissue_linearity = from.tissue_linearity;
        to.tissue_line = from.tissue_line;
        if (from.state.own.size() > 0) {
            to.state.own = course(from.state.own);
        }
        to.layered.trust = from.layered.trust;
        to.layered.own_layers = from.layered.own_layers;
        to.layered.gate =
            wall_gate(line, to.state, out.times, separation_half_gate(line.settings.sensor));
        to.layered.fit = layered_fit(to.layered.gate, out.times,
                                     {from.layered.fit.shares, from.layered.fit.spectra,
                                      from.wall_layers, from.reference, 0},
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
