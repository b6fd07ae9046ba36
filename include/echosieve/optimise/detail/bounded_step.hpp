// One damped Gauss-Newton step that stays inside its bounds.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "echosieve/core/detail/scalar.hpp"

namespace echosieve {

// Symbols
//   H, h   matrix and right side of the Gauss-Newton step d of a cost that is a sum of squares:
//          the model's gain is 2 h' d - d' H d
//   w      weights of the damping: squared lengths of the columns of the Jacobian
//   mu     damping;  (H + mu diag w) d = h
//
// Levenberg's damping (1944) with Marquardt's weights (1963). A parameter on its bound whose h
// points outwards is held. Where the step would leave the bounds, the parameters that would are put
// on them and the others solved for anew, until none leaves.

/// Added to every damping: keeps the matrix definite where columns are dependent.
inline constexpr double rounding_ridge = 1e-14;

/// A column with less than this part of the largest weight has no say in the cost (as that of an
/// echo of no amplitude): its parameter is held.
inline constexpr double weightless = 1e-24;

/// Longest step of one parameter, in its unit, unless a BoundedStep is made with another.
inline constexpr double longest_step = 1;

/// Whether bounds hold a parameter: they leave no room, or it is on one and h points outwards.
[[nodiscard]] constexpr bool held_by_bounds(double down, double up, double gradient) noexcept {
    return down >= up || (down >= 0 && gradient < 0) || (up <= 0 && gradient > 0);
}

/// What a step is sought from: the model's matrix and right side, the weights of the damping, and
/// the ways to the bounds, down <= 0 and up >= 0.
template <class Matrix, class Vector, class Weight, class Bound>
struct StepProblem {
    const Matrix& h;
    const Vector& gradient;
    const Weight& weight;
    const Bound& down;
    const Bound& up;
};
// clang 16 deduces no aggregates by itself.
template <class Matrix, class Vector, class Weight, class Bound>
StepProblem(const Matrix&, const Vector&, const Weight&, const Bound&, const Bound&)
    -> StepProblem<Matrix, Vector, Weight, Bound>;

/// Solves for steps of n parameters. It allocates when made.
template <Real R = double>
class BoundedStep {
public:
    explicit BoundedStep(Eigen::Index n, double longest = longest_step)
        : longest_(longest),
          matrix_(n, n),
          right_(n),
          factor_(n),
          fixed_(static_cast<std::size_t>(n)),
          held_(static_cast<std::size_t>(n)) {}

    /// Writes the step.
    template <class Problem, class Step>
    void solve(const Problem& problem, double damping, Step&& step) {
        const auto& [h, gradient, weight, down, up] = problem;
        const Eigen::Index n = right_.size();
        const double least = weightless * (n > 0 ? weight.maxCoeff() : 0.0);
        for (Eigen::Index j = 0; j < n; ++j) {
            step[j] = 0;
            held_[index(j)] = !(weight[j] > least) || held_by_bounds(down[j], up[j], gradient[j]);
            fixed_[index(j)] = held_[index(j)];
        }
        bool left = true;
        while (left) {
            assemble(problem, damping, step);
            factor_.compute(matrix_);
            right_ = factor_.solve(right_);
            left = false;
            for (Eigen::Index j = 0; j < n; ++j) {
                if (fixed_[index(j)]) {
                    continue;
                }
                step[j] = right_[j];
                if (!(step[j] >= down[j] && step[j] <= up[j])) {
                    step[j] = std::isfinite(step[j]) ? std::clamp(step[j], down[j], up[j]) : R{0};
                    fixed_[index(j)] = true;
                    left = true;
                }
            }
        }
        const double longest = n > 0 ? step.cwiseAbs().maxCoeff() : 0.0;
        if (longest > longest_) {
            step *= static_cast<R>(longest_ / longest);
        }
    }

