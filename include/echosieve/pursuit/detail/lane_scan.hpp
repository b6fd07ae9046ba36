// The grid dictionary of the fast path: the best atom of a coarse grid, for all arrivals at once.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <optional>
#include <vector>

#include "echosieve/core/detail/lanes.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/pursuit/detail/atom_steps.hpp"
#include "echosieve/pursuit/detail/lane_array.hpp"
#include "echosieve/pursuit/detail/lane_atom.hpp"

namespace echosieve::detail {

// Symbols (those of lane_atom.hpp, and)
//   nu_k = nu_0 + k, k = 0 .. K - 1   arrivals of the grid, a sample apart, centred in the bounds
//   phi_0 +- psi                      a pair of rotations, phi_0 = 0 at the bounds' centre
//   E_j, C_j = E_j cos psi u_j, S_j = E_j sin psi u_j   taps, u_j = j - nu_0
//
//   sum_n conj(g) r_n = (sum C r' +- sum S r'') + i (sum C r'' -+ sum S r'),   r = r' + i r''
//
// One arrival differs from the next by a shift of one sample, so the table is one of a few dozen
// taps whatever the number of arrivals; a pair of rotations shares its sums, four real products for
// both atoms. What an atom captures is divided by the energy that the grid holds of it, which a
// gate's edge makes smaller.

template <Real R>
class LaneScan {
public:
    using L = Lanes<R>;

    /// Taps reach to this part of the peak, exp(-4) = 2 %.
    static constexpr double nepers = 4;
    /// Neighbouring rotations lose at most this part of a correlation.
    static constexpr double loss = 0.06;
    /// Atoms with less than this part of their energy inside the grid are not proposed.
    static constexpr double least_inside = 0.01;

    LaneScan(const LaneGrid<R>& grid, const GridBounds& bounds)
        : stored_(grid.stored()), decay_(std::sqrt(bounds.decay.lower * bounds.decay.upper)) {
        reach_ = static_cast<std::ptrdiff_t>(std::ceil(std::sqrt(nepers / decay_)));
        const double far = static_cast<double>(reach_);
        const double lower = std::max(bounds.arrival.lower, -far);
        const double upper =
            std::min(bounds.arrival.upper, static_cast<double>(grid.count()) - 1 + far);
        if (!(upper >= lower)) {
            return;
        }
        arrivals_ = static_cast<std::size_t>(std::max(1.0, std::ceil(upper - lower)));
        first_ = lower + (upper - lower - static_cast<double>(arrivals_ - 1)) / 2;
        begin_ = static_cast<std::ptrdiff_t>(std::floor(first_)) - reach_;
        const double width = bounds.rotation.width();
        const double step = 4 * std::sqrt(2 * decay_ * -std::log1p(-loss));
        pairs_ = static_cast<std::size_t>(std::max(1.0, std::ceil(width / step / 2)));
        const std::size_t taps = this->taps();
        const std::size_t stored = whole_lanes<R>(arrivals_);
        weights_.assign(stored, R{0});
        for (std::size_t q = 0; q < pairs_; ++q) {
            psi_.push_back((static_cast<double>(q) + 0.5) * width /
                           static_cast<double>(2 * pairs_));
            for (std::size_t j = 0; j < taps; ++j) {
                const double u =
                    static_cast<double>(begin_ + static_cast<std::ptrdiff_t>(j)) - first_;
                const double envelope = std::exp(-decay_ * u * u);
                cosines_.push_back(static_cast<R>(envelope * std::cos(psi_[q] * u)));
                sines_.push_back(static_cast<R>(envelope * std::sin(psi_[q] * u)));
            }
        }
        const double whole = std::sqrt(std::numbers::pi / (2 * decay_));
        for (std::size_t k = 0; k < arrivals_; ++k) {
            double inside = 0;
            for (std::size_t n = 0; n < grid.count(); ++n) {
                const double u = static_cast<double>(n) - arrival(k);
                const auto factor = static_cast<double>(grid.factors()[n]);
                inside += factor * factor * std::exp(-2 * decay_ * u * u);
            }
            weights_[k] = inside > least_inside * whole ? static_cast<R>(1 / inside) : R{0};
        }
        // Room for the taps of the first arrival, and of the last lane's.
        work_ =
            LaneArray<R>(stored_, static_cast<std::size_t>(std::max<std::ptrdiff_t>(0, -begin_)),
                         static_cast<std::size_t>(2 * reach_ + 4) + L::size);
    }

