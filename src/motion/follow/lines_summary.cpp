#include "motion/follow/lines_summary.hpp"

#include <Eigen/Core>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <vector>

#include "echosieve/condition/detail/frame_values.hpp"
#include "echosieve/core/detail/whole_number.hpp"
#include "motion/line/numbers.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

// A line's walls are others than the artery's if the pulse widens it by so many deviations more or
// less than the middle line: of a normal error one in two million.
constexpr double other_walls = 5;
// Chords of one vessel differ in what they widen by, and so do its walls' surroundings, by some
// parts in a hundred: of the middle line's.
constexpr double usual_difference = 0.1;
constexpr std::size_t fewest_for_middle = 3;  // lines

double widening(const ArteryMotion& m) {
    return m.far.pulse_share - m.near.pulse_share;
}

// The diameter's deviation in the middle frame [m]; infinite if no frame is valid.
double middle_deviation(const ArteryMotion& m) {
    std::vector<double> deviations;
    for (const FrameMotion& frame : m.frames) {
        if (frame.valid) {
            deviations.push_back(frame.diameter_std);
        }
    }
    return deviations.empty() ? std::numeric_limits<double>::infinity()
                              : detail::middle(std::move(deviations));
}

void set_weights(std::vector<LineMotion>& lines) {
    std::vector<double> widenings;
    for (const LineMotion& line : lines) {
        if (line.motion.valid_frames() > 0) {
            widenings.push_back(widening(line.motion));
        }
    }
    double sum = 0;
    for (LineMotion& line : lines) {
        const double deviation = middle_deviation(line.motion);
        line.weight = std::isfinite(deviation) ? 1 / (deviation * deviation) : 0;
        if (line.weight > 0 && widenings.size() >= fewest_for_middle) {
            const double middle = detail::middle(widenings);
            const double gain = std::hypot(line.motion.near.gain_std * line.motion.near.pulse_share,
                                           line.motion.far.gain_std * line.motion.far.pulse_share);
            if (std::abs(widening(line.motion) - middle) >
                other_walls * std::hypot(gain, usual_difference * middle)) {
                line.weight = 0;
            }
        }
        sum += line.weight;
    }
    for (LineMotion& line : lines) {
        line.weight /= sum > 0 ? sum : 1;
    }
}

// Of a line's valid frames.
struct MeanDepths {
    double near = 0;
    double far = 0;
};

MeanDepths mean_depths(const ArteryMotion& m) {
    MeanDepths out;
    for (const FrameMotion& frame : m.frames) {
        out.near += frame.valid ? frame.near_wall : 0;
        out.far += frame.valid ? frame.far_wall : 0;
    }
    const auto count = static_cast<double>(std::max<std::size_t>(m.valid_frames(), 1));
    return {out.near / count, out.far / count};
}

// One frame of the artery's.
class PooledFrame {
public:
    void add(const FrameMotion& frame, const MeanDepths& mean, double weight) {
        weight_ += weight;
        near_ += weight * (frame.near_wall - mean.near);
        far_ += weight * (frame.far_wall - mean.far);
        near_square_ += square(weight * frame.near_wall_std);
        far_square_ += square(weight * frame.far_wall_std);
        diameter_square_ += square(weight * frame.diameter_std);
        near_quality_ += weight * frame.near_quality;
        far_quality_ += weight * frame.far_quality;
    }
    [[nodiscard]] double weight() const { return weight_; }
    [[nodiscard]] FrameMotion frame(double time, const MeanDepths& mean) const {
        FrameMotion out;
        out.time = time;
        out.valid = true;
        out.near_wall = mean.near + near_ / weight_;
        out.far_wall = mean.far + far_ / weight_;
        out.diameter = out.far_wall - out.near_wall;
        out.near_wall_std = std::sqrt(near_square_) / weight_;
        out.far_wall_std = std::sqrt(far_square_) / weight_;
        out.diameter_std = std::sqrt(diameter_square_) / weight_;
        out.near_quality = near_quality_ / weight_;
        out.far_quality = far_quality_ / weight_;
        out.quality = std::min(out.near_quality, out.far_quality);
        return out;
    }

private:
    static double square(double x) { return x * x; }
    double weight_ = 0, near_ = 0, far_ = 0, near_square_ = 0, far_square_ = 0;
    double diameter_square_ = 0, near_quality_ = 0, far_quality_ = 0;
};

// Frames that too few lines show: the straight line between their neighbours.
void bridge_frames(std::vector<FrameMotion>& frames) {
    constexpr double no_deviation = std::numeric_limits<double>::quiet_NaN();
    std::optional<std::size_t> before;
    for (std::size_t i = 0; i < frames.size(); ++i) {
        if (frames[i].valid) {
            before = i;
            continue;
        }
        std::size_t after = i;
        while (after < frames.size() && !frames[after].valid) {
            ++after;
        }
        const FrameMotion* left = before ? &frames[*before] : nullptr;
        const FrameMotion* right = after < frames.size() ? &frames[after] : left;
        left = left != nullptr ? left : right;
        if (left == nullptr) {
            return;  // none is valid
        }
        const double span = right->time - left->time;
        FrameMotion& f = frames[i];
        const double t = span > 0 ? (f.time - left->time) / span : 0;
        f.near_wall = (1 - t) * left->near_wall + t * right->near_wall;
        f.far_wall = (1 - t) * left->far_wall + t * right->far_wall;
        f.diameter = f.far_wall - f.near_wall;
        f.near_wall_std = f.far_wall_std = f.diameter_std = no_deviation;
    }
}

