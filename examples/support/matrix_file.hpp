// Matrices in .npy files.
#pragma once

#include <Eigen/Core>
#include <filesystem>

namespace examples {

/// A file's rows, in double. Throws as read_npy does, and for more than this machine can hold.
[[nodiscard]] Eigen::MatrixXd matrix_of(const std::filesystem::path& file);

}  // namespace examples
