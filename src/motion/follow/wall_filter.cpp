#include "motion/follow/wall_filter.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "echosieve/motion/wall_options.hpp"
#include "motion/line/line.hpp"
#include "motion/wall/deviation.hpp"

namespace echosieve {

namespace detail {

namespace {

constexpr std::size_t near_wall = 0;  // places of the gates
constexpr std::size_t far_wall = 1;
// Places in x: p, q, their speeds, what each wall does by itself.
constexpr int at_p = 0, at_p_speed = 1, at_q = 2, at_q_speed = 3, at_near = 4, at_far = 5;
constexpr std::size_t most_places = 64;  // that a search tries
constexpr int search_steps = 6;          // of Gauss and Newton after it
// Where a search may be off by: the courses between two places tried.
constexpr double pulse_reach = 0.1;
constexpr double bulk_reach = 20e-6;  // [m]
constexpr double own_reach = 10e-6;   // [m]
constexpr double speed_reach = 4;     // of the mean square of a course's steps
// Of the noise: no course is taken for one that never changes.
constexpr double least_change = 1e-18;  // of p; of q [m^2]
constexpr double least_own = 1e-16;     // (10 nm)^2 a frame
constexpr double course_jitter = 1e-6;  // of a speed's changes, of the course by itself: C stays
                                        // regular
constexpr double speed_left = 0.8;      // from frame to frame in which no wall is seen

// Mean square of the differences (order 1) or second differences (2) between usable frames.
double changes(const std::vector<double>& x, const std::vector<bool>& usable, std::size_t order) {
    double sum = 0, count = 0;
    for (std::size_t i = order; i < x.size(); ++i) {
        bool whole = true;
        for (std::size_t j = i - order; j <= i; ++j) {
            whole = whole && usable[j];
        }
        if (whole) {
            const double change = order == 1 ? x[i] - x[i - 1] : x[i] - 2 * x[i - 1] + x[i - 2];
            sum += change * change;
            ++count;
        }
    }
    return count > 0 ? sum / count : 0;
}

}  // namespace

WallFilter::WallFilter(const LearnedWalls& walls, const SamplingGrid& line,
                       const FollowerOptions& options)
    : walls_((validate(walls), walls)), options_((validate(options), options)) {
    const double speed = walls.settings.sound_speed;
    gates_.emplace_back(walls.near.gate, line, speed);
    gates_.emplace_back(walls.far.gate, line, speed);
    for (const LearnedGate& gate : walls.tissue) {
        gates_.emplace_back(gate, line, speed);
    }
    transition_.setIdentity();
    transition_(at_p, at_p_speed) = transition_(at_q, at_q_speed) = 1;
    noise_.setZero();
    const double agility = options.agility * options.agility;
    const auto course = [&](int at, double change) {
        const Eigen::Vector2d step(0.5, 1);  // of course and speed, where that changes midway
        noise_.block<2, 2>(at, at) =
            agility * std::max(change, least_change) * (step * step.transpose());
        noise_(at, at) += course_jitter * agility * change;
    };
    course(at_p, changes(walls.pulse, walls.usable, 2));
    course(at_q, changes(walls.bulk, walls.usable, 2));
    noise_(at_near, at_near) = std::max(changes(walls.near.own, walls.usable, 1), least_own);
    noise_(at_far, at_far) = std::max(changes(walls.far.own, walls.usable, 1), least_own);
    wide_.setZero();
    wide_.diagonal() << pulse_reach * pulse_reach,
        speed_reach * changes(walls.pulse, walls.usable, 1), bulk_reach * bulk_reach,
        speed_reach * changes(walls.bulk, walls.usable, 1), own_reach * own_reach,
        own_reach * own_reach;
    wide_.diagonal() += noise_.diagonal();
    c_ = wide_;
    energy_first_ = static_cast<std::size_t>(first_below(walls.dead_zone, line, walls.settings));
    longest_gap_ = held_whole(options.longest_gap * walls.settings.frame_rate, std::size_t{0},
                              std::size_t{most_counted});
    unseen_ = longest_gap_ + 1;  // the first frame is looked for
    std::vector<std::size_t> usable;
    for (std::size_t i = 0; i < walls.usable.size(); ++i) {
        if (walls.usable[i]) {
            usable.push_back(i);
        }
    }
    const std::size_t count = std::min(most_places, usable.size());
    for (std::size_t n = 0; n < count; ++n) {
        places_.push_back(usable[(n + 1) * usable.size() / count - 1]);
    }
}

double WallFilter::displacement(std::size_t wall) const noexcept {
    const LayerShare share = wall == far_wall ? walls_.far.share : walls_.near.share;
    return share.pulse * x_[at_p] + share.bulk * x_[at_q] + x_[wall == far_wall ? at_far : at_near];
}

GateMotion WallFilter::motion_of(std::size_t gate) const noexcept {
    return {.pulse = gates_[gate].late() ? x_[at_p] - walls_.lag * x_[at_p_speed] : x_[at_p],
            .bulk = x_[at_q],
            .own = gate == near_wall  ? x_[at_near]
                   : gate == far_wall ? x_[at_far]
                                      : 0};
}

void WallFilter::predict() {
    x_ = (transition_ * x_).eval();
    c_ = (transition_ * c_ * transition_.transpose() + noise_).eval();
}

void WallFilter::cut(std::span<const std::complex<float>> line) {
    for (FollowerGate& gate : gates_) {
        gate.cut(line, x_[at_p], x_[at_q]);
    }
}

// The state of a frame learned from that explains this one best.
void WallFilter::search(std::span<const std::complex<float>> line) {
    double least = std::numeric_limits<double>::infinity();
    Vector best = x_;
    for (const std::size_t i : places_) {
        x_ << walls_.pulse[i], 0, walls_.bulk[i], 0, walls_.near.own[i], walls_.far.own[i];
        cut(line);
        double sum = 0;
        for (std::size_t g = 0; g < gates_.size(); ++g) {
            sum += gates_[g].misfit(motion_of(g));
        }
        if (sum < least) {
            least = sum;
            best = x_;
        }
    }
    x_ = best;
    c_ = wide_;
}

void WallFilter::correct(std::span<const std::complex<float>> line) {
    const Vector predicted = x_;
    const Matrix sure = c_.llt().solve(Matrix::Identity());
    const int steps = unseen_ > longest_gap_ ? search_steps : options_.iterations;
    cut(line);
    FollowerGate::Fit fit;
    Matrix curvature;
    for (int k = 0; k < steps; ++k) {
        curvature = sure;
        Vector slope = -sure * (x_ - predicted);
        for (std::size_t g = 0; g < gates_.size(); ++g) {
            gates_[g].fit(motion_of(g), fit);
            const int place[FollowerGate::motions] = {at_p, at_q, g == far_wall ? at_far : at_near};
            // Tissue does nothing by itself.
            const int used = g <= far_wall ? FollowerGate::motions : FollowerGate::motions - 1;
            for (int a = 0; a < used; ++a) {
                slope[place[a]] += fit.slope[a];
                for (int b = 0; b < used; ++b) {
                    curvature(place[a], place[b]) += fit.curvature(a, b);
                }
            }
        }
        x_ += curvature.llt().solve(slope);
    }
    c_ = curvature.llt().solve(Matrix::Identity());
}

// Whether the gates hold what they held when they were learned: noise may look like a wall by
// chance, but not like all gates.
bool WallFilter::known_echoes() noexcept {
    double rest = 0;
    double whole = 0;
    for (std::size_t g = 0; g < gates_.size(); ++g) {
        const FollowerGate::Energies of = gates_[g].energies(motion_of(g));
        rest += of.rest;
        whole += of.whole;
    }
    return rest <= options_.largest_rest * whole;
}

bool WallFilter::shows_both_walls() noexcept {
    FollowerGate::Fit fit;
    bool both = true;
    for (const std::size_t wall : {near_wall, far_wall}) {
        gates_[wall].fit(motion_of(wall), fit);
        both = both && fit.correlation > options_.least_correlation;
    }
    return both;
}

void WallFilter::report(bool valid, FollowedFrame& out) const {
    FrameMotion& m = out.motion;
    out.near_displacement = displacement(near_wall);
    out.far_displacement = displacement(far_wall);
    m.near_wall = walls_.near.depth + out.near_displacement;
    m.far_wall = walls_.far.depth + out.far_displacement;
    m.diameter = m.far_wall - m.near_wall;
    m.valid = valid;
    if (!valid) {
        m.near_wall_std = m.far_wall_std = m.diameter_std =
            std::numeric_limits<double>::quiet_NaN();
        m.near_quality = m.far_quality = m.quality = 0;
        return;
    }
    Vector near, far;
    near << walls_.near.share.pulse, 0, walls_.near.share.bulk, 0, 1, 0;
    far << walls_.far.share.pulse, 0, walls_.far.share.bulk, 0, 0, 1;
    const WallDeviationOptions& options = walls_.confidence.deviation;
    const auto noise = [&](const Vector& to) {
        return options.noise * std::sqrt(std::max(to.dot(c_ * to), 0.0));
    };
    const DeviationParts near_parts = deviation_parts(walls_.near, walls_.near.share.pulse);
    const DeviationParts far_parts = deviation_parts(walls_.far, walls_.far.share.pulse);
    const double near_right = walls_.near.confidence;
    const double far_right = walls_.far.confidence;
    const StatedWall near_said =
        stated(wall_deviation(near_parts, noise(near), x_[at_p]), near_right, walls_.confidence);
    const StatedWall far_said =
        stated(wall_deviation(far_parts, noise(far), x_[at_p]), far_right, walls_.confidence);
    m.near_wall_std = near_said.deviation;
    m.far_wall_std = far_said.deviation;
    m.diameter_std = mixed_deviation(
        diameter_deviation(near_parts, far_parts, noise(far - near), x_[at_p], options),
        near_right * far_right, options);
    m.near_quality = near_said.quality;
    m.far_quality = far_said.quality;
    m.quality = std::min(m.near_quality, m.far_quality);
}

void WallFilter::step(std::span<const std::complex<float>> line, FrameState state,
                      FollowedFrame& out) {
    out.searched = false;
    if (state == FrameState::good) {
        double energy = 0;
        for (std::size_t m = energy_first_; m < line.size(); ++m) {
            energy += static_cast<double>(std::norm(line[m]));
        }
        if (!(energy * options_.energy_range >= walls_.energy &&
              energy <= options_.energy_range * walls_.energy)) {
            state = FrameState::dropped;
        }
    }
    out.state = state;
    predict();
    bool valid = false;
    if (state == FrameState::good) {
        const Vector expected = x_;
        const Matrix unsure = c_;
        if (unseen_ > longest_gap_) {
            search(line);
            out.searched = true;
        }
        correct(line);
        valid = known_echoes() && shows_both_walls();
        if (!valid) {  // what this frame says is not of the walls
            x_ = expected;
            c_ = unsure;
        }
    }
    unseen_ = valid ? 0 : unseen_ + 1;
    if (!valid) {  // no wall runs on at its last speed for long
        x_[at_p_speed] *= speed_left;
        x_[at_q_speed] *= speed_left;
        if (unseen_ > longest_gap_) {
            c_ = wide_;
        }
    }
    report(valid, out);
}

}  // namespace detail

}  // namespace echosieve