// The diameter in all frames, and 1 in valid ones.
struct DiameterCourse {
    Eigen::ArrayXd diameter;
    Eigen::ArrayXd weight;
};

DiameterCourse course_of(const std::vector<FrameMotion>& frames) {
    const auto count = static_cast<Eigen::Index>(frames.size());
    DiameterCourse out{Eigen::ArrayXd(count), Eigen::ArrayXd(count)};
    for (Eigen::Index i = 0; i < count; ++i) {
        const FrameMotion& frame = frames[static_cast<std::size_t>(i)];
        out.diameter[i] = frame.diameter;
        out.weight[i] = frame.valid ? 1 : 0;
    }
    return out;
}

// How much later a line's diameter is than `all`, whose slope is given [s].
std::optional<Estimate> delay_of(const DiameterCourse& line, const DiameterCourse& all,
                                 const Eigen::ArrayXd& slope, double frame_rate) {
    constexpr double alike = 0.1;        // [s]
    constexpr double usual_beats = 1.2;  // a second: errors that come back with each are one
    const Eigen::ArrayXd weight = line.weight * all.weight;
    Eigen::MatrixXd basis(weight.size(), 3);
    basis << weight.matrix(), (weight * all.diameter).matrix(), (weight * slope).matrix();
    const Eigen::Matrix3d normal = basis.transpose() * basis;
    const Eigen::FullPivLU<Eigen::Matrix3d> solver(normal);
    if (!solver.isInvertible()) {
        return std::nullopt;
    }
    const Eigen::VectorXd seen = (weight * line.diameter).matrix();
    const Eigen::Vector3d fit = solver.solve(basis.transpose() * seen);
    const Eigen::VectorXd rest = seen - basis * fit;
    const Eigen::VectorXd lever = basis * solver.inverse().col(2);
    const auto length = std::max<Eigen::Index>(
        held_whole(std::round(alike * frame_rate), Eigen::Index{1}, weight.size()), 1);
    double variance = 0;
    for (Eigen::Index first = 0; first < weight.size(); first += length) {
        const Eigen::Index count = std::min(length, weight.size() - first);
        const double part = lever.segment(first, count).dot(rest.segment(first, count));
        variance += part * part;
    }
    const double beats =
        std::max(usual_beats * static_cast<double>(weight.size()) / frame_rate, 1.0);
    const double size = std::abs(fit[1]);
    return Estimate{-fit[2] / fit[1], std::sqrt(variance * beats) / std::max(size, least_divisor)};
}

// A straight line through values with deviations, the intercept at x = 0.
struct StraightLine {
    Estimate intercept;
    Estimate slope;
};

// By weighted least squares; the deviations grow with a misfit beyond them. Nothing unless two x
// differ.
std::optional<StraightLine> line_through(const std::vector<double>& x,
                                         const std::vector<Estimate>& y) {
    Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
    Eigen::Vector2d right = Eigen::Vector2d::Zero();
    for (std::size_t k = 0; k < x.size(); ++k) {
        const Eigen::Vector2d row(1, x[k]);
        const double weight = 1 / (y[k].deviation * y[k].deviation);
        normal += weight * row * row.transpose();
        right += weight * y[k].value * row;
    }
    constexpr double degenerate = 1e-9;  // of the product of both sums of squares
    if (x.size() < 2 || !(normal.determinant() > degenerate * normal(0, 0) * normal(1, 1))) {
        return std::nullopt;
    }
    const Eigen::Matrix2d inverse = normal.inverse();
    const Eigen::Vector2d fit = inverse * right;
    double misfit = 0;
    for (std::size_t k = 0; k < x.size(); ++k) {
        const double off = (y[k].value - fit[0] - fit[1] * x[k]) / y[k].deviation;
        misfit += off * off;
    }
    const double spare = static_cast<double>(x.size()) - 2;
    const double scale = spare > 0 ? std::sqrt(std::max(1.0, misfit / spare)) : 1;
    return StraightLine{{fit[0], scale * std::sqrt(inverse(0, 0))},
                        {fit[1], scale * std::sqrt(inverse(1, 1))}};
}

// Depths from line to line differ by the layer that is taken for the wall's, too: its echo is known
// to a fraction of the resolution [m].
constexpr double least_depth_deviation = 20e-6;

