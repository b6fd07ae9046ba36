#include "motion/layers/turned_sums.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>

#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/core/error.hpp"
#include "motion/kernels/turned_sums_kernel.hpp"

namespace echosieve {

TurnedSums::TurnedSums(const Eigen::ArrayXXcd& values, const Eigen::ArrayXXcd& turn,
                       Eigen::Index count)
    : bins_(values.cols()) {
    require(values.rows() == turn.rows() && values.cols() == turn.cols(), "frames of turn",
            turn.rows(), "must be those of the values, the bins too");
    const Eigen::Index stride = (bins_ + register_size - 1) / register_size * register_size;
    table_ = Eigen::ArrayXXd::Zero(2 * stride, count);
    Eigen::ArrayXd work(2 * register_size * count);
    kernels::turn_sums_of(default_instruction_set())(
        {reinterpret_cast<const double*>(values.data()),
         reinterpret_cast<const double*>(turn.data()), static_cast<std::size_t>(values.rows()),
         static_cast<std::size_t>(bins_), static_cast<std::size_t>(count),
         static_cast<std::size_t>(stride), table_.data(), work.data()});
}

RowWeights TurnedSums::between(double at) const {
    // prod_{m != k} (x - m) / (k - m)
    constexpr std::array<double, 6> scale = {-1.0 / 120, 1.0 / 24,  -1.0 / 12,
                                             1.0 / 12,   -1.0 / 24, 1.0 / 120};
    RowWeights out;
    out.first = held_whole(std::floor(at) - 2, Eigen::Index{0},
                           rows() - static_cast<Eigen::Index>(scale.size()));
    const double x = at - static_cast<double>(out.first);
    for (std::size_t k = 0; k < scale.size(); ++k) {
        double product = scale[k];
        for (std::size_t m = 0; m < scale.size(); ++m) {
            product *= m == k ? 1 : x - static_cast<double>(m);
        }
        out.weight[k] = product;
    }
    return out;
}

}  // namespace echosieve
