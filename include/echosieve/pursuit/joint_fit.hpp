// All echoes of one frame fitted together by least squares.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <limits>
#include <span>
#include <type_traits>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/detail/signal.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/pursuit/detail/projected_echoes.hpp"
#include "echosieve/pursuit/detail/shared_equations.hpp"
#include "echosieve/pursuit/detail/shared_shape_solver.hpp"
#include "echosieve/pursuit/echo_covariance.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve {

// Symbols: those of projected_echoes.hpp (y, D, H, h) and bounded_step.hpp.
//
// minimise |y - echoes|^2 over the arrivals and shapes inside their boxes, the amplitudes projected
// out. The step is that of variable projection with Kaufman's Jacobian, in units that make all
// parameters of one size, damped, clipped to the box, and counted only if the residual energy
// falls. It is the fit of shared_shape_fit.hpp to one frame.

/// What a fit of the echoes of one frame gives.
template <FittedAtom A>
struct JointFit {
    FitStatus status = FitStatus::not_run;
    std::vector<Echo<A>> echoes;  ///< in the order of the start
    double residual_energy = 0;   ///< sum |sample - echoes|^2
    int iterations = 0;           ///< rejected steps included
    double noise_variance = 0;    ///< of one real component: given, or residual energy / degrees of
                                  ///< freedom
    EchoCovariance covariance;    ///< at the solution, as if no bound were near it
    std::vector<bool> resolvable;  ///< of each echo: see FitOptions::resolvable_fraction
};

/// Fits echoes to the samples (a span or vector of float, double or complex; computed in double)
/// from the atoms `start`, each inside the box of the same number: what lies outside is moved to
/// the box first. A local method: give it the echoes of a pursuit. Echoes that start at one place,
/// or closer than the noise lets them be told apart, may end as one echo and its derivative, with
/// large amplitudes of opposite sign: `resolvable` tells. Throws InvalidInput for an invalid
/// signal, atom, box or option, unequal numbers of atoms and boxes, no atom, or unless the real
/// samples (two of each complex one) are more than the unknowns.
template <SampleSequence Samples, FittedAtom A>
[[nodiscard]] JointFit<A> fit_echoes(const Samples& samples, const SamplingGrid& grid,
                                     const std::vector<A>& start,
                                     const std::vector<AtomBox<A>>& boxes,
                                     const FitOptions& options = {}) {
    using T = std::remove_cvref_t<decltype(*std::data(samples))>;
    using R = typename A::real_type;
    const std::span<const T> view(std::data(samples), std::size(samples));
    validate(Signal<T>{view, grid});
    validate(options);
    require(!start.empty(), "number of echoes", start.size(), "must be one or more");
    require(boxes.size() == start.size(), "number of boxes", boxes.size(),
            "must equal the number of echoes");
    const auto echoes = static_cast<Eigen::Index>(start.size());
    detail::SharedState<A> state{start, Eigen::MatrixX<R>(echoes, 1)};
    for (std::size_t k = 0; k < start.size(); ++k) {
        validate(start[k]);
        validate(boxes[k]);
        state.arrivals(static_cast<Eigen::Index>(k), 0) = start[k].arrival;
    }
    const detail::SharedBounds bounds =
        detail::shared_bounds(state, boxes, false, std::numeric_limits<double>::infinity());
    const double unknowns = detail::count_unknowns(bounds);
    Eigen::MatrixX<R> y(real_rows<T>(grid.count), 1);
    require(static_cast<double>(y.size()) > unknowns, "number of real samples", y.size(),
            detail::concatenate("must exceed the number of unknowns, ", unknowns));
    write_real_rows(view, y);
    const double largest = y.cwiseAbs().maxCoeff();
    const double scale = largest > 0 ? largest : 1;
    y /= scale;
    detail::SharedShapeSolver<A> solver(grid, is_complex<T>, y, state, bounds);
    const detail::FitEnd end = solver.run(options);

    JointFit<A> out;
    out.status = end.status;
    out.iterations = end.iterations;
    for (Eigen::Index k = 0; k < echoes; ++k) {
        A atom = solver.state().shapes[static_cast<std::size_t>(k)];
        atom.arrival = solver.state().arrivals(k, 0);
        out.echoes.push_back({atom, scale * solver.equations().frames[0].amplitude[k]});
    }
    out.residual_energy = scale * scale * solver.equations().energy;
    out.noise_variance = options.noise_variance.value_or(
        out.residual_energy / (static_cast<double>(y.size()) - unknowns));
    out.covariance = echo_covariance<T>(out.echoes, grid, boxes, out.noise_variance);
    for (std::size_t k = 0; k < start.size(); ++k) {
        out.resolvable.push_back(out.covariance.resolvable(
            k, options.resolvable_fraction * pulse_length(decay(out.echoes[k].atom))));
    }
    return out;
}

}  // namespace echosieve
