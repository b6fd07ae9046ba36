// The normal equations of many frames whose echoes share their shapes.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/optimise/detail/bounded_step.hpp"
#include "echosieve/pursuit/detail/projected_echoes.hpp"

namespace echosieve::detail {

// Symbols (those of projected_echoes.hpp and bounded_step.hpp, and)
//   i        frame;  t_i its arrivals;  s the shapes: (f, B [, gamma]) of each echo, or of all
//   A_i      block of frame i's H of the arrivals;  B_i arrivals by shapes
//   C        shapes by shapes, summed over frames;  a_i, c the right sides
//   S        C - sum B_i' A_i^-1 B_i, the Schur complement;  damping in A_i and C
//
//   S ds = c - sum B_i' A_i^-1 a_i,      A_i dt_i = a_i - B_i ds
//
// The amplitudes are projected out of each frame, the arrivals by the Schur complement: the cost of
// a step is linear in the number of frames.

// The normal equations of one frame.
struct FrameBlock {
    Eigen::MatrixXd a;       // A_i
    Eigen::MatrixXd b;       // B_i
    Eigen::VectorXd right;   // a_i
    Eigen::VectorXd weight;  // of the arrivals
    Eigen::VectorXcd amplitude;
    double energy = 0;
};

// Those of all.
struct SharedEquations {
    std::vector<FrameBlock> frames;
    Eigen::MatrixXd c;
    Eigen::VectorXd right;
    Eigen::VectorXd weight;
    double energy = 0;
};

// What is free: shapes and the arrivals of every frame.
template <FittedAtom A>
struct SharedState {
    std::vector<A> shapes;     // of each echo; equal ones if one shape is common to all
    Eigen::MatrixXd arrivals;  // [echoes x frames]
};

// Where shapes and arrivals may lie.
struct SharedBounds {
    std::vector<Interval> shapes;  // of each shape parameter
    Eigen::MatrixXd first;         // earliest arrivals [echoes x frames]
    Eigen::MatrixXd last;
};

// Moves the start to the bounds, which are those of the boxes, and gives them: no arrival further
// than the reach from its start; `one_shape` is common to all echoes, in the ranges common to all
// boxes.
template <FittedAtom A>
[[nodiscard]] SharedBounds shared_bounds(SharedState<A>& state,
                                         const std::vector<AtomBox<A>>& boxes, bool one_shape,
                                         double arrival_reach) {
    constexpr Eigen::Index p = atom_parameters<A>;
    SharedBounds out;
    out.first.resizeLike(state.arrivals);
    out.last.resizeLike(state.arrivals);
    for (std::size_t k = 0; k < boxes.size(); ++k) {
        const auto row = static_cast<Eigen::Index>(k);
        for (Eigen::Index i = 0; i < state.arrivals.cols(); ++i) {
            double& arrival = state.arrivals(row, i);
            const Gate& gate = boxes[k].arrival;
            arrival = std::clamp(arrival, gate.begin, gate.end);
            out.first(row, i) = std::fmax(gate.begin, arrival - arrival_reach);
            out.last(row, i) = std::fmin(gate.end, arrival + arrival_reach);
        }
        for (Eigen::Index j = 1; j < p; ++j) {
            Interval range = parameter_range(boxes[k], j);
            if (one_shape) {
                for (const AtomBox<A>& box : boxes) {
                    range.lower = std::fmax(range.lower, parameter_range(box, j).lower);
                    range.upper = std::fmin(range.upper, parameter_range(box, j).upper);
                }
                require(range.upper >= range.lower, "upper end common to all boxes", range.upper,
                        concatenate("must not lie below the lower end, ", range.lower));
            }
            if (k == 0 || !one_shape) {
                out.shapes.push_back(range);
            }
            const A& start = state.shapes[one_shape ? 0 : k];
            atom_parameter(state.shapes[k], j) =
                std::clamp(atom_parameter(start, j), range.lower, range.upper);
        }
    }
    return out;
}

// Unknowns of all frames.
[[nodiscard]] inline double count_unknowns(const SharedBounds& bounds) {
    double unknowns = 2 * static_cast<double>(bounds.first.size());
    for (Eigen::Index i = 0; i < bounds.first.size(); ++i) {
        unknowns += bounds.last.data()[i] > bounds.first.data()[i] ? 1 : 0;
    }
    for (const Interval& range : bounds.shapes) {
        unknowns += range.width() > 0 ? 1 : 0;
    }
    return unknowns;
}

// Writes the equations of a state, and eliminates the arrivals from them.
template <FittedAtom A>
class SharedSystem {
public:
    static constexpr Eigen::Index p = atom_parameters<A>;
    static constexpr Eigen::Index q = p - 1;  // shape parameters of an atom

    // `rows`, which outlives this: y of each frame as a column. `shapes`: number of shape
    // parameters, of each echo or of one.
    SharedSystem(const SamplingGrid& grid, bool complex_samples, const Eigen::MatrixXd& rows,
                 const SharedState<A>& start, Eigen::Index shapes)
        : rows_(rows),
          echoes_(start.arrivals.rows()),
          shapes_(shapes),
          units_(parameter_units(start.shapes)),
          projected_(grid, complex_samples, units_),
          atoms_(start.shapes) {}