void place_along(const std::vector<LineMotion>& lines, const std::vector<double>& positions,
                 LinesPlacement& out) {
    std::vector<double> y, y_delays;
    std::vector<Estimate> near, far, delays;
    for (std::size_t k = 0; k < lines.size(); ++k) {
        const ArteryMotion& m = lines[k].motion;
        if (lines[k].weight > 0) {
            const DepthCorrection& by = m.depth_correction;
            const MeanDepths mean = mean_depths(m);
            y.push_back(positions[k]);
            near.push_back({mean.near, std::hypot(by.near_deviation, least_depth_deviation)});
            far.push_back({mean.far, std::hypot(by.far_deviation, least_depth_deviation)});
            if (lines[k].delay) {
                y_delays.push_back(positions[k]);
                delays.push_back(*lines[k].delay);
            }
        }
    }
    const auto slope = [](const std::vector<double>& x, const std::vector<Estimate>& values) {
        const std::optional<StraightLine> line = line_through(x, values);
        return line ? std::optional(line->slope) : std::nullopt;
    };
    out.near_tilt = slope(y, near);
    out.far_tilt = slope(y, far);
    out.delay_per_metre = slope(y_delays, delays);
}

// With half the chord h: h^2 + x^2 = (D / 2)^2 - x_0^2 + 2 x_0 x, a straight line over x.
void place_across(const std::vector<LineMotion>& lines, const std::vector<double>& offsets,
                  LinesPlacement& out) {
    std::vector<double> x;
    std::vector<Estimate> squares;
    for (std::size_t k = 0; k < lines.size(); ++k) {
        if (lines[k].weight > 0) {
            const MeanDepths mean = mean_depths(lines[k].motion);
            const double half = (mean.far - mean.near) / 2;
            const double deviation =
                std::hypot(lines[k].motion.diameter_level_std, least_depth_deviation) / 2;
            x.push_back(offsets[k]);
            squares.push_back({half * half + offsets[k] * offsets[k], 2 * half * deviation});
        }
    }
    constexpr std::size_t fewest_chords = 3;  // two always lie on some circle
    const std::optional<StraightLine> line = line_through(x, squares);
    if (!line || x.size() < fewest_chords) {
        return;
    }
    const double axis = line->slope.value / 2;
    const double square = line->intercept.value + axis * axis;
    if (square > 0) {
        const double radius = std::sqrt(square);
        const double by_axis = axis / radius * line->slope.deviation / 2;
        const double by_square = line->intercept.deviation / (2 * radius);
        out.axis = {axis, line->slope.deviation / 2};
        out.diameter = {2 * radius, 2 * std::hypot(by_axis, by_square)};
    }
}

}  // namespace

void pool_lines(LinesMotion& motion) {
    set_weights(motion.lines);
    std::vector<MeanDepths> means;
    MeanDepths artery;
    const LineMotion* longest = nullptr;  // for the times
    for (const LineMotion& line : motion.lines) {
        means.push_back(mean_depths(line.motion));
        artery.near += line.weight * means.back().near;
        artery.far += line.weight * means.back().far;
        if (line.weight > 0) {
            longest = &line;
        }
    }
    if (longest == nullptr) {
        return;
    }
    constexpr double least_weight = 0.5;  // of the lines that are valid in a frame
    motion.frames.resize(longest->motion.frames.size());
    for (std::size_t i = 0; i < motion.frames.size(); ++i) {
        PooledFrame pooled;
        for (std::size_t k = 0; k < motion.lines.size(); ++k) {
            const LineMotion& line = motion.lines[k];
            if (line.weight > 0 && line.motion.frames[i].valid) {
                pooled.add(line.motion.frames[i], means[k], line.weight);
            }
        }
        motion.frames[i].time = longest->motion.frames[i].time;
        if (pooled.weight() >= least_weight) {
            motion.frames[i] = pooled.frame(motion.frames[i].time, artery);
        }
    }
    bridge_frames(motion.frames);
}

void set_delays(LinesMotion& motion, double frame_rate) {
    if (motion.frames.size() < 2) {
        return;
    }
    const DiameterCourse all = course_of(motion.frames);
    const Eigen::ArrayXd slope = slope_of(all.diameter) * frame_rate;
    double sum = 0, square = 0, count = 0;
    for (LineMotion& line : motion.lines) {
        if (line.weight > 0) {
            line.delay = delay_of(course_of(line.motion.frames), all, slope, frame_rate);
        }
        if (line.delay) {
            sum += line.delay->value;
            square += line.delay->deviation * line.delay->deviation;
            ++count;
        }
    }
    for (LineMotion& line : motion.lines) {
        if (line.delay) {
            line.delay->value -= sum / count;
            line.delay->deviation = std::hypot(line.delay->deviation, std::sqrt(square) / count);
        }
    }
}

LinesPlacement placement_of(const std::vector<LineMotion>& lines,
                            const std::vector<double>& positions,
                            const std::vector<double>& offsets) {
    LinesPlacement out;
    if (!positions.empty()) {
        place_along(lines, positions, out);
    }
    if (!offsets.empty()) {
        place_across(lines, offsets, out);
    }
    return out;
}

}  // namespace echosieve
