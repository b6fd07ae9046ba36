// Damped Gauss-Newton: the damping of the steps, and the loop that takes them.
#pragma once

#include <algorithm>

namespace echosieve {

// Symbols
//   mu    damping of the normal equations, see bounded_step.hpp
//   rho   fall of the cost / the fall that the model promised for the step
//
// mu <- mu clamp(1 - (2 rho - 1)^3, 1 / fall, 2) after a step; 2, 4, 8 ... times what it was after
// trials that fail (Nielsen 1999), and no lower after the step that follows them.

/// The damping, moved after each trial.
class Damping {
public:
    /// `value` >= 0 at the start; divided by `fall` >= 1 at most after a step. The first trial that
    /// fails makes it at least twice `least`.
    constexpr Damping(double value, double fall, double least = 1e-9) noexcept
        : value_(value), lowest_(1 / fall), least_(least) {}

    [[nodiscard]] double value() const noexcept { return value_; }
    /// Takes in a trial; true if the cost fell.
    bool judge(double gain, double promised) noexcept {
        if (!(gain > 0)) {
            raise_ *= 2;
            value_ = std::max(value_, least_) * raise_;
            return false;
        }
        if (value_ > 0) {  // steps of nanoseconds wait for the quotient
            const double off = 2 * gain / promised - 1;
            value_ *= std::clamp(1 - off * off * off, raise_ > 1 ? 1 : lowest_, 2.0);
        }
        raise_ = 1;
        return true;
    }

private:
    double value_;
    double lowest_;
    double least_;
    double raise_ = 1;
};

namespace detail {

/// A step as the model sees it.
struct ModelStep {
    double gain = 0;     ///< by which the cost should fall
    double longest = 0;  ///< largest change of a parameter, in its unit
};

/// Takes steps until the fit ends, or their number is reached; gives how many, rejected ones
/// included. `fit` has find_step(damping), the ModelStep from where it is; ends(step, damping),
/// whether that is not worth taking; try_step(), by how much the cost falls there; and accept(),
/// which keeps what was tried. (LevenbergMarquardt has a
/// loop of its own: slopes, bounds and counted evaluations end it too.)
template <class Fit>
inline int take_steps(Fit& fit, Damping damping, int most) {
    for (int k = 0; k < most; ++k) {
        const ModelStep step = fit.find_step(damping.value());
        if (fit.ends(step, damping.value())) {
            return k;
        }
        if (damping.judge(fit.try_step(), step.gain)) {
            fit.accept();
        }
    }
    return most;
}

}  // namespace detail
}  // namespace echosieve
