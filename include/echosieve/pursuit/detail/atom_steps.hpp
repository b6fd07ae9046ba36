// Gauss-Newton on one atom of a signal, in the units of its grid: whoever forms the sums.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/optimise/detail/damped_steps.hpp"

namespace echosieve::detail {

// Symbols (time in samples from the grid's first, n)
//   nu   arrival;   u = n - nu;   a decay per squared sample;   phi rotation per sample [rad]
//   g(u) = s_n exp(-a u^2 + i phi u), s_n a factor of the sample, if there are any;  r the signal
//   c_k = sum u^k conj(g) r,  k = 0, 1, 2;   M_k = sum u^k |g|^2,  k = 0 .. 4
//   A = c_0 / M_0,   e_k = (c_k - A M_k) conj(A) / |A|^2,   V_jk = M_{j+k} - M_j M_k / M_0
//   slopes of g without their part along g:  d_nu = 2 a u,  d_phi = i u,  d_a = -u^2
//
// The amplitude is projected out (variable projection, Golub and Pereyra 1973): the part of each
// slope along g drops out, that of nu at a carrier that turns with it too. The model of the
// captured energy, divided by |A|^2 (of a loud signal products overflow):  2 h' s - s' H s  with
//   h = (2 a Re e_1, Im e_1, -Re e_2),   H_nu,nu = 4 a^2 V_11,  H_phi,phi = V_11,
//   H_a,a = V_22,  H_nu,a = -2 a V_12,  all others 0.
// phi stands apart, since its slope is imaginary where the others are real: no matrix of three is
// solved, and the best step within the bounds is in closed form. Where a would leave its bounds it
// is put there, and nu solved for anew.

/// The non-linear parameters of an atom in units of the grid.
struct GridPoint {
    double arrival = 0;   ///< nu [samples]
    double rotation = 0;  ///< phi [rad/sample], from the frequency at the centre of the box
    double decay = 0;     ///< a [1/sample^2]

    friend bool operator==(const GridPoint&, const GridPoint&) = default;
};

/// Bounds of the parameters.
struct GridBounds {
    Interval arrival;
    Interval rotation;
    Interval decay;

    [[nodiscard]] GridPoint clamped(const GridPoint& p) const noexcept {
        return {std::clamp(p.arrival, arrival.lower, arrival.upper),
                std::clamp(p.rotation, rotation.lower, rotation.upper),
                std::clamp(p.decay, decay.lower, decay.upper)};
    }
};

/// The box in units of the grid.
[[nodiscard]] inline GridBounds grid_bounds(const SamplingGrid& grid,
                                            const GaborBox& box) noexcept {
    const double step = grid.step();
    const double half = std::numbers::pi * box.centre_frequency.width() * step;
    return {{grid.index(box.arrival.begin), grid.index(box.arrival.end)},
            {-half, half},
            {decay_from_bandwidth(box.bandwidth.lower) * step * step,
             decay_from_bandwidth(box.bandwidth.upper) * step * step}};
}

/// An atom of the box in units of the grid.
[[nodiscard]] inline GridPoint grid_point(const Gabor<double>& atom, const SamplingGrid& grid,
                                          const GaborBox& box) noexcept {
    const double step = grid.step();
    return {grid.index(atom.arrival),
            2 * std::numbers::pi * (atom.centre_frequency - box.centre_frequency.centre()) * step,
            decay(atom) * step * step};
}

/// The other way: an atom inside the box whatever the rounding.
[[nodiscard]] inline Gabor<double> atom_at(const GridPoint& p, const SamplingGrid& grid,
                                           const GaborBox& box) noexcept {
    const double step = grid.step();
    return box.clamped(
        {grid.time(p.arrival),
         box.centre_frequency.centre() + p.rotation / (2 * std::numbers::pi) * grid.sampling_rate,
         bandwidth_from_decay(p.decay / (step * step))});
}

/// The sums of one atom and a complex signal.
struct ComplexMoments {
    std::array<std::complex<double>, 3> c{};
    std::array<double, 5> m{};

