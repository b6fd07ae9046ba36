// What the tests of pursuits share: vectors as spans, and random samples of any type.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <cstddef>
#include <span>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/random.hpp"

namespace echosieve::test {

template <class Derived>
[[nodiscard]] std::span<const typename Derived::Scalar> span_of(
    const Eigen::PlainObjectBase<Derived>& vector) {
    return {vector.data(), static_cast<std::size_t>(vector.size())};
}

/// Standard normal; of a complex sample either part has half of the variance.
template <Sample T>
[[nodiscard]] T random_sample(RandomStream& stream) {
    using R = RealOf<T>;
    if constexpr (is_complex<T>) {
        const double re = stream.normal();
        const double im = stream.normal();
        return static_cast<T>(std::complex<double>(re, im) * 0.70710678118654752);
    } else {
        return static_cast<R>(stream.normal());
    }
}

}  // namespace echosieve::test
