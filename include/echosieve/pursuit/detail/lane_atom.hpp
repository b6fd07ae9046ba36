// Atoms on a short grid, many samples at once: their samples, and the sums that a polish needs.
#pragma once

#include <algorithm>
#include <bit>
#include <cmath>
#include <complex>
#include <cstddef>
#include <vector>

#include "echosieve/core/detail/lanes.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/pursuit/detail/atom_steps.hpp"
#include "echosieve/pursuit/detail/lane_array.hpp"

namespace echosieve::detail {

// Symbols: those of atom_steps.hpp;   w = exp(i phi)
//
// Neighbouring lanes hold neighbouring samples. The phasors of the first lanes are products of
// w, w^2, w^4 ... by the bits of the lane's number, those of the next ones follow by w^L, L the
// number of lanes; the envelope is one exponential of all lanes. Errors grow like n epsilon, some
// 3e-6 in float at the end of 48 samples.

using LanePoint = GridPoint;
using LaneMoments = ComplexMoments;

/// Samples atoms on a grid, stored in whole lanes, each sample times a factor; what lies beyond the
/// factors is 0.
template <Real R>
class LaneGrid {
public:
    /// An atom is cut where its envelope is below the rounding of its peak.
    static constexpr double nepers = std::same_as<R, float> ? 16 : 36;

    explicit LaneGrid(const std::vector<R>& factors)
        : count_(factors.size()), factors_(count_ + widest) {
        std::ranges::copy(factors, factors_.begin());
        bits_.reserve(static_cast<std::size_t>(std::countr_zero(widest)) * widest);
        for (std::size_t bit = 0; (std::size_t{1} << bit) < widest; ++bit) {
            for (std::size_t lane = 0; lane < widest; ++lane) {
                bits_.push_back(static_cast<R>(lane >> bit & 1U));
            }
        }
    }

    [[nodiscard]] std::size_t count() const noexcept { return count_; }
    /// s_n, and zeros beyond for the widest lanes.
    [[nodiscard]] const R* factors() const noexcept { return factors_.data(); }
    /// The sums, and on the way the atom's samples to `out`.
    template <class L = Lanes<R>>
    [[nodiscard]] LaneMoments moments(const LanePoint& p, const LaneArray<R>& r,
                                      LaneArray<R>& out) const noexcept {
        clear<L>(out);
        L c0r, c0i, c1r, c1i, c2r, c2i, m0, m1, m2, m3, m4;
        visit<L>(p, [&](std::size_t n, const L& u, const L& gr, const L& gi, const L& envelope) {
            gr.store(out.real() + n);
            gi.store(out.imag() + n);
            const L rr = L::load(r.real() + n);
            const L ri = L::load(r.imag() + n);
            const L pr = multiply_add(gr, rr, gi * ri);
            const L pi = gr * ri - gi * rr;
            const L u2 = u * u;
            const L e = envelope * envelope;
            const L e2 = e * u2;
            c0r += pr;
            c0i += pi;
            c1r = multiply_add(u, pr, c1r);
            c1i = multiply_add(u, pi, c1i);
            c2r = multiply_add(u2, pr, c2r);
            c2i = multiply_add(u2, pi, c2i);
            m0 += e;
            m1 = multiply_add(u, e, m1);
            m2 += e2;
            m3 = multiply_add(u, e2, m3);
            m4 = multiply_add(u2, e2, m4);
        });
        return {
            {std::complex<double>(c0r.sum(), c0i.sum()), std::complex<double>(c1r.sum(), c1i.sum()),
             std::complex<double>(c2r.sum(), c2i.sum())},
            {double{m0.sum()}, double{m1.sum()}, double{m2.sum()}, double{m3.sum()},
             double{m4.sum()}}};
    }

private:
    static constexpr std::size_t widest = widest_lanes<R>;

    template <class L>
    void clear(LaneArray<R>& out) const noexcept {
        const L zero;
        for (std::size_t n = 0; n < count_; n += L::size) {
            zero.store(out.real() + n);
            zero.store(out.imag() + n);
        }
    }

    // |g| no smaller than this: its square would be denormal, and slow.
    static constexpr R least_exponent = std::same_as<R, float> ? -40 : -340;

    // Calls use(n, u, Re g, Im g, |g|) for the lanes that the atom reaches. Always inline: else the
    // sums of `use` would go through memory.
    template <class L, class Use>
    [[gnu::always_inline]] void visit(const LanePoint& p, Use use) const noexcept {
        const double reach = std::sqrt(nepers / p.decay);
        const double end = static_cast<double>(whole_lanes<R, L>(count_));
        const auto first =
            static_cast<std::size_t>(std::clamp(p.arrival - reach, 0.0, end)) / L::size * L::size;
        const auto last = static_cast<std::size_t>(std::clamp(p.arrival + reach + 1, 0.0, end));
        const R rotation = static_cast<R>(p.rotation);
        const R offset = static_cast<R>(static_cast<double>(first) - p.arrival);
        R wr = std::cos(rotation);
        R wi = std::sin(rotation);
        L phase_real(std::cos(rotation * offset));
        L phase_imag(std::sin(rotation * offset));
        for (std::size_t bit = 0; (std::size_t{1} << bit) < L::size; ++bit) {
            const L set = L::load(bits_.data() + bit * widest);
            const L real = multiply_add(set, L(wr - 1), L(R{1}));
            const L imag = set * L(wi);
            const L turned = phase_real * real - phase_imag * imag;
            phase_imag = multiply_add(phase_real, imag, phase_imag * real);
            phase_real = turned;
            const R square = wr * wr - wi * wi;
            wi = 2 * wr * wi;
            wr = square;
        }
        const L jump_real(wr);
        const L jump_imag(wi);
        const L minus_decay(static_cast<R>(-p.decay));
        const L least(least_exponent);
        const L size(static_cast<R>(L::size));
        L u = L::count() + L(offset);
        for (std::size_t n = first; n < last; n += L::size) {
            const L envelope =
                exponential(larger(minus_decay * u * u, least)) * L::load(factors_.data() + n);
            use(n, u, envelope * phase_real, envelope * phase_imag, envelope);
            const L next = phase_real * jump_real - phase_imag * jump_imag;
            phase_imag = multiply_add(phase_real, jump_imag, phase_imag * jump_real);
            phase_real = next;
            u += size;
        }
    }

    std::size_t count_;
    std::vector<R> factors_;
    std::vector<R> bits_;  // bit by bit, 1 for the lanes whose number has it
};

}  // namespace echosieve::detail
