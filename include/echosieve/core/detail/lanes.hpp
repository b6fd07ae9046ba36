// As many numbers side by side as the compiler's flags have registers for.
#pragma once

#include <cmath>
#include <cstddef>

#include "echosieve/core/detail/lane_functions.hpp"
#include "echosieve/core/detail/scalar.hpp"

namespace echosieve {

namespace detail {

#if defined(XSIMD_NO_SUPPORTED_ARCHITECTURE)
template <Real R>
using Register = R;

template <Real R>
[[nodiscard]] R fused(R x, R y, R z) noexcept {
    return x * y + z;
}
template <Real R>
[[nodiscard]] R sum_of(R x) noexcept {
    return x;
}
template <Real R>
[[nodiscard]] R largest_of(R x) noexcept {
    return x;
}
template <Real R>
[[nodiscard]] R exponential_within(R x) noexcept {
    return std::exp(x);
}
#else
template <Real R>
using Register = xsimd::batch<R>;

template <class V>
[[nodiscard]] V exponential_within(const V& x) noexcept {
    constexpr typename V::value_type far = sizeof(typename V::value_type) == 4 ? 87 : 708;
    return exponential(xsimd::min(xsimd::max(x, V(-far)), V(far))).value();
}

#if defined(__AVX512F__)
// What xsimd 8.1 does without AVX-512's own instructions.
inline xsimd::batch<float> fused(const xsimd::batch<float>& x, const xsimd::batch<float>& y,
                                 const xsimd::batch<float>& z) noexcept {
    return _mm512_fmadd_ps(x, y, z);
}
inline xsimd::batch<double> fused(const xsimd::batch<double>& x, const xsimd::batch<double>& y,
                                  const xsimd::batch<double>& z) noexcept {
    return _mm512_fmadd_pd(x, y, z);
}
inline float sum_of(const xsimd::batch<float>& x) noexcept {
    return _mm512_reduce_add_ps(x);
}
inline double sum_of(const xsimd::batch<double>& x) noexcept {
    return _mm512_reduce_add_pd(x);
}
inline float largest_of(const xsimd::batch<float>& x) noexcept {
    return _mm512_reduce_max_ps(x);
}
inline double largest_of(const xsimd::batch<double>& x) noexcept {
    return _mm512_reduce_max_pd(x);
}
#else
template <class V>
[[nodiscard]] V fused(const V& x, const V& y, const V& z) noexcept {
    return xsimd::fma(x, y, z);
}
template <class V>
[[nodiscard]] auto sum_of(const V& x) noexcept {
#if XSIMD_VERSION_MAJOR >= 9
    return xsimd::reduce_add(x);
#else
    return xsimd::hadd(x);
#endif
}
template <class V>
[[nodiscard]] auto largest_of(const V& x) noexcept {
    typename V::value_type numbers[V::size];
    x.store_unaligned(numbers);
    for (std::size_t half = V::size / 2; half > 0; half /= 2) {
        for (std::size_t k = 0; k < half; ++k) {
            numbers[k] = numbers[k] < numbers[k + half] ? numbers[k + half] : numbers[k];
        }
    }
    return numbers[0];
}
#endif
#endif

}  // namespace detail

/// A register's worth of numbers, a batch of xsimd's: 16 of float with AVX-512, 4 with SSE, 1 where
/// xsimd knows no registers. Sums over samples kept in lanes need no licence to reorder
/// floating-point additions (-ffast-math) to be vectorised: the order is written down.
template <Real R>
class Lanes {
    using Register = detail::Register<R>;

public:
    static constexpr std::size_t size = sizeof(Register) / sizeof(R);

    Lanes() noexcept : register_(R{0}) {}
    explicit Lanes(R x) noexcept : register_(x) {}

    /// 0, 1, 2 ... size - 1.
    [[nodiscard]] static Lanes count() noexcept {
        R numbers[size];
        for (std::size_t k = 0; k < size; ++k) {
            numbers[k] = static_cast<R>(k);
        }
        return load(numbers);
    }
    [[nodiscard]] static Lanes load(const R* from) noexcept {
        if constexpr (size == 1) {
            return Lanes(*from);
        } else {
            return Lanes(Register::load_unaligned(from), whole{});
        }
    }
    void store(R* to) const noexcept {
        if constexpr (size == 1) {
            *to = register_;
        } else {
            register_.store_unaligned(to);
        }
    }

    [[nodiscard]] R sum() const noexcept { return detail::sum_of(register_); }
    [[nodiscard]] R largest() const noexcept { return detail::largest_of(register_); }

    friend Lanes operator+(const Lanes& x, const Lanes& y) noexcept {
        return Lanes(x.register_ + y.register_, whole{});
    }
    friend Lanes operator-(const Lanes& x, const Lanes& y) noexcept {
        return Lanes(x.register_ - y.register_, whole{});
    }
    friend Lanes operator*(const Lanes& x, const Lanes& y) noexcept {
        return Lanes(x.register_ * y.register_, whole{});
    }
    friend Lanes operator/(const Lanes& x, const Lanes& y) noexcept {
        return Lanes(x.register_ / y.register_, whole{});
    }
    Lanes& operator+=(const Lanes& y) noexcept { return *this = *this + y; }
    /// x y + z, in one rounding where the processor can.
    [[nodiscard]] friend Lanes multiply_add(const Lanes& x, const Lanes& y,
                                            const Lanes& z) noexcept {
        return Lanes(detail::fused(x.register_, y.register_, z.register_), whole{});
    }
    [[nodiscard]] friend Lanes larger(const Lanes& x, const Lanes& y) noexcept {
        return Lanes(xsimd::max(x.register_, y.register_), whole{});
    }
    /// x within 87 of 0 (float), 708 (double): as there beyond.
    [[nodiscard]] friend Lanes exponential(const Lanes& x) noexcept {
        return Lanes(detail::exponential_within(x.register_), whole{});
    }

private:
    struct whole {};
    Lanes(const Register& of, whole) noexcept : register_(of) {}

    Register register_;
};

/// `count` rounded up to whole lanes.
template <Real R>
[[nodiscard]] constexpr std::size_t whole_lanes(std::size_t count) noexcept {
    return (count + Lanes<R>::size - 1) / Lanes<R>::size * Lanes<R>::size;
}

}  // namespace echosieve
