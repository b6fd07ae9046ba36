// The scalar types that the library is written for, and the sample types that a signal can have.
#pragma once

#include <complex>
#include <concepts>
#include <limits>
#include <type_traits>

namespace echosieve {

/// A real scalar. Only float and double are meant (and tested): code relies on IEEE infinities and
/// NaN.
template <class T>
concept Real = std::same_as<T, float> || std::same_as<T, double>;

namespace detail {

template <class T>
struct RealOf {
    using type = T;
};
template <class T>
struct RealOf<std::complex<T>> {
    using type = T;
};

}  // namespace detail

/// float for float and std::complex<float>, double likewise.
template <class T>
using RealOf = typename detail::RealOf<std::remove_cv_t<T>>::type;

/// A sample of a signal: real, or complex (analytic or baseband).
template <class T>
concept Sample = Real<RealOf<T>>;

template <class T>
inline constexpr bool is_complex = !std::same_as<std::remove_cv_t<T>, RealOf<T>>;

/// True unless x is an infinity or a NaN. Compares instead of std::isfinite, so it can be a
/// constant expression.
template <Real R>
[[nodiscard]] constexpr bool is_finite(R x) noexcept {
    return x >= std::numeric_limits<R>::lowest() && x <= std::numeric_limits<R>::max();
}

}  // namespace echosieve
