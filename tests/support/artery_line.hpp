// A line with an artery in it, at once in baseband: tissue, two walls, all of them moving as they
// are told. The tests of what finds walls and takes them apart use it.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>

#include "motion/courses/common_motion.hpp"
#include "motion/courses/time_courses.hpp"
#include "motion/line/line.hpp"
#include "support/moving_line.hpp"

namespace echosieve::test {

struct ArteryLineOptions {
    Eigen::Index frames = 1000;  ///< at 500 frames a second
    double near_depth = 12e-3;   ///< at rest [m]
    double far_depth = 18e-3;    ///< [m]
    double near_share = 180e-6;  ///< up, from the pulse's foot to its top [m]
    double far_share = 220e-6;   ///< down [m]
    double near_bulk = 1;        ///< share of the wall in the bulk motion; that of the tissue is 1
    double far_bulk = 1;
    double near_drift = 0;         ///< of the near wall by itself, steadily to the end [m]
    double tissue_share = 50e-6;   ///< beside the walls, less the further away [m]
    double tissue_lag = 0;         ///< behind the walls [s]
    double wall_amplitude = 6;     ///< that of all tissue at a depth is 3.2 rms
    double second_layer = 0;       ///< amplitude of a layer further out by layer_distance
    double layer_distance = 1e-3;  ///< [m]
    double noise = 0.1;
    std::uint64_t seed = 1;
};

/// How the line of `options` moves, and the line.
struct ArteryLine {
    explicit ArteryLine(const ArteryLineOptions& made) : options(made) {
        const auto path = [&](double z, Eigen::Index i) {
            const double share = options.tissue_share * tissue_part(z);
            return share * pulse_at(time(i) - options.tissue_lag) + bulk(i);
        };
        line = moving_line(options.frames, options.noise, options.seed, path);
        add_wall(options.near_depth, options.wall_amplitude, -1);
        add_wall(options.far_depth, options.wall_amplitude, 1);
        if (options.second_layer > 0) {
            const double d = options.layer_distance;
            add_wall(options.near_depth - d, options.second_layer, -1);
            add_wall(options.far_depth + d, options.second_layer, 1);
        }
    }

    [[nodiscard]] static double time(Eigen::Index i) { return static_cast<double>(i) / 500; }
    /// Breathing [m].
    [[nodiscard]] static double bulk(Eigen::Index i) {
        return 150e-6 * std::sin(2 * std::numbers::pi * 0.3 * time(i) + 0.4);
    }
    /// Displacement of a wall [m]: -1 near, 1 far.
    [[nodiscard]] double wall_path(double sense, Eigen::Index i) const {
        const double drift =
            options.near_drift * static_cast<double>(i) / static_cast<double>(options.frames);
        return sense < 0
                   ? -options.near_share * pulse_at(time(i)) + options.near_bulk * bulk(i) + drift
                   : options.far_share * pulse_at(time(i)) + options.far_bulk * bulk(i);
    }
    [[nodiscard]] Eigen::ArrayXd wall_course(double sense) const {
        return Eigen::ArrayXd::NullaryExpr(options.frames,
                                           [&](Eigen::Index i) { return wall_path(sense, i); });
    }
    /// The pulse as common_motion.hpp has it: mean 0, range (3 % to 97 %) 1.
    [[nodiscard]] Eigen::ArrayXd pulse() const {
        return normalised_pulse(
            Eigen::ArrayXd::NullaryExpr(options.frames,
                                        [](Eigen::Index i) { return pulse_at(time(i)); }),
            500);
    }
    /// What a share of 1 from foot to top is over the range of pulse().
    [[nodiscard]] double range() const {
        const Eigen::ArrayXd p = pulse();
        return (pulse_at(0.1) - pulse_at(0)) / (p[50] - p[0]);
    }
    /// The common motion, known exactly, with gates every half millimetre.
    [[nodiscard]] CommonMotion motion() const {
        CommonMotion out;
        out.pulse = pulse();
        out.bulk =
            Eigen::ArrayXd::NullaryExpr(options.frames, [](Eigen::Index i) { return bulk(i); });
        out.bulk -= out.bulk.mean();
        out.depths = Eigen::ArrayXd::LinSpaced(34, 7.5e-3, 24e-3);
        out.pulse_share = options.tissue_share * range() *
                          out.depths.unaryExpr([&](double z) { return tissue_part(z); });
        out.bulk_share = out.weight = Eigen::ArrayXd::Ones(34);
        return out;
    }

    ArteryLineOptions options;
    LineHistory line;

private:
    [[nodiscard]] double tissue_part(double z) const {
        return z < (options.near_depth + options.far_depth) / 2
                   ? -std::exp(-std::abs(z - options.near_depth) / 4e-3)
                   : std::exp(-std::abs(z - options.far_depth) / 4e-3);
    }
    void add_wall(double depth, double amplitude, double sense) {
        add_moving_echo(line, std::polar(amplitude, 0.7),
                        [&](Eigen::Index i) { return depth + wall_path(sense, i); });
    }
};

}  // namespace echosieve::test
