// Echoes of many frames fitted together: shapes common to all frames, arrivals and amplitudes of
// each frame its own.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/detail/signal.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/pursuit/detail/projected_echoes.hpp"
#include "echosieve/pursuit/detail/shared_shape_solver.hpp"
#include "echosieve/pursuit/detail/shared_uncertainty.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve {

// Symbols: those of shared_equations.hpp; uncertainties as in shared_uncertainty.hpp.
//
// Two echoes closer than a pulse length are hardly told apart where everything is free in each
// frame; once many frames have settled the shape, the arrivals are known nearly as well as with a
// known one: what the shape's uncertainty adds falls as one over the number of frames.

struct SharedShapeOptions {
    FitOptions fit{};
    bool one_shape = false;  ///< one shape common to all echoes, in the ranges common to all boxes
    double arrival_reach = std::numeric_limits<double>::infinity();  ///< arrivals stay this near
                                                                     ///< their start [s]
};

inline void validate(const SharedShapeOptions& options) {
    validate(options.fit);
    require(options.arrival_reach >= 0, "arrival_reach", options.arrival_reach,
            "must be zero or more [s]");
}

/// What a fit of many frames gives. Matrices are [frames x echoes].
template <FittedAtom A>
struct SharedShapeFit {
    FitStatus status = FitStatus::not_run;
    int iterations = 0;                  ///< rejected steps included
    std::vector<A> shapes;               ///< of each echo, arrival 0
    Eigen::MatrixXd arrivals;            ///< [s]
    Eigen::MatrixXcd amplitudes;         ///< peak of the envelope and phase there
    Eigen::MatrixXd arrival_deviations;  ///< [s], the shape's uncertainty included; 0 if held,
                                         ///< infinite of an echo of no amplitude
    Eigen::MatrixXd shape_covariance;   ///< of (centre frequency, bandwidth [, chirp rate]) of each
                                        ///< echo, or of the one shape; 0 if held
    Eigen::VectorXd residual_energies;  ///< of each frame
    double noise_variance = 0;          ///< given, or residual energy / degrees of freedom
    Eigen::Array<bool, Eigen::Dynamic, Eigen::Dynamic> resolvable;

    [[nodiscard]] Echo<A> echo(std::size_t frame, std::size_t number) const {
        const auto i = static_cast<Eigen::Index>(frame);
        const auto k = static_cast<Eigen::Index>(number);
        A atom = shapes[number];
        atom.arrival = arrivals(i, k);
        return {atom, amplitudes(i, k)};
    }
};

namespace detail {

// Throws InvalidInput unless start, arrivals and boxes agree with each other and `frames`.
template <FittedAtom A>
void require_start(std::size_t frames, const std::vector<A>& start,
                   const Eigen::MatrixX<typename A::real_type>& arrivals,
                   const std::vector<AtomBox<A>>& boxes) {
    require(frames > 0, "number of frames", frames, "must be one or more");
    require(!start.empty(), "number of echoes", start.size(), "must be one or more");
    require(boxes.size() == start.size(), "number of boxes", boxes.size(),
            "must equal the number of echoes");
    require(arrivals.rows() == static_cast<Eigen::Index>(frames), "rows of the arrivals",
            arrivals.rows(), "must equal the number of frames");
    require(arrivals.cols() == static_cast<Eigen::Index>(start.size()), "columns of the arrivals",
            arrivals.cols(), "must equal the number of echoes");
    require(arrivals.allFinite(), "arrivals", arrivals.sum(), "must be finite [s]");
    for (std::size_t k = 0; k < start.size(); ++k) {
        validate(start[k]);
        validate(boxes[k]);
    }
}

// y of each frame as a column. Throws InvalidInput, with the frame's number, for an invalid signal.
template <Real R, Sample T>
[[nodiscard]] Eigen::MatrixX<R> rows_of_frames(const FrameView<T>& frames,
                                               const SamplingGrid& grid) {
    Eigen::MatrixX<R> out(real_rows<T>(grid.count), static_cast<Eigen::Index>(frames.frames()));
    for (std::size_t i = 0; i < frames.frames(); ++i) {
        try {
            validate(Signal<T>{frames[i], grid});
        } catch (const InvalidInput& error) {
            throw InvalidInput(concatenate("frame ", i, ": ", error.what()));
        }
        auto column = out.col(static_cast<Eigen::Index>(i));
        write_real_rows(frames[i], column);
    }
    return out;
}

// What the fit ended with, of samples divided by `scale`, all but what follows from the noise.
template <FittedAtom A>
[[nodiscard]] SharedShapeFit<A> fit_of(const SharedShapeSolver<A>& solver, const FitEnd& end,
                                       double scale) {
    SharedShapeFit<A> out;
    out.status = end.status;
    out.iterations = end.iterations;
    out.shapes = solver.state().shapes;
    for (A& shape : out.shapes) {
        shape.arrival = 0;
    }
    out.arrivals = solver.state().arrivals.transpose();
    out.amplitudes.resize(out.arrivals.rows(), out.arrivals.cols());
    out.residual_energies.resize(out.arrivals.rows());
    for (Eigen::Index i = 0; i < out.arrivals.rows(); ++i) {
        const FrameBlock& frame = solver.equations().frames[static_cast<std::size_t>(i)];
        out.amplitudes.row(i) = scale * frame.amplitude.transpose();
        out.residual_energies[i] = scale * scale * frame.energy;
    }
    return out;
}

}  // namespace detail

