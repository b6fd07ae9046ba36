// Both walls of a learned artery followed frame by frame: a frame in, motion out, at once. Link
// echosieve::motion.
#pragma once

#include <concepts>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>

#include "echosieve/condition/options.hpp"
#include "echosieve/core/detail/api.hpp"
#include "echosieve/motion/learned_walls.hpp"

namespace echosieve {

// Symbols (those of learned_walls.hpp, and)
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

/// Follows frame after frame of raw samples of type T, std::int16_t or float. Allocates when made,
/// and not after. A frame in which the state is looked for anew takes some fifteen times as long as
/// others (measured by bench/compare_motion/stream_latency.cpp). Not thread-safe: one object a
/// thread. Can be moved; what was moved from can only be assigned to.
template <class T>
class FrameFollower {
    static_assert(std::same_as<T, std::int16_t> || std::same_as<T, float>, "compiled for these");

public:
    /// Throws InvalidInput for options outside their domain, and for walls that learn_walls can't
    /// have given, see validate(LearnedWalls).
    explicit FrameFollower(const LearnedWalls& walls, const FollowerOptions& options = {}) {
        validate(options);
        validate(walls);
        make(walls, options);
    }

    /// Takes the next frame; the result stays until the next one. A frame that can't be used is
    /// marked so, and the rest goes on. Throws InvalidInput unless it has the learned recording's
    /// samples.
    ECHOSIEVE_EXPORT const FollowedFrame& push(std::span<const T> frame);
    [[nodiscard]] ECHOSIEVE_EXPORT std::size_t pushed() const noexcept;

private:
    struct State;
    struct Release {
        ECHOSIEVE_EXPORT void operator()(State* state) const noexcept;
    };

    ECHOSIEVE_EXPORT void make(const LearnedWalls& walls, const FollowerOptions& options);

    std::unique_ptr<State, Release> state_;
};

}  // namespace echosieve
