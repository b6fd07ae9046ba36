#include "support/matrix_file.hpp"

#include <cstddef>
#include <variant>

#include "echosieve/io/npy.hpp"
#include "support/input_size.hpp"

namespace examples {

Eigen::MatrixXd matrix_of(const std::filesystem::path& file) {
    constexpr double memory_over_file = 9;  // int16, and two matrices of double
    require_memory(file, memory_over_file);
    return std::visit(
        [](const auto& frames) {
            Eigen::MatrixXd out(frames.frames(), frames.samples());
            for (std::size_t i = 0; i < frames.frames(); ++i) {
                const auto row = frames.view()[i];
                for (std::size_t n = 0; n < row.size(); ++n) {
                    out(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(n)) =
                        static_cast<double>(row[n]);
                }
            }
            return out;
        },
        echosieve::read_npy(file));
}

}  // namespace examples
