// The filter of a FrameFollower on conditioned frames: what does not depend on the samples' type.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/condition/options.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "motion/follow/follower_gate.hpp"

namespace echosieve {

namespace detail {

/// Symbols: those of frame_follower.hpp.
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

}  // namespace echosieve
