// Gauss-Newton over many frames whose echoes share their shapes.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cstddef>
#include <utility>

#include "echosieve/core/grid.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/optimise/detail/bounded_step.hpp"
#include "echosieve/optimise/detail/damped_steps.hpp"
#include "echosieve/pursuit/detail/shared_equations.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve::detail {

/// What ended a fit, and after how many steps, rejected ones included.
struct FitEnd {
    FitStatus status = FitStatus::iteration_limit;
    int iterations = 0;
};

/// A fit of one frame is one of many frames whose number is one.
template <FittedAtom A>
class SharedShapeSolver {
public:
    static constexpr Eigen::Index p = atom_parameters<A>;
    using R = typename A::real_type;
    static constexpr Eigen::Index q = p - 1;  // shape parameters of an atom

    // `rows`: y of each frame as a column. Shapes and arrivals of the start lie inside the bounds.
    SharedShapeSolver(const SamplingGrid& grid, bool complex_samples, const Eigen::MatrixX<R>& rows,
                      const SharedState<A>& start, const SharedBounds& bounds)
        : bounds_(bounds),
          at_(start),
          trial_(start),
          system_(grid, complex_samples, rows, start,
                  static_cast<Eigen::Index>(bounds.shapes.size())),
          equations_(system_.blank()),
          next_(equations_),
          shape_solver_(system_.shapes()),
          arrival_solver_(system_.echoes()),
          factor_(system_.echoes()),
          solved_(system_.echoes(), system_.shapes() + 1),
          arrival_step_(start.arrivals),
          shape_step_(system_.shapes()) {}

    [[nodiscard]] FitEnd run(const FitOptions& options) {
        options_ = options;
        end_ = {};
        system_.compute(at_, equations_);
        // The first step is a full one but for its last digits; a good one divides the damping by
        // three at most: the courses of crowded echoes are curved.
        end_.iterations = take_steps(*this, Damping(1e-3, 3), options.iterations);
        return end_;
    }

    // The parts of take_steps.
    [[nodiscard]] ModelStep find_step(double damping) {
        const double gain = write_steps(damping);
        return {gain,
                std::max(shape_step_.cwiseAbs().maxCoeff(), arrival_step_.cwiseAbs().maxCoeff())};
    }
    [[nodiscard]] bool ends(const ModelStep& step, double damping) noexcept {
        // A damped step promises little: only one near the full step may end the fit by its gain.
        constexpr double hardly_damped = 1e-2;
        if (step.longest <= options_.step_tolerance) {
            end_.status = FitStatus::converged_step;
        } else if (damping < hardly_damped &&
                   step.gain <= options_.gain_tolerance * equations_.energy) {
            end_.status = FitStatus::converged_gain;
        }
        return end_.status != FitStatus::iteration_limit;
    }
    [[nodiscard]] double try_step() {
        take_step();
        system_.compute(trial_, next_);
        return equations_.energy - next_.energy;
    }
    void accept() {
        std::swap(at_, trial_);
        std::swap(equations_, next_);
    }

    [[nodiscard]] const SharedState<A>& state() const noexcept { return at_; }
    [[nodiscard]] const SharedSystem<A>& system() const noexcept { return system_; }
    [[nodiscard]] const SharedEquations& equations() const noexcept { return equations_; }

private:
    // Gives the gain that the model promises.
    [[nodiscard]] double write_steps(double damping) {
        schur_ = equations_.c;
        schur_right_ = equations_.right;
        const auto each_frame = [&](auto use) {
            for (Eigen::Index i = 0; i < system_.frames(); ++i) {
                const FrameBlock& frame = equations_.frames[static_cast<std::size_t>(i)];
                down_ = (bounds_.first.col(i) - at_.arrivals.col(i))
                            .cwiseQuotient(system_.arrival_units());
                up_ = (bounds_.last.col(i) - at_.arrivals.col(i))
                          .cwiseQuotient(system_.arrival_units());
                use(i, frame);
            }
        };
        each_frame([&](Eigen::Index, const FrameBlock& frame) {
            const double least = weightless * frame.weight.maxCoeff();
            system_.eliminate(
                frame, damping,
                [&](Eigen::Index k) {
                    return !(frame.weight[k] > least) ||
                           held_by_bounds(down_[k], up_[k], frame.right[k]);
                },
                factor_, matrix_, solved_);
            schur_.noalias() -= frame.b.transpose() * solved_.leftCols(system_.shapes());
            schur_right_.noalias() -= frame.b.transpose() * solved_.col(system_.shapes());
        });
        shape_down_.resize(system_.shapes());
        shape_up_.resize(system_.shapes());
        for (Eigen::Index j = 0; j < system_.shapes(); ++j) {
            const Interval range = bounds_.shapes[static_cast<std::size_t>(j)];
            const double x = atom_parameter(at_.shapes[static_cast<std::size_t>(j / q)], 1 + j % q);
            shape_down_[j] = (range.lower - x) / system_.shape_unit(j);
            shape_up_[j] = (range.upper - x) / system_.shape_unit(j);
        }
        shape_solver_.solve(
            StepProblem{schur_, schur_right_, equations_.weight, shape_down_, shape_up_}, damping,
            shape_step_);
        double predicted =
            2 * shape_step_.dot(equations_.right) - shape_step_.dot(equations_.c * shape_step_);
        each_frame([&](Eigen::Index i, const FrameBlock& frame) {
            frame_right_ = frame.right - frame.b * shape_step_;
            auto step = arrival_step_.col(i);
            arrival_solver_.solve(StepProblem{frame.a, frame_right_, frame.weight, down_, up_},
                                  damping, step);
            predicted += 2 * step.dot(frame_right_) - step.dot(frame.a * step);
        });
        return predicted;
    }
    void take_step() {
        for (Eigen::Index k = 0; k < system_.echoes(); ++k) {
            A& shape = trial_.shapes[static_cast<std::size_t>(k)];
            shape = at_.shapes[static_cast<std::size_t>(k)];
            for (Eigen::Index j = 1; j < p; ++j) {
                const Eigen::Index s = system_.shape_index(k, j);
                const Interval range = bounds_.shapes[static_cast<std::size_t>(s)];
                double& x = atom_parameter(shape, j);
                x = std::clamp(x + system_.shape_unit(s) * shape_step_[s], range.lower,
                               range.upper);
            }
        }
        trial_.arrivals = (at_.arrivals + system_.arrival_units().asDiagonal() * arrival_step_)
                              .cwiseMax(bounds_.first)
                              .cwiseMin(bounds_.last);
    }

    FitOptions options_;
    FitEnd end_;
    SharedBounds bounds_;
    SharedState<A> at_;
    SharedState<A> trial_;
    SharedSystem<A> system_;
    SharedEquations equations_;
    SharedEquations next_;
    BoundedStep<R> shape_solver_;
    BoundedStep<R> arrival_solver_;
    Eigen::LDLT<Eigen::MatrixX<R>> factor_;
    Eigen::MatrixX<R> matrix_;
    Eigen::MatrixX<R> solved_;
    Eigen::MatrixX<R> arrival_step_;
    Eigen::VectorX<R> shape_step_;
    Eigen::MatrixX<R> schur_;
    Eigen::VectorX<R> schur_right_;
    Eigen::VectorX<R> frame_right_;
    Eigen::VectorX<R> down_, up_, shape_down_, shape_up_;
};

}  // namespace echosieve::detail
