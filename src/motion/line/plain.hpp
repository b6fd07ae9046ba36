// Between Eigen's arrays, which the motion room computes with, and what its public functions take
// and give back.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/options.hpp"

namespace echosieve {

/// The numbers as they lie in memory. They must outlive what is returned.
[[nodiscard]] inline Eigen::Map<const Eigen::ArrayXd> array_of(std::span<const double> x) noexcept {
    return {x.data(), static_cast<Eigen::Index>(x.size())};
}
[[nodiscard]] inline std::span<const double> span_of(const Eigen::ArrayXd& x) noexcept {
    return {x.data(), static_cast<std::size_t>(x.size())};
}
/// [frames x samples].
[[nodiscard]] inline Eigen::Map<const Baseband<double>::Matrix> array_of(
    const BasebandView& baseband) noexcept {
    return {baseband.samples.data(), static_cast<Eigen::Index>(baseband.frames()),
            static_cast<Eigen::Index>(baseband.grid.count)};
}

[[nodiscard]] inline std::vector<double> vector_of(const Eigen::ArrayXd& x) {
    return {x.begin(), x.end()};
}
/// Row by row.
[[nodiscard]] inline std::vector<std::complex<double>> rows_of(const Eigen::ArrayXXcd& x) {
    std::vector<std::complex<double>> rows;
    rows.reserve(static_cast<std::size_t>(x.size()));
    for (Eigen::Index i = 0; i < x.rows(); ++i) {
        rows.insert(rows.end(), x.row(i).begin(), x.row(i).end());
    }
    return rows;
}

}  // namespace echosieve
