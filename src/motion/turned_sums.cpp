#include "echosieve/motion/turned_sums.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <complex>
#include <cstddef>
#include <vector>

#include "echosieve/core/error.hpp"

namespace echosieve {

namespace {

// Frames worked on side by side: their phasors stay in registers while the steps are gone through.
constexpr std::size_t lanes = 8;
using Lanes = std::array<double, lanes>;

}  // namespace

Eigen::ArrayXXcd turned_sums(const Eigen::ArrayXXcd& values, const Eigen::ArrayXXcd& turn,
                             Eigen::Index count) {
    require(values.rows() == turn.rows() && values.cols() == turn.cols(), "frames of turn",
            turn.rows(), "must be those of the values, the bins too");
    const Eigen::Index frames = values.rows();
    Eigen::ArrayXXcd table(count, values.cols());
    std::vector<Lanes> real(static_cast<std::size_t>(count));
    std::vector<Lanes> imaginary(static_cast<std::size_t>(count));
    for (Eigen::Index j = 0; j < values.cols(); ++j) {
        std::fill(real.begin(), real.end(), Lanes{});
        std::fill(imaginary.begin(), imaginary.end(), Lanes{});
        for (Eigen::Index i = 0; i < frames; i += lanes) {
            Lanes x{}, y{}, c{}, s{};
            for (std::size_t l = 0; l < lanes && i + static_cast<Eigen::Index>(l) < frames; ++l) {
                const Eigen::Index at = i + static_cast<Eigen::Index>(l);
                x[l] = values(at, j).real();
                y[l] = values(at, j).imag();
                c[l] = turn(at, j).real();
                s[l] = turn(at, j).imag();
            }
            for (std::size_t k = 0; k < real.size(); ++k) {
                for (std::size_t l = 0; l < lanes; ++l) {
                    real[k][l] += x[l];
                    imaginary[k][l] += y[l];
                    const double turned = x[l] * c[l] - y[l] * s[l];
                    y[l] = x[l] * s[l] + y[l] * c[l];
                    x[l] = turned;
                }
            }
        }
        for (std::size_t k = 0; k < real.size(); ++k) {
            double re = 0;
            double im = 0;
            for (std::size_t l = 0; l < lanes; ++l) {
                re += real[k][l];
                im += imaginary[k][l];
            }
            table(static_cast<Eigen::Index>(k), j) = {re, im};
        }
    }
    return table;
}

}  // namespace echosieve
