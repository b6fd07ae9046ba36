// How well shapes and arrivals are known after a fit of many frames.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>

#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/optimise/detail/bounded_step.hpp"
#include "echosieve/pursuit/detail/shared_equations.hpp"

namespace echosieve::detail {

// Symbols (those of shared_equations.hpp, and)
//   sigma     standard deviation of the noise of one real component
//   cov(s)  = sigma^2 S^-1
//   var(t)  = sigma^2 diag(A^-1 + A^-1 B S^-1 B' A^-1) of each frame
//
// The second term is what the shape's uncertainty adds; it falls as one over the number of frames.
// A and S have a ridge of the size of their rounding: where they are singular the variances are
// some 1e14 times those of the parameter alone, not infinite. They are infinite where the echo has
// no amplitude.

struct SharedUncertainty {
    Eigen::MatrixXd arrivals;  // standard deviations [frames x echoes]
    Eigen::MatrixXd shapes;    // covariance
};

// S^-1 of the free shapes, the rest 0. `schur` is S.
template <Real R>
[[nodiscard]] Eigen::MatrixX<R> inverse_schur(Eigen::MatrixX<R> schur,
                                              const Eigen::VectorXd& weight,
                                              const SharedBounds& bounds) {
    const Eigen::Index n = schur.rows();
    Eigen::VectorX<R> scale(n);
    for (Eigen::Index j = 0; j < n; ++j) {
        const bool free = bounds.shapes[static_cast<std::size_t>(j)].width() > 0 && weight[j] > 0;
        const double ridge = rounding_ridge * weight[j];
        schur(j, j) = std::max(schur(j, j), 0.0) + ridge;
        scale[j] = free ? 1 / std::sqrt(schur(j, j)) : 0.0;
    }
    schur = (scale.asDiagonal() * schur * scale.asDiagonal()).eval();
    schur.diagonal().setOnes();
    const Eigen::MatrixX<R> identity = Eigen::MatrixX<R>::Identity(n, n);
    return scale.asDiagonal() * Eigen::LDLT<Eigen::MatrixX<R>>(schur).solve(identity) *
           scale.asDiagonal();
}

// `deviation`: sigma in the units of the samples that the equations were made of.
template <FittedAtom A>
[[nodiscard]] SharedUncertainty shared_uncertainty(const SharedSystem<A>& system,
                                                   const SharedEquations& equations,
                                                   const SharedBounds& bounds, double deviation) {
    using R = typename A::real_type;
    const double infinity = std::numeric_limits<double>::infinity();
    const Eigen::Index echoes = system.echoes();
    const Eigen::Index shapes = system.shapes();
    auto eliminated = system.elimination();
    const auto& [factor, matrix, solved] = eliminated;
    const auto no_amplitude = [&](Eigen::Index frame, Eigen::Index k) {
        const Eigen::VectorXd& weight = equations.frames[static_cast<std::size_t>(frame)].weight;
        return !(weight[k] > weightless * weight.maxCoeff());
    };
    const auto held = [&](Eigen::Index frame, Eigen::Index k) {
        return bounds.first(k, frame) >= bounds.last(k, frame);
    };
    const auto eliminate = [&](Eigen::Index i) -> const FrameBlock& {
        const FrameBlock& frame = equations.frames[static_cast<std::size_t>(i)];
        system.eliminate(
            frame, 0, [&](Eigen::Index k) { return held(i, k) || no_amplitude(i, k); }, eliminated);
        return frame;
    };
    Eigen::MatrixX<R> schur = equations.c;
    for (Eigen::Index i = 0; i < system.frames(); ++i) {
        schur.noalias() -= eliminate(i).b.transpose() * solved.leftCols(shapes);
    }
    const Eigen::MatrixX<R> inverse = inverse_schur(schur, equations.weight, bounds);
    SharedUncertainty out{Eigen::MatrixX<R>(system.frames(), echoes), inverse};
    const Eigen::MatrixX<R> identity = Eigen::MatrixX<R>::Identity(echoes, echoes);
    for (Eigen::Index i = 0; i < system.frames(); ++i) {
        eliminate(i);
        const Eigen::MatrixX<R> alone = factor.solve(identity);
        for (Eigen::Index k = 0; k < echoes; ++k) {
            const auto row = solved.row(k).head(shapes);
            const double variance = alone(k, k) + row.dot(row * inverse);
            out.arrivals(i, k) = held(i, k) ? 0.0
                                 : no_amplitude(i, k) || !(variance >= 0)
                                     ? infinity
                                     : deviation * system.arrival_unit(k) * std::sqrt(variance);
        }
    }
    for (Eigen::Index j = 0; j < shapes; ++j) {
        const double unit = deviation * system.shape_unit(j);
        out.shapes.row(j) *= unit;
        out.shapes.col(j) *= unit;
        if (bounds.shapes[static_cast<std::size_t>(j)].width() > 0 && !(equations.weight[j] > 0)) {
            out.shapes(j, j) = infinity;
        }
    }
    return out;
}

}  // namespace echosieve::detail