    // Equations of the right size.
    [[nodiscard]] SharedEquations blank() const {
        SharedEquations out;
        const FrameBlock frame{Eigen::MatrixXd(echoes_, echoes_), Eigen::MatrixXd(echoes_, shapes_),
                               Eigen::VectorXd(echoes_),          Eigen::VectorXd(echoes_),
                               Eigen::VectorXcd(echoes_),         0};
        out.frames.assign(static_cast<std::size_t>(rows_.cols()), frame);
        out.c.resize(shapes_, shapes_);
        out.right.resize(shapes_);
        out.weight.resize(shapes_);
        return out;
    }
    [[nodiscard]] Eigen::Index echoes() const noexcept { return echoes_; }
    [[nodiscard]] Eigen::Index shapes() const noexcept { return shapes_; }
    [[nodiscard]] Eigen::Index frames() const noexcept { return rows_.cols(); }
    [[nodiscard]] double arrival_unit(Eigen::Index echo) const noexcept { return units_[p * echo]; }
    [[nodiscard]] double shape_unit(Eigen::Index j) const noexcept {
        return units_[p * (j / q) + 1 + j % q];
    }
    // Number of the shape parameter that parameter j = 1 .. q of an echo is.
    [[nodiscard]] Eigen::Index shape_index(Eigen::Index echo, Eigen::Index j) const noexcept {
        return (shapes_ == q ? 0 : q * echo) + j - 1;
    }

    [[nodiscard]] auto arrival_units() const {
        return Eigen::Map<const Eigen::VectorXd, 0, Eigen::InnerStride<p>>(units_.data(), echoes_);
    }
    void compute(const SharedState<A>& state, SharedEquations& out) {
        out.c.setZero();
        out.right.setZero();
        out.weight.setZero();
        out.energy = 0;
        for (Eigen::Index i = 0; i < rows_.cols(); ++i) {
            FrameBlock& frame = out.frames[static_cast<std::size_t>(i)];
            for (Eigen::Index k = 0; k < echoes_; ++k) {
                atoms_[static_cast<std::size_t>(k)] = state.shapes[static_cast<std::size_t>(k)];
                atoms_[static_cast<std::size_t>(k)].arrival = state.arrivals(k, i);
            }
            projected_.project(atoms_, rows_.col(i));
            frame.energy = projected_.energy();
            out.energy += frame.energy;
            frame.b.setZero();
            for (Eigen::Index k = 0; k < echoes_; ++k) {
                frame.amplitude[k] = projected_.amplitude(k);
                frame.right[k] = projected_.gradient()[p * k];
                frame.weight[k] = projected_.weight()[p * k];
                for (Eigen::Index l = 0; l < echoes_; ++l) {
                    add_pair(k, l, frame, out);
                }
                for (Eigen::Index j = 1; j < p; ++j) {
                    out.right[shape_index(k, j)] += projected_.gradient()[p * k + j];
                    out.weight[shape_index(k, j)] += projected_.weight()[p * k + j];
                }
            }
        }
    }
    // Factor of A_i with the arrivals that don't count, `held(echo)`, taken out of A_i and, by
    // `solved`, out of [B_i a_i]: A_i^-1 [B_i a_i] is written there.
    template <class Held>
    void eliminate(const FrameBlock& frame, double damping, Held held,
                   Eigen::LDLT<Eigen::MatrixXd>& factor, Eigen::MatrixXd& matrix,
                   Eigen::MatrixXd& solved) const {
        matrix = frame.a;
        solved.leftCols(shapes_) = frame.b;
        solved.col(shapes_) = frame.right;
        for (Eigen::Index k = 0; k < echoes_; ++k) {
            if (held(k)) {
                matrix.row(k).setZero();
                matrix.col(k).setZero();
                matrix(k, k) = 1;
                solved.row(k).setZero();
            } else {
                matrix(k, k) += (damping + rounding_ridge) * frame.weight[k];
            }
        }
        factor.compute(matrix);
        factor.solveInPlace(solved);
    }

private:
    void add_pair(Eigen::Index k, Eigen::Index l, FrameBlock& frame, SharedEquations& out) const {
        const Eigen::MatrixXd& h = projected_.gram();
        frame.a(k, l) = h(p * k, p * l);
        for (Eigen::Index j = 1; j < p; ++j) {
            frame.b(k, shape_index(l, j)) += h(p * k, p * l + j);
            for (Eigen::Index m = 1; m < p; ++m) {
                out.c(shape_index(k, m), shape_index(l, j)) += h(p * k + m, p * l + j);
            }
        }
    }

    const Eigen::MatrixXd& rows_;
    Eigen::Index echoes_;
    Eigen::Index shapes_;
    Eigen::VectorXd units_;
    ProjectedEchoes<A> projected_;
    std::vector<A> atoms_;
};

}  // namespace echosieve::detail
