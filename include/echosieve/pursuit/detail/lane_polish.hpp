// A few bounded Newton steps that move an atom of a short grid to the best place of its box.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <utility>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/pursuit/detail/lane_atom.hpp"

namespace echosieve {

/// How an atom is polished.
struct PolishOptions {
    int evaluations = 3;      ///< of an atom's sums at most, the first included
    double tolerance = 3e-7;  ///< a step that promises less than this part of the frame's energy
                              ///< is not taken: for a lone echo at 20 dB, 1 MHz and 125 MHz it is
                              ///< a tenth of the Cramer-Rao bound
};

inline void validate(const PolishOptions& options) {
    require(options.evaluations >= 1, "evaluations", options.evaluations, "must be one or more");
    require(options.tolerance >= 0 && is_finite(options.tolerance), "tolerance", options.tolerance,
            "must be zero or more and finite");
}

namespace detail {

// Symbols (those of lane_atom.hpp, and)
//   A = c_0 / M_0,   e_k = (c_k - A M_k) conj(A) / |A|^2,   V_jk = M_{j+k} - M_j M_k / M_0
//   slopes of g without their part along g:  d_nu = 2 a u,  d_phi = i u,  d_a = -u^2
//
// The model of the captured energy, divided by |A|^2:  2 h' s - s' H s  with
//   h = (2 a Re e_1, Im e_1, -Re e_2),   H_nu,nu = 4 a^2 V_11,  H_phi,phi = V_11,
//   H_a,a = V_22,  H_nu,a = -2 a V_12,  all others 0.
// It is the Gauss-Newton step of refine.hpp in the grid's units. Its maximum within the bounds: phi
// apart from the others; where a would leave its bounds it is put there, and nu solved for anew.

/// Bounds of the parameters in the grid's units.
struct LaneBounds {
    Interval arrival;
    Interval rotation;
    Interval decay;

    [[nodiscard]] LanePoint clamped(const LanePoint& p) const noexcept {
        return {std::clamp(p.arrival, arrival.lower, arrival.upper),
                std::clamp(p.rotation, rotation.lower, rotation.upper),
                std::clamp(p.decay, decay.lower, decay.upper)};
    }
};

/// A step and the energy that it promises.
struct LaneStep {
    LanePoint to;
    double gain = 0;
};

/// The best step within the bounds, the diagonal of H raised by (1 + damping).
[[nodiscard]] inline LaneStep bounded_newton(const LanePoint& at, const LaneMoments& s,
                                             const LaneBounds& bounds, double damping) noexcept {
    const std::complex<double> amplitude = s.c[0] / s.m[0];
    const double size = std::norm(amplitude);
    if (!(size > 0)) {
        return {at, 0};
    }
    const std::complex<double> turn = std::conj(amplitude) / size;
    const double e1 = ((s.c[1] * turn).real() - s.m[1]);
    const double f1 = (s.c[1] * turn).imag();
    const double e2 = ((s.c[2] * turn).real() - s.m[2]);
    const double v11 = s.m[2] - s.m[1] * s.m[1] / s.m[0];
    const double v12 = s.m[3] - s.m[1] * s.m[2] / s.m[0];
    const double v22 = s.m[4] - s.m[2] * s.m[2] / s.m[0];
    if (!(v11 > 0) || !(v22 > 0)) {
        return {at, 0};  // too few samples tell
    }
    const double d = 2 * at.decay;
    const double raised = 1 + damping;
    const double hn = d * e1;
    const double ha = -e2;
    const double nn = d * d * v11 * raised;
    const double aa = v22 * raised;
    const double na = -d * v12;
    const double determinant = nn * aa - na * na;
    const double wanted = determinant > 0 ? at.decay + (nn * ha - na * hn) / determinant : at.decay;
    LanePoint to;
    to.decay = std::clamp(wanted, bounds.decay.lower, bounds.decay.upper);
    const double step_a = to.decay - at.decay;
    // No further than a quarter of the pulse: the model does not reach beyond.
    const double furthest = 0.5 / std::sqrt(at.decay);
    const double step_n = std::clamp((hn - na * step_a) / nn, -furthest, furthest);
    to.arrival = std::clamp(at.arrival + step_n, bounds.arrival.lower, bounds.arrival.upper);
    to.rotation =
        std::clamp(at.rotation + f1 / (v11 * raised), bounds.rotation.lower, bounds.rotation.upper);
    const double n = to.arrival - at.arrival;
    const double f = to.rotation - at.rotation;
    const double gain =
        2 * (hn * n + ha * step_a + f1 * f) -
        (nn * n * n + 2 * na * n * step_a + aa * step_a * step_a + v11 * raised * f * f);
    return {to, gain * size};
}

/// An atom and its sums.
struct Polished {
    LanePoint point;
    LaneMoments sums;
};

/// Moves the atom uphill from `start`, which must lie within the bounds, until a step promises no
/// more than `least_gain` of energy. Leaves its samples in `samples`; `trial` is work memory.
template <Real R>
[[nodiscard]] Polished polish(const LanePoint& start, const LaneGrid<R>& grid,
                              const LaneArray<R>& residual, const LaneBounds& bounds,
                              const PolishOptions& options, double least_gain,
                              LaneArray<R>& samples, LaneArray<R>& trial) noexcept {
    // What rounding makes of a gain must not keep an atom from its place.
    const double rounding = 1 - 16 * double{std::numeric_limits<R>::epsilon()};
    LanePoint best = start;
    LaneMoments at = grid.moments(start, residual, samples);
    double damping = 0;
    for (int k = 1; k < options.evaluations; ++k) {
        if (!(at.m[0] > 0)) {
            break;
        }
        const LaneStep step = bounded_newton(best, at, bounds, damping);
        if (!(step.gain > least_gain)) {
            break;
        }
        const LaneMoments next = grid.moments(step.to, residual, trial);
        if (next.captured() > rounding * at.captured()) {
            best = step.to;
            at = next;
            std::swap(samples, trial);
            damping *= 0.25;
        } else {
            damping = std::max(1.0, 4 * damping);
        }
    }
    return {best, at};
}

}  // namespace detail
}  // namespace echosieve
