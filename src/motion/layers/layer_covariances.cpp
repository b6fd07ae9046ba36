#include "motion/layers/layer_covariances.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <limits>
#include <utility>
#include <vector>

#include "motion/line/plain.hpp"

namespace echosieve {

namespace {

// Information below this part of what a frame's displacement has counts as none: rounding of sums
// over some thousand terms.
constexpr double no_information = 1e-10;

// Pivots of a scaled information below this count as zero: rounding of some thousand unknowns.
constexpr double least_pivot = 1e-12;

// O, of so many courses.
Eigen::MatrixXd origins_of(const Eigen::ArrayXd& weight, Eigen::Index courses) {
    const Eigen::Index frames = weight.size();
    Eigen::MatrixXd out = Eigen::MatrixXd::Zero(courses * frames, courses);
    for (Eigen::Index m = 0; m < courses; ++m) {
        out.col(m).segment(m * frames, frames) = (weight / weight.sum()).sqrt().matrix();
    }
    return out;
}

// J_0.
Eigen::MatrixXd without_origins(const Eigen::MatrixXd& j, const Eigen::MatrixXd& origins) {
    const Eigen::MatrixXd seen = j * origins;
    const Eigen::MatrixXd between = origins.transpose() * seen;
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> parts(between);
    const double least = no_information * j.trace() / static_cast<double>(j.rows());
    const Eigen::VectorXd inverse =
        (parts.eigenvalues().array() > least).select(parts.eigenvalues().array().inverse(), 0.0);
    const Eigen::MatrixXd turned = (seen - origins * between) * parts.eigenvectors();
    const Eigen::MatrixXd crossed = seen * origins.transpose();
    return j - crossed - crossed.transpose() + origins * between * origins.transpose() -
           turned * inverse.asDiagonal() * turned.transpose();
}

// Empty where it is singular.
Eigen::MatrixXd inverse_of(const Eigen::MatrixXd& information) {
    const Eigen::VectorXd diagonal = information.diagonal();
    if (!(diagonal.minCoeff() > 0)) {
        return {};
    }
    const Eigen::VectorXd scale = diagonal.array().sqrt().inverse().matrix();
    const Eigen::LLT<Eigen::MatrixXd> factor(scale.asDiagonal() * information * scale.asDiagonal());
    if (factor.info() != Eigen::Success ||
        !(factor.matrixLLT().diagonal().array().square().minCoeff() > least_pivot)) {
        return {};
    }
    const Eigen::Index size = information.rows();
    return scale.asDiagonal() * factor.solve(Eigen::MatrixXd::Identity(size, size)) *
           scale.asDiagonal();
}

// Of what has the origins for null vectors, as has the inverse.
Eigen::MatrixXd centred_inverse(const Eigen::MatrixXd& information,
                                const Eigen::MatrixXd& origins) {
    const double filled = information.trace() / static_cast<double>(information.rows());
    Eigen::MatrixXd out = inverse_of(information + filled * origins * origins.transpose());
    if (out.size() > 0) {
        out -= origins * origins.transpose() / filled;
    }
    return out;
}

}  // namespace

void LayerCovariances::forget() {
    for (Eigen::MatrixXd& one : of) {
        one.resize(0, 0);
    }
    for (std::vector<double>& layer : share_std) {
        std::fill(layer.begin(), layer.end(), std::numeric_limits<double>::infinity());
    }
}

LayerCovariances with_free_courses(const Eigen::MatrixXd& information,
                                   const Eigen::ArrayXd& weight) {
    const Eigen::Index frames = weight.size(), layers = information.rows() / frames;
    const Eigen::MatrixXd origins = origins_of(weight, layers);
    const Eigen::MatrixXd all = centred_inverse(without_origins(information, origins), origins);
    LayerCovariances out;
    for (Eigen::Index l = 0; l < layers; ++l) {
        Eigen::MatrixXd one;
        if (all.size() > 0) {
            one = all.block(l * frames, l * frames, frames, frames);
        }
        out.of.push_back(std::move(one));
    }
    return out;
}

LayerCovariances with_given_courses(const Eigen::MatrixXd& information,
                                    const Eigen::ArrayXd& weight, const Eigen::ArrayXXd& courses) {
    const Eigen::Index frames = weight.size(), layers = information.rows() / frames;
    const Eigen::Index count = courses.cols();
    const Eigen::MatrixXd known = without_origins(information, origins_of(weight, layers));
    const Eigen::MatrixXd moved = (courses.colwise() * weight.sqrt()).matrix();
    Eigen::MatrixXd of_shares(layers * count, layers * count);
    for (Eigen::Index l = 0; l < layers; ++l) {
        for (Eigen::Index m = 0; m < layers; ++m) {
            of_shares.block(l * count, m * count, count, count) =
                moved.transpose() * known.block(l * frames, m * frames, frames, frames) * moved;
        }
    }
    const Eigen::MatrixXd all = inverse_of(of_shares);
    const Eigen::VectorXd origin = origins_of(weight, 1);
    const Eigen::MatrixXd centred = moved - origin * (origin.transpose() * moved);
    LayerCovariances out;
    for (Eigen::Index l = 0; l < layers; ++l) {
        Eigen::MatrixXd one;
        Eigen::ArrayXd deviation =
            Eigen::ArrayXd::Constant(count, std::numeric_limits<double>::infinity());
        if (all.size() > 0) {
            const Eigen::MatrixXd shares = all.block(l * count, l * count, count, count);
            deviation = shares.diagonal().array().sqrt();
            one = centred * shares * centred.transpose();
        }
        out.of.push_back(std::move(one));
        out.share_std.push_back(vector_of(deviation));
    }
    return out;
}

LayerCovariances with_given_shares(const Eigen::MatrixXd& information, const Eigen::ArrayXd& weight,
                                   const Eigen::MatrixXd& shares) {
    const Eigen::Index frames = weight.size(), layers = shares.rows(), courses = shares.cols();
    const Eigen::MatrixXd one_frame = Eigen::MatrixXd::Identity(frames, frames);
    Eigen::MatrixXd moves(layers * frames, courses * frames);  // T
    for (Eigen::Index l = 0; l < layers; ++l) {
        for (Eigen::Index m = 0; m < courses; ++m) {
            moves.block(l * frames, m * frames, frames, frames) = shares(l, m) * one_frame;
        }
    }
    const Eigen::MatrixXd origins = origins_of(weight, courses);
    const Eigen::MatrixXd all =
        centred_inverse(without_origins(moves.transpose() * information * moves, origins), origins);
    LayerCovariances out;
    for (Eigen::Index l = 0; l < layers; ++l) {
        Eigen::MatrixXd one;
        if (all.size() > 0) {
            const auto own = moves.middleRows(l * frames, frames);
            one = own * all * own.transpose();
        }
        out.of.push_back(std::move(one));
    }
    return out;
}

}  // namespace echosieve
