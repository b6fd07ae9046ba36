// Complex numbers on a short grid, many side by side, and the sums that pursuits make of them.
#pragma once

#include <complex>
#include <cstddef>
#include <vector>

#include "echosieve/core/detail/lanes.hpp"
#include "echosieve/core/detail/scalar.hpp"

namespace echosieve::detail {

/// Memory for complex numbers on the grid, their parts apart, with room on both sides that stays 0.
/// The functions below go through it by whole lanes, whatever their width.
template <Real R>
class LaneArray {
public:
    LaneArray() = default;
    explicit LaneArray(std::size_t size, std::size_t before = 0, std::size_t after = 0)
        : size_(size),
          before_(before),
          real_(before + whole_lanes<R, Widest>(size) + after),
          imag_(real_.size()) {}

    [[nodiscard]] std::size_t size() const noexcept { return size_; }
    [[nodiscard]] R* real() noexcept { return real_.data() + before_; }
    [[nodiscard]] R* imag() noexcept { return imag_.data() + before_; }
    [[nodiscard]] const R* real() const noexcept { return real_.data() + before_; }
    [[nodiscard]] const R* imag() const noexcept { return imag_.data() + before_; }

private:
    struct Widest {
        static constexpr std::size_t size = widest_lanes<R>;
    };

    std::size_t size_ = 0;
    std::size_t before_ = 0;
    std::vector<R> real_;
    std::vector<R> imag_;
};

// Inline, though templates need not be: g++ 12 otherwise calls them, which costs a float frame 15
// %.

/// |x|^2
template <Real R, class L = Lanes<R>>
[[nodiscard]] inline R energy(const LaneArray<R>& x) noexcept {
    L sum;
    const std::size_t size = whole_lanes<R, L>(x.size());
    for (std::size_t n = 0; n < size; n += L::size) {
        const L xr = L::load(x.real() + n);
        const L xi = L::load(x.imag() + n);
        sum = multiply_add(xr, xr, multiply_add(xi, xi, sum));
    }
    return sum.sum();
}

/// x^H y, y as long as x.
template <Real R, class L = Lanes<R>>
[[nodiscard]] inline std::complex<R> dot(const LaneArray<R>& x, const LaneArray<R>& y) noexcept {
    L re, im;
    const std::size_t size = whole_lanes<R, L>(x.size());
    for (std::size_t n = 0; n < size; n += L::size) {
        const L xr = L::load(x.real() + n);
        const L xi = L::load(x.imag() + n);
        const L yr = L::load(y.real() + n);
        const L yi = L::load(y.imag() + n);
        re = multiply_add(xr, yr, multiply_add(xi, yi, re));
        im += xr * yi - xi * yr;
    }
    return {re.sum(), im.sum()};
}

/// y -= a x, y as long as x.
template <Real R, class L = Lanes<R>>
inline void subtract(const std::complex<R>& a, const LaneArray<R>& x, LaneArray<R>& y) noexcept {
    const L minus_real(-a.real());
    const L imag(a.imag());
    const L minus_imag(-a.imag());
    const std::size_t size = whole_lanes<R, L>(x.size());
    for (std::size_t n = 0; n < size; n += L::size) {
        const L xr = L::load(x.real() + n);
        const L xi = L::load(x.imag() + n);
        const L yr = L::load(y.real() + n);
        const L yi = L::load(y.imag() + n);
        multiply_add(minus_real, xr, multiply_add(imag, xi, yr)).store(y.real() + n);
        multiply_add(minus_real, xi, multiply_add(minus_imag, xr, yi)).store(y.imag() + n);
    }
}

/// y = x, y as long as x.
template <Real R>
inline void copy(const LaneArray<R>& x, LaneArray<R>& y) noexcept {
    const std::size_t size = x.size();
    for (std::size_t n = 0; n < size; ++n) {
        y.real()[n] = x.real()[n];
        y.imag()[n] = x.imag()[n];
    }
}

/// x *= by
template <Real R, class L = Lanes<R>>
inline void scale(R by, LaneArray<R>& x) noexcept {
    const L factor(by);
    const std::size_t size = whole_lanes<R, L>(x.size());
    for (std::size_t n = 0; n < size; n += L::size) {
        (factor * L::load(x.real() + n)).store(x.real() + n);
        (factor * L::load(x.imag() + n)).store(x.imag() + n);
    }
}

}  // namespace echosieve::detail