    [[nodiscard]] std::size_t atoms() const noexcept { return 2 * pairs_ * arrivals_; }
    /// Samples that an atom of the grid reaches over.
    [[nodiscard]] std::size_t taps() const noexcept {
        return static_cast<std::size_t>(2 * reach_ + 2);
    }

    /// The grid's atom that captures most; nothing if none captures anything.
    [[nodiscard]] std::optional<LanePoint> best(const LaneGrid<R>& grid,
                                                const LaneArray<R>& residual) noexcept {
        for (std::size_t n = 0; n < stored_ && arrivals_ > 0; n += L::size) {
            const L factor = L::load(grid.factors() + n);
            (factor * L::load(residual.real() + n)).store(work_.real() + n);
            (factor * L::load(residual.imag() + n)).store(work_.imag() + n);
        }
        R most = 0;
        LanePoint found;
        const std::size_t taps = this->taps();
        for (std::size_t q = 0; q < pairs_; ++q) {
            const R* const cosines = cosines_.data() + q * taps;
            const R* const sines = sines_.data() + q * taps;
            for (std::size_t k = 0; k < arrivals_; k += L::size) {
                const R* const real = work_.real() + begin_ + static_cast<std::ptrdiff_t>(k);
                const R* const imag = work_.imag() + begin_ + static_cast<std::ptrdiff_t>(k);
                L cr, ci, sr, si;
                for (std::size_t j = 0; j < taps; ++j) {
                    const L rr = L::load(real + j);
                    const L ri = L::load(imag + j);
                    const L c(cosines[j]);
                    const L s(sines[j]);
                    cr = multiply_add(c, rr, cr);
                    ci = multiply_add(c, ri, ci);
                    sr = multiply_add(s, rr, sr);
                    si = multiply_add(s, ri, si);
                }
                const L weight = L::load(weights_.data() + k);
                const L plus = weight * squared(cr + si, ci - sr);
                const L minus = weight * squared(cr - si, ci + sr);
                const R largest = larger(plus, minus).largest();
                if (largest > most) {
                    most = largest;
                    plus.store(plus_.data());
                    minus.store(minus_.data());
                    std::size_t lane = 0;
                    while (lane + 1 < L::size && plus_[lane] < most && minus_[lane] < most) {
                        ++lane;
                    }
                    found = {arrival(k + lane), minus_[lane] < most ? psi_[q] : -psi_[q], decay_};
                }
            }
        }
        return most > 0 ? std::optional(found) : std::nullopt;
    }

private:
    [[nodiscard]] static L squared(const L& x, const L& y) noexcept {
        return multiply_add(x, x, y * y);
    }
    [[nodiscard]] double arrival(std::size_t k) const noexcept {
        return first_ + static_cast<double>(k);
    }

    std::size_t stored_;
    double decay_;
    std::ptrdiff_t reach_ = 0;
    std::ptrdiff_t begin_ = 0;
    double first_ = 0;
    std::size_t arrivals_ = 0;
    std::size_t pairs_ = 0;
    std::vector<double> psi_;
    std::vector<R> cosines_;
    std::vector<R> sines_;
    std::vector<R> weights_;
    LaneArray<R> work_;  // the residual times the factors
    std::array<R, L::size> plus_{};
    std::array<R, L::size> minus_{};
};

}  // namespace echosieve::detail
