// A frame's samples into lanes, and atoms found there back into echoes.
#pragma once

#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/pursuit/detail/atom_steps.hpp"
#include "echosieve/pursuit/detail/lane_array.hpp"
#include "echosieve/pursuit/detail/lane_atom.hpp"

namespace echosieve::detail {

// Symbols
//   f_m  the samples' mixing frequency;   f_c centre of the box;   t_0 first sample;   h step
//   y_n  samples, s_n their factors;   r_n = s_n y_n exp(-i 2 pi (f_c - f_m) h n)
//   g    atom of lane_atom.hpp, its rotation counted from f_c;   b coefficient of g in r
//
//   a = b exp(i 2 pi (f_m tau + (f_c - f_m) (tau - t_0)))    amplitude of the echo

/// Both ways for one grid and box.
template <Real R>
class LaneFrame {
public:
    LaneFrame(const SamplingGrid& grid, const GaborBox& box, const std::vector<R>& factors)
        : grid_(grid), box_(box), centre_(box.centre_frequency.centre()) {
        for (std::size_t n = 0; n < grid.count; ++n) {
            const std::complex<double> turn = unit_phasor(-(centre_ - grid.mixing_frequency) *
                                                          grid.step() * static_cast<double>(n));
            const double factor = factors[n];
            turns_.emplace_back(static_cast<R>(factor * turn.real()),
                                static_cast<R>(factor * turn.imag()));
        }
    }

    /// r_n of the samples. Throws InvalidInput unless they are as many as the grid has.
    template <Real T>
    void load(std::span<const std::complex<T>> samples, LaneArray<R>& out) const {
        if (samples.size() != grid_.count) {  // no text is made in a good run
            require(false, "number of samples", samples.size(),
                    concatenate("must be the grid's count, ", grid_.count));
        }
        for (std::size_t n = 0; n < samples.size(); ++n) {
            const R x = static_cast<R>(samples[n].real());
            const R y = static_cast<R>(samples[n].imag());
            const R c = turns_[n].real();
            const R s = turns_[n].imag();
            out.real()[n] = x * c - y * s;
            out.imag()[n] = x * s + y * c;
        }
    }

    /// The echo that b g is, its parameters inside the box whatever the rounding.
    [[nodiscard]] Echo<Gabor<double>> echo(const LanePoint& p,
                                           const std::complex<double>& coefficient) const noexcept {
        const double turns = grid_.mixing_frequency * grid_.time(p.arrival) +
                             (centre_ - grid_.mixing_frequency) * p.arrival * grid_.step();
        const R angle = static_cast<R>(2 * std::numbers::pi * (turns - std::nearbyint(turns)));
        const std::complex<double> turn(std::cos(angle), std::sin(angle));
        return {atom_at(p, grid_, box_), coefficient * turn};
    }

private:
    SamplingGrid grid_;
    GaborBox box_;
    double centre_;
    std::vector<std::complex<R>> turns_;
};

}  // namespace echosieve::detail
