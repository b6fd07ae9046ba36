// All echoes of one frame fitted together by least squares.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <span>
#include <type_traits>
#include <utility>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/detail/signal.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/optimise/detail/bounded_step.hpp"
#include "echosieve/pursuit/detail/damped_fit.hpp"
#include "echosieve/pursuit/detail/projected_echoes.hpp"
#include "echosieve/pursuit/echo_covariance.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve {

// Symbols: those of projected_echoes.hpp (y, D, H, h) and bounded_step.hpp.
//
// minimise |y - echoes|^2 over the arrivals and shapes inside their boxes, the amplitudes projected
// out. The step is that of variable projection with Kaufman's Jacobian, in units that make all
// parameters of one size, damped, clipped to the box, and counted only if the residual energy
// falls.

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

namespace detail {

// Runs a fit of rows y of size 1 (largest modulus), which outlive it, from atoms inside their
// boxes.
template <FittedAtom A>
class JointFitter : public DampedFit<JointFitter<A>> {
public:
    using R = typename A::real_type;
    static constexpr Eigen::Index p = atom_parameters<A>;

    JointFitter(const SamplingGrid& grid, bool complex_samples, const Eigen::VectorXd& y,
                const std::vector<A>& start, const std::vector<AtomBox<A>>& boxes)
        : y_(y),
          atoms_(start),
          trial_(start),
          boxes_(boxes),
          units_(parameter_units(start)),
          at_(grid, complex_samples, units_),
          next_(at_),
          solver_(units_.size()),
          down_(units_.size()),
          up_(units_.size()),
          step_(Eigen::VectorX<R>::Zero(units_.size())) {}

    [[nodiscard]] FitEnd run(const FitOptions& options) {
        at_.project(atoms_, y_);
        return this->take(options);
    }

    // The parts of take_steps.
    [[nodiscard]] double energy() const noexcept { return at_.energy(); }
    [[nodiscard]] ModelStep find_step(double damping) {
        find_bounds();
        solver_.solve(at_.gram(), at_.gradient(), at_.weight(), damping, down_, up_, step_);
        return {2 * step_.dot(at_.gradient()) - step_.dot(at_.gram() * step_),
                step_.cwiseAbs().maxCoeff()};
    }
    [[nodiscard]] double try_step() {
        take_step();
        next_.project(trial_, y_);
        return at_.energy() - next_.energy();
    }
    void accept() {
        std::swap(atoms_, trial_);
        std::swap(at_, next_);
    }

    [[nodiscard]] const std::vector<A>& atoms() const noexcept { return atoms_; }
    [[nodiscard]] const ProjectedEchoes<A>& solution() const noexcept { return at_; }

private:
    void find_bounds() {
        for (Eigen::Index i = 0; i < units_.size(); ++i) {
            const auto k = static_cast<std::size_t>(i / p);
            const Interval range = parameter_range(boxes_[k], i % p);
            const double x = atom_parameter(atoms_[k], i % p);
            down_[i] = (range.lower - x) / units_[i];
            up_[i] = (range.upper - x) / units_[i];
        }
    }
    void take_step() {
        trial_ = atoms_;
        for (Eigen::Index i = 0; i < units_.size(); ++i) {
            atom_parameter(trial_[static_cast<std::size_t>(i / p)], i % p) += units_[i] * step_[i];
        }
        for (std::size_t k = 0; k < trial_.size(); ++k) {
            trial_[k] = boxes_[k].clamped(trial_[k]);
        }
    }

    const Eigen::VectorXd& y_;
    std::vector<A> atoms_;
    std::vector<A> trial_;
    std::vector<AtomBox<A>> boxes_;
    Eigen::VectorX<R> units_;
    ProjectedEchoes<A> at_;
    ProjectedEchoes<A> next_;
    BoundedStep<R> solver_;
    Eigen::VectorX<R> down_;
    Eigen::VectorX<R> up_;
    Eigen::VectorX<R> step_;
};

// Number of unknowns of a frame: two of each amplitude, and the parameters that may move.
template <FittedAtom A>
[[nodiscard]] Eigen::Index count_unknowns(const std::vector<AtomBox<A>>& boxes) {
    auto unknowns = static_cast<Eigen::Index>(2 * boxes.size());
    for (const AtomBox<A>& box : boxes) {
        for (Eigen::Index j = 0; j < atom_parameters<A>; ++j) {
            unknowns += parameter_range(box, j).width() > 0 ? 1 : 0;
        }
    }
    return unknowns;
}

}  // namespace detail

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
    const std::span<const T> view(std::data(samples), std::size(samples));
    validate(Signal<T>{view, grid});
    validate(options);
    require(!start.empty(), "number of echoes", start.size(), "must be one or more");
    require(boxes.size() == start.size(), "number of boxes", boxes.size(),
            "must equal the number of echoes");
    std::vector<A> atoms(start);
    for (std::size_t k = 0; k < start.size(); ++k) {
        validate(start[k]);
        validate(boxes[k]);
        atoms[k] = boxes[k].clamped(start[k]);
    }
    const auto rows = real_rows<T>(grid.count);
    const Eigen::Index unknowns = detail::count_unknowns<A>(boxes);
    require(rows > unknowns, "number of real samples", rows,
            detail::concatenate("must exceed the number of unknowns, ", unknowns));
    Eigen::VectorX<typename A::real_type> y(rows);
    write_real_rows(view, y);
    const double largest = y.cwiseAbs().maxCoeff();
    const double scale = largest > 0 ? largest : 1;
    y /= scale;
    detail::JointFitter<A> fitter(grid, is_complex<T>, y, atoms, boxes);
    const detail::FitEnd end = fitter.run(options);

    JointFit<A> out;
    out.status = end.status;
    out.iterations = end.iterations;
    for (std::size_t k = 0; k < start.size(); ++k) {
        out.echoes.push_back(
            {fitter.atoms()[k], scale * fitter.solution().amplitude(static_cast<Eigen::Index>(k))});
    }
    out.residual_energy = scale * scale * fitter.solution().energy();
    out.noise_variance =
        options.noise_variance.value_or(out.residual_energy / static_cast<double>(rows - unknowns));
    out.covariance = echo_covariance<T>(out.echoes, grid, boxes, out.noise_variance);
    for (std::size_t k = 0; k < start.size(); ++k) {
        out.resolvable.push_back(out.covariance.resolvable(
            k, options.resolvable_fraction * pulse_length(decay(out.echoes[k].atom))));
    }
    return out;
}

}  // namespace echosieve