    /// Goes on from the step that solve() found, for no longest one: what was put on a bound is let
    /// go again, one parameter at a time, until none would gain by it. That is the best step inside
    /// the bounds (a primal active-set method: Nocedal and Wright 2006, algorithm 16.3, from
    /// memory).
    template <class Problem, class Step>
    void settle(const Problem& problem, double damping, Step&& step) {
        // Each round gains, so that it ends; the limit is for rounding.
        for (Eigen::Index round = 0; round < 8 * right_.size(); ++round) {
            const Eigen::Index freed = most_wanting(problem, damping, step);
            if (freed < 0) {
                return;
            }
            fixed_[index(freed)] = false;
            Eigen::Index blocked = freed;
            while (blocked >= 0) {
                assemble(problem, damping, step);
                factor_.compute(matrix_);
                right_ = factor_.solve(right_);
                if (!right_.allFinite()) {
                    return;
                }
                blocked = go_towards(problem.down, problem.up, step);
            }
        }
    }

private:
    // The parameter on a bound that gains most by leaving it, or -1.
    template <class Problem, class Step>
    [[nodiscard]] Eigen::Index most_wanting(const Problem& problem, double damping,
                                            const Step& step) const {
        const auto& [h, gradient, weight, down, up] = problem;
        Eigen::Index found = -1;
        double scale = 0;
        double most = 0;
        for (Eigen::Index j = 0; j < right_.size(); ++j) {
            if (held_[index(j)]) {
                continue;
            }
            const double length = std::sqrt(weight[j]);
            scale = std::max(scale, std::abs(gradient[j]) / length);
            if (fixed_[index(j)]) {
                const double slope = (gradient[j] - h.col(j).dot(step) -
                                      (damping + rounding_ridge) * weight[j] * step[j]) /
                                     length;
                const double inwards = step[j] <= down[j] ? slope : step[j] >= up[j] ? -slope : 0;
                if (inwards > most) {
                    most = inwards;
                    found = j;
                }
            }
        }
        constexpr double rounding = 1e-12;
        return most > rounding * scale ? found : -1;
    }
    // Moves the step towards right_ as far as the bounds let it, and fixes the parameter that they
    // stop first, which is returned; -1 if none.
    template <class Bound, class Step>
    [[nodiscard]] Eigen::Index go_towards(const Bound& down, const Bound& up, Step& step) {
        double part = 1;
        Eigen::Index blocked = -1;
        for (Eigen::Index j = 0; j < right_.size(); ++j) {
            const double way = right_[j] - step[j];
            const double room = way > 0 ? up[j] - step[j] : down[j] - step[j];
            if (!fixed_[index(j)] && std::abs(room) < part * std::abs(way)) {
                part = room / way;
                blocked = j;
            }
        }
        for (Eigen::Index j = 0; j < right_.size(); ++j) {
            if (!fixed_[index(j)]) {
                step[j] = std::clamp(static_cast<R>(step[j] + part * (right_[j] - step[j])),
                                     down[j], up[j]);
            }
        }
        if (blocked >= 0) {
            step[blocked] = right_[blocked] > step[blocked] ? up[blocked] : down[blocked];
            fixed_[index(blocked)] = true;
        }
        return blocked;
    }
    [[nodiscard]] static std::size_t index(Eigen::Index j) noexcept {
        return static_cast<std::size_t>(j);
    }
    // The system with the fixed parameters' rows and columns replaced by ones that give their step.
    template <class Problem, class Step>
    void assemble(const Problem& problem, double damping, const Step& step) {
        const auto& [h, gradient, weight, down, up] = problem;
        const Eigen::Index n = right_.size();
        for (Eigen::Index j = 0; j < n; ++j) {
            if (fixed_[index(j)]) {
                matrix_.col(j).setZero();
                matrix_.row(j).setZero();
                matrix_(j, j) = 1;
                right_[j] = step[j];
                continue;
            }
            right_[j] = gradient[j];
            for (Eigen::Index i = 0; i < n; ++i) {
                if (fixed_[index(i)]) {
                    right_[j] -= h(j, i) * step[i];
                } else {
                    matrix_(i, j) = h(i, j);
                }
            }
            matrix_(j, j) += static_cast<R>((damping + rounding_ridge) * weight[j]);
        }
    }

    double longest_;
    Eigen::MatrixX<R> matrix_;
    Eigen::VectorX<R> right_;
    Eigen::LDLT<Eigen::MatrixX<R>> factor_;
    std::vector<bool> fixed_;  // in the system that is being solved
    std::vector<bool> held_;   // from the start
};

}  // namespace echosieve