/// Fits echoes to all frames [frames x samples], on one grid, from the shapes `start` (whose
/// arrivals don't count) and the arrivals [frames x echoes] [s]. A box's arrival gate holds in
/// every frame, and `arrival_reach` about the start of each. What lies outside its box is moved
/// there first. A local method: arrivals of the start within a pulse length of the true ones, on
/// the right cycle or with free phase. Throws InvalidInput for an invalid signal (with the frame's
/// number), atom, box or option, no frame, no echo, numbers that disagree, or unless the real
/// samples of a frame are more than the unknowns of a frame.
template <Sample T, FittedAtom A>
[[nodiscard]] SharedShapeFit<A> fit_shared_shape(const FrameView<T>& frames,
                                                 const SamplingGrid& grid,
                                                 const std::vector<A>& start,
                                                 const Eigen::MatrixXd& arrivals,
                                                 const std::vector<AtomBox<A>>& boxes,
                                                 const SharedShapeOptions& options = {}) {
    validate(options);
    detail::require_start(frames.frames(), start, arrivals, boxes);
    const auto echoes = static_cast<Eigen::Index>(start.size());
    auto rows = detail::rows_of_frames<typename A::real_type>(frames, grid);
    detail::SharedState<A> state{start, arrivals.transpose()};
    const detail::SharedBounds bounds =
        detail::shared_bounds(state, boxes, options.one_shape, options.arrival_reach);
    const double unknowns = detail::count_unknowns(bounds);
    require(static_cast<double>(rows.size()) > unknowns && rows.rows() >= 3 * echoes,
            "number of real samples of a frame", rows.rows(),
            detail::concatenate("must be at least ", 3 * echoes,
                                ", and all frames' more than the unknowns, ", unknowns));
    const double largest = rows.cwiseAbs().maxCoeff();
    const double scale = largest > 0 ? largest : 1;
    rows /= scale;
    detail::SharedShapeSolver<A> solver(grid, is_complex<T>, rows, state, bounds);
    const detail::FitEnd end = solver.run(options.fit);
    SharedShapeFit<A> out = detail::fit_of(solver, end, scale);
    out.noise_variance = options.fit.noise_variance.value_or(
        out.residual_energies.sum() / (static_cast<double>(rows.size()) - unknowns));
    detail::SharedUncertainty uncertainty = detail::shared_uncertainty(
        solver.system(), solver.equations(), bounds, std::sqrt(out.noise_variance) / scale);
    out.arrival_deviations = std::move(uncertainty.arrivals);
    out.shape_covariance = std::move(uncertainty.shapes);
    out.resolvable.resize(out.arrivals.rows(), echoes);
    for (Eigen::Index k = 0; k < echoes; ++k) {
        const double length = pulse_length(decay(out.shapes[static_cast<std::size_t>(k)]));
        out.resolvable.col(k) =
            out.arrival_deviations.col(k).array() <= options.fit.resolvable_fraction * length;
    }
    return out;
}

}  // namespace echosieve
