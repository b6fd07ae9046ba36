// Both walls of a learned artery followed frame by frame: a frame in, motion out, at once.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/condition/pinned_samples.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/scalar.hpp"
#include "echosieve/motion/artery_motion.hpp"
#include "motion/follower_gate.hpp"
#include "echosieve/motion/learned_walls.hpp"

namespace echosieve {

// Symbols (those of layers.hpp and learned_walls.hpp, and)
//   x = (p, p', q, q', o_n, o_f)   state: the time courses and their steps a frame, and what each
//       wall does beyond them;  C its covariance
//   Y_g(f) = sum_k S_gk(f) exp(-i 2 pi f (2/c) d_gk) + noise of variance v_g,   d_gk = c_gk' x
//
// p and q go on at their speed, which changes by white noise as strong as the courses learned from
// have it; o walks at random. Each frame's gates then correct x, by Gauss and Newton with the
// prediction as one more measurement (the iterated Kalman filter: Bell and Cathey 1993):
//
//   (C^-1 + H) step = g - C^-1 (x - x_predicted),   H, g  curvature and slope of the gates' fit
//
// So every frame rests on its own echoes and on all frames before, and on none after: a smoothing
// over frames, as track_artery has it, knows more. After frames that show no wall the state is
// looked for anew, among those of the frames learned from.

struct FollowerOptions {
    int iterations = 2;              ///< Gauss-Newton steps a frame
    double least_correlation = 0.3;  ///< of a frame's wall with its echo; below it is not valid
    /// part of the gates' energy that the learned layers may leave: a frame of noise leaves all
    double largest_rest = 0.8;
    double energy_range = 9;  ///< largest factor between a frame's energy and the learned one
    double clipped_fraction = 0.005;  ///< of a frame's samples pinned, beyond those always pinned
    double agility = 2;               ///< strength of the changes of speed, over the learned one
    double longest_gap = 0.05;  ///< without a wall seen, before the state is looked for anew [s]
};

/// Throws InvalidInput, naming option, value and limit.
void validate(const FollowerOptions& options);

/// A frame as it was followed. In a frame that is not valid the depths are what was to be expected,
/// the standard deviations NaN and the qualities 0.
struct FollowedFrame {
    FrameMotion motion;            ///< time counts from the first frame pushed
    double near_displacement = 0;  ///< from rest, deeper positive [m]
    double far_displacement = 0;   ///< [m]
    /// why the frame was not used; good, in a frame that is not valid: it showed no wall
    FrameState state = FrameState::good;
    bool searched = false;  ///< the state was looked for anew
};

namespace detail {

/// The filter on conditioned frames: what does not depend on the samples' type.
class WallFilter {
public:
    static constexpr int size = 6;
    using Vector = Eigen::Matrix<double, size, 1>;
    using Matrix = Eigen::Matrix<double, size, size>;

    /// Throws InvalidInput as FrameFollower does.
    WallFilter(const LearnedWalls& walls, const SamplingGrid& line, const FollowerOptions& options);

    /// Takes a frame's baseband, `state` said to be good, or none.
    void step(std::span<const std::complex<float>> line, FrameState state, FollowedFrame& out);

private:
    void predict();
    void correct(std::span<const std::complex<float>> line);
    void search(std::span<const std::complex<float>> line);
    void cut(std::span<const std::complex<float>> line);
    [[nodiscard]] bool known_echoes() noexcept;
    [[nodiscard]] bool shows_both_walls() noexcept;
    [[nodiscard]] GateMotion motion_of(std::size_t gate) const noexcept;
    [[nodiscard]] double displacement(std::size_t wall) const noexcept;
    void report(bool valid, FollowedFrame& out) const;

    LearnedWalls walls_;
    FollowerOptions options_;
    std::vector<FollowerGate> gates_;  // near wall, far wall, tissue
    Matrix transition_;
    Matrix noise_;
    Vector x_ = Vector::Zero();
    Matrix c_ = Matrix::Identity();
    Matrix wide_;                   // C after a search
    std::size_t energy_first_ = 0;  // first baseband sample below the dead zone
    std::size_t unseen_ = 0;        // frames in a row that showed no wall
    std::size_t longest_gap_ = 0;
    std::vector<std::size_t> places_;  // frames learned from, whose states a search tries
};

}  // namespace detail

/// Follows frame after frame of raw samples of type T. Allocates when made, and not after. A frame
/// in which the state is looked for anew takes some fifteen times as long as others (measured by
/// bench/compare_motion/stream_latency.cpp). Not thread-safe: one object a thread.
template <class T>
class FrameFollower {
public:
    /// Throws InvalidInput for options outside their domain, and for walls that learn_walls can't
    /// have given, see validate(LearnedWalls).
    explicit FrameFollower(const LearnedWalls& walls, const FollowerOptions& options = {})
        : basebander_(walls.settings, walls.samples, walls.baseband),
          filter_(walls, basebander_.grid(), options),
          low_(walls.lowest),
          high_(walls.highest),
          pinned_(static_cast<double>(walls.pinned) +
                  options.clipped_fraction * static_cast<double>(walls.samples)),
          frame_rate_(walls.settings.frame_rate),
          before_(walls.samples),
          line_(basebander_.grid().count) {}

    /// Takes the next frame; the result stays until the next one. A frame that can't be used is
    /// marked so, and the rest goes on. Throws InvalidInput unless it has the learned recording's
    /// samples.
    const FollowedFrame& push(std::span<const T> frame) {
        if (frame.size() != before_.size()) {  // no text is made in a good run
            require(false, "samples of the frame", frame.size(),
                    detail::concatenate("must be ", before_.size()));
        }
        const FrameState state = look_at(frame);
        if (state == FrameState::good) {
            basebander_.process(frame, std::span<std::complex<float>>(line_));
        }
        std::copy(frame.begin(), frame.end(), before_.begin());
        out_.motion.time = static_cast<double>(pushed_++) / frame_rate_;
        filter_.step(line_, state, out_);
        return out_;
    }
    [[nodiscard]] std::size_t pushed() const noexcept { return pushed_; }

private:
    [[nodiscard]] FrameState look_at(std::span<const T> frame) const {
        if (!detail::all_finite(frame)) {
            return FrameState::not_finite;
        }
        if (pushed_ > 0 && std::equal(frame.begin(), frame.end(), before_.begin())) {
            return out_.state == FrameState::dropped ? FrameState::dropped : FrameState::frozen;
        }
        return static_cast<double>(detail::pinned_samples(frame, low_, high_)) > pinned_
                   ? FrameState::clipped
                   : FrameState::good;
    }

    Basebander<float> basebander_;
    detail::WallFilter filter_;
    double low_;
    double high_;
    double pinned_;
    double frame_rate_;
    std::size_t pushed_ = 0;
    std::vector<T> before_;
    std::vector<std::complex<float>> line_;
    FollowedFrame out_;
};

}  // namespace echosieve