    /// Best complex amplitude A; 0 if the atom has no samples.
    [[nodiscard]] std::complex<double> amplitude() const noexcept {
        return m[0] > 0 ? c[0] / m[0] : std::complex<double>{};
    }
    /// Energy that the atom takes out of the signal, |c_0|^2 / M_0.
    [[nodiscard]] double captured() const noexcept { return m[0] > 0 ? std::norm(c[0]) / m[0] : 0; }
    /// e_k, where `turn` is conj(A) / |A|^2.
    [[nodiscard]] std::complex<double> left_over(std::size_t k,
                                                 const std::complex<double>& turn) const noexcept {
        const std::complex<double> turned = c[k] * turn;
        return {turned.real() - m[k], turned.imag()};
    }
};

/// A step and the energy that it promises.
struct AtomStep {
    GridPoint to;
    double gain = 0;
};

/// The best step within the bounds, the diagonal of H raised by (1 + damping). No step where too
/// few samples tell.
template <class Moments>
[[nodiscard]] inline AtomStep bounded_newton(const GridPoint& at, const Moments& s,
                                             const GridBounds& bounds, double damping) noexcept {
    const std::complex<double> amplitude = s.amplitude();
    const double size = std::norm(amplitude);
    const double v11 = s.m[2] - s.m[1] * s.m[1] / s.m[0];
    const double v12 = s.m[3] - s.m[1] * s.m[2] / s.m[0];
    const double v22 = s.m[4] - s.m[2] * s.m[2] / s.m[0];
    if (!(size > 0) || !(v11 > 0) || !(v22 > 0)) {
        return {at, 0};
    }
    const std::complex<double> turn = std::conj(amplitude) / size;
    const std::complex<double> e1 = s.left_over(1, turn);
    const double d = 2 * at.decay;
    const double raised = 1 + damping;
    const double hn = d * e1.real();
    const double ha = -s.left_over(2, turn).real();
    const double nn = d * d * v11 * raised;
    const double aa = v22 * raised;
    const double na = -d * v12;
    const double determinant = nn * aa - na * na;
    const double wanted = determinant > 0 ? at.decay + (nn * ha - na * hn) / determinant : at.decay;
    GridPoint to;
    to.decay = std::clamp(wanted, bounds.decay.lower, bounds.decay.upper);
    const double step_a = to.decay - at.decay;
    // No further than a quarter of the pulse: the model does not reach beyond.
    const double furthest = 0.5 / std::sqrt(at.decay);
    const double step_n = std::clamp((hn - na * step_a) / nn, -furthest, furthest);
    to.arrival = std::clamp(at.arrival + step_n, bounds.arrival.lower, bounds.arrival.upper);
    to.rotation = std::clamp(at.rotation + e1.imag() / (v11 * raised), bounds.rotation.lower,
                             bounds.rotation.upper);
    const double n = to.arrival - at.arrival;
    const double f = to.rotation - at.rotation;
    const double gain =
        2 * (hn * n + ha * step_a + e1.imag() * f) -
        (nn * n * n + 2 * na * n * step_a + aa * step_a * step_a + v11 * raised * f * f);
    return {to, gain * size};
}

/// An atom and its sums.
template <class Moments>
struct FittedPoint {
    GridPoint point;
    Moments sums;
};

/// Within what, and for how long, an atom is moved.
struct AtomSteps {
    GridBounds bounds;
    int most = 0;           ///< steps, rejected ones included
    double least_gain = 0;  ///< of energy: a step that promises no more is not taken
};

/// The parts of take_steps for one atom.
template <class Moments, class Evaluate, class Keep>
struct AtomFit {
    FittedPoint<Moments>& at;
    const AtomSteps& steps;
    double least_kept;  // of a captured energy, as part of it
    Evaluate evaluate;
    Keep keep;
    FittedPoint<Moments> next{};

    [[nodiscard]] ModelStep find_step(double damping) noexcept {
        const AtomStep step = bounded_newton(at.point, at.sums, steps.bounds, damping);
        next.point = step.to;
        return {step.gain, 0};
    }
    [[nodiscard]] bool ends(const ModelStep& step, double) const noexcept {
        return !(step.gain > steps.least_gain);
    }
    [[nodiscard]] double try_step() noexcept {
        next.sums = evaluate(next.point);
        return next.sums.captured() - least_kept * at.sums.captured();
    }
    void accept() noexcept {
        at = next;
        keep();
    }
};

/// Moves an atom uphill, whose sums are known and whose point lies within the bounds.
/// `evaluate(point)` gives the sums of another, exact but for `rounding` of the energy;
/// `keep()` is told that what it gave last counts.
template <class Moments, class Evaluate, class Keep>
inline void fit_atom(FittedPoint<Moments>& at, const AtomSteps& steps, double rounding,
                     Evaluate evaluate, Keep keep) {
    AtomFit<Moments, Evaluate, Keep> fit{at, steps, 1 - rounding, evaluate, keep};
    // The grid's atom is near enough for a full step; one that fails is halved at once.
    static_cast<void>(take_steps(fit, Damping(0, 4, 0.5), steps.most));
}

}  // namespace echosieve::detail
