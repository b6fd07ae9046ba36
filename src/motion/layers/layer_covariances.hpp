// From the information on layers' displacements to the covariance of each, for what may be known of
// their courses.
#pragma once

#include <Eigen/Core>
#include <vector>

namespace echosieve {

// Symbols (the rest as in layer_information.hpp)
//   q        sqrt(w / sum w), the direction of a course's origin;  O = [q, 0, ...; 0, q, ...; ...]
//   J_0      J of courses about their means, the origins unknown too: its Schur complement in O
//   a_lm     share of layer l in course m
//
// Courses free: the pseudo-inverse of J_0. Given, c_m: shares have the information C^T J_0 C, C the
// courses in each layer's rows. Shares given: courses have (T^T J T)_0, T = [a_lm 1].

/// Of u_l, about its mean.
struct LayerCovariances {
    /// Per layer, [frames x frames]; empty where the information is singular: no bound.
    std::vector<Eigen::MatrixXd> of;
    std::vector<std::vector<double>> share_std;  ///< [layers][courses], of given courses

    /// Nothing can be told.
    void forget();
};

[[nodiscard]] LayerCovariances with_free_courses(const Eigen::MatrixXd& information,
                                                 const Eigen::ArrayXd& weight);
/// `courses` [frames x courses].
[[nodiscard]] LayerCovariances with_given_courses(const Eigen::MatrixXd& information,
                                                  const Eigen::ArrayXd& weight,
                                                  const Eigen::ArrayXXd& courses);
/// `shares` [layers x courses].
[[nodiscard]] LayerCovariances with_given_shares(const Eigen::MatrixXd& information,
                                                 const Eigen::ArrayXd& weight,
                                                 const Eigen::MatrixXd& shares);

}  // namespace echosieve
