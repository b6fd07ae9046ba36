#include "motion/layers/two_layers.hpp"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <Eigen/QR>
#include <cmath>
#include <complex>

#include "motion/line/numbers.hpp"

namespace echosieve {

namespace {

// Below this part of the product of its diagonal a 2 x 2 information counts as singular: rounding.
constexpr double regular_determinant = 1e-14;

// Angles below it are rounding [rad]: what is told of the layers goes as its fourth power.
constexpr double coincident_angle = 1e-4;

// The inverse of T, per frame: its entries 11, 12 and 22; infinite if one frame's is singular.
struct OwnInverse {
    Eigen::ArrayXd first, cross, second;
    bool singular = false;
};

OwnInverse inverse_of(const Eigen::ArrayXXd& own) {
    const Eigen::ArrayXd diagonal = own.col(0) * own.col(3);
    const Eigen::ArrayXd determinant = diagonal - own.col(1).square();
    if (!(determinant > regular_determinant * diagonal).all()) {
        return {{}, {}, {}, true};
    }
    return {own.col(3) / determinant, -own.col(1) / determinant, own.col(0) / determinant, false};
}

// Both layers' spent information, all bins below each other.
Eigen::MatrixXd all_spent(const LayeredBins& bins) {
    Eigen::MatrixXd out(4 * bins.bins(), 2 * bins.frames());
    Eigen::Index rows = 0;
    for (Eigen::Index f = 0; f < bins.bins(); ++f) {
        const Eigen::MatrixXd one = spent_information(bins, f);
        out.middleRows(rows, one.rows()) = one;
        rows += one.rows();
    }
    return out.topRows(rows);
}

TwoLayerLimit without_deviations(const LayeredBins& bins) {
    return {separability_angle(bins, 0, 1), infinite, infinite, infinite, known_deviation(bins, 0)};
}

// Deviation of a regression on the course, from the covariance's quadratic form.
double regression_deviation(double quadratic, double squares) {
    return squares > 0 ? std::sqrt(quadratic) / squares : infinite;
}

}  // namespace

double separability_angle(const LayeredBins& bins, Eigen::Index first, Eigen::Index second) {
    const Eigen::ArrayXd power =
        (bins.spectra.row(first).abs2() + bins.spectra.row(second).abs2()).transpose();
    const double wave_number = (power * bins.wave_numbers).sum() / power.sum();
    return wave_number *
           deviation_over_frames(bins.displacement.col(first) - bins.displacement.col(second),
                                 bins.weight);
}

double known_deviation(const LayeredBins& bins, Eigen::Index layer) {
    const double information =
        2 / bins.noise *
        (bins.wave_numbers.square() * bins.spectra.row(layer).abs2().transpose()).sum();
    return std::sqrt(static_cast<double>(bins.frames() - 1) / (bins.weight.sum() * information));
}

bool layers_coincide(const LayeredBins& bins) {
    for (Eigen::Index l = 0; l < bins.layers(); ++l) {
        for (Eigen::Index m = 0; m < l; ++m) {
            if (separability_angle(bins, l, m) < coincident_angle) {
                return true;
            }
        }
    }
    return false;
}

TwoLayerLimit two_layer_limit(const LayeredBins& bins) {
    TwoLayerLimit out = without_deviations(bins);
    const Eigen::Index frames = bins.frames();
    const OwnInverse own = inverse_of(own_information(bins));
    if (own.singular || layers_coincide(bins)) {
        return out;
    }
    const Eigen::MatrixXd spent = all_spent(bins);
    const auto first = spent.leftCols(frames), second = spent.rightCols(frames);
    Eigen::MatrixXd through(spent.rows(), 2 * frames);  // B T^-1
    through << first * own.first.matrix().asDiagonal() + second * own.cross.matrix().asDiagonal(),
        first * own.cross.matrix().asDiagonal() + second * own.second.matrix().asDiagonal();
    Eigen::MatrixXd inner = -through * spent.transpose();  // N
    inner.diagonal().array() += 1;
    const Eigen::VectorXd origin = (bins.weight / bins.weight.sum()).sqrt().matrix();
    Eigen::MatrixXd origins(spent.rows(), 2);
    origins << first * origin, second * origin;
    const Eigen::MatrixXd null = Eigen::HouseholderQR<Eigen::MatrixXd>(origins).householderQ() *
                                 Eigen::MatrixXd::Identity(spent.rows(), 2);
    inner += null * null.transpose();
    const Eigen::LLT<Eigen::MatrixXd> factor(inner);
    if (factor.info() != Eigen::Success) {
        return out;
    }
    Eigen::MatrixXd root = factor.matrixL().solve(through.leftCols(frames));
    root -= (root * origin).eval() * origin.transpose();
    const auto quadratic = [&](const Eigen::VectorXd& a) {
        return (own.first * a.array().square()).sum() + (root * a).squaredNorm();
    };
    const double trace = (own.first * (1 - origin.array().square())).sum() + root.squaredNorm();
    const Eigen::VectorXd course = evened(bins, bins.displacement.col(0));
    const Eigen::VectorXd apart = evened(bins, bins.displacement.col(0) - bins.displacement.col(1));
    out.rms = std::sqrt(trace / bins.weight.sum());
    out.gain_std = regression_deviation(quadratic(course), course.squaredNorm());
    out.borrowed_std = regression_deviation(quadratic(apart), apart.squaredNorm());
    return out;
}

TwoLayerLimit small_angle_limit(const LayeredBins& bins) {
    TwoLayerLimit out = without_deviations(bins);
    const OwnInverse own = inverse_of(own_information(bins));
    const Eigen::ArrayXd apart =
        centred(bins.displacement.col(0) - bins.displacement.col(1), bins.weight);
    const double squares = (bins.weight * apart.square()).sum();
    if (own.singular || layers_coincide(bins)) {
        return out;
    }
    Eigen::ArrayXd bent = centred(apart.square(), bins.weight);  // e
    bent -= apart * ((bins.weight * apart * bent).sum() / squares);
    Eigen::Matrix4d gram = Eigen::Matrix4d::Zero();
    for (Eigen::Index f = 0; f < bins.bins(); ++f) {
        const double kappa = bins.wave_numbers[f];
        const std::complex<double> turn(0, -kappa);
        const std::complex<double> s1 = bins.spectra(0, f), s2 = bins.spectra(1, f);
        const Eigen::Vector4cd change(-kappa * kappa / 2 * s1, kappa * kappa / 2 * s2, turn * s1,
                                      turn * s2);
        gram += 2 / bins.noise * (change.conjugate() * change.transpose()).real();
    }
    const Eigen::Vector4d scale = gram.diagonal().array().sqrt().inverse().matrix();
    const Eigen::Matrix4d scaled = scale.asDiagonal() * gram * scale.asDiagonal();
    const double borrowed =
        scaled.inverse()(0, 0) * scale[0] * scale[0] / (bins.weight * bent.square()).sum();
    const Eigen::ArrayXd evened_apart = bins.weight.sqrt() * apart;
    const double alone = (own.first * evened_apart.square()).sum() / (squares * squares);
    const Eigen::ArrayXd part = bins.weight / bins.weight.sum();
    out.borrowed_std = std::sqrt(borrowed + alone);
    out.rms = std::sqrt((own.first * (1 - part)).sum() / bins.weight.sum() +
                        borrowed * squares / bins.weight.sum());
    const Eigen::ArrayXd course = centred(bins.displacement.col(0), bins.weight);
    const double own_squares = (bins.weight * course.square()).sum();
    const double along = (bins.weight * course * apart).sum();
    out.gain_std = regression_deviation(
        borrowed * along * along + (own.first * bins.weight * course.square()).sum(), own_squares);
    return out;
}

double share_deviation(const LayeredBins& bins, const Eigen::ArrayXd& course) {
    if (layers_coincide(bins)) {
        return infinite;
    }
    const Eigen::Index frames = bins.frames();
    const Eigen::VectorXd moved = evened(bins, course);
    const Eigen::ArrayXXd own = own_information(bins);
    const Eigen::ArrayXd squares = moved.array().square();
    Eigen::Matrix2d information;
    information << (own.col(0) * squares).sum(), (own.col(1) * squares).sum(),
        (own.col(2) * squares).sum(), (own.col(3) * squares).sum();
    for (Eigen::Index f = 0; f < bins.bins(); ++f) {
        const Eigen::MatrixXd spent = spent_information(bins, f);
        Eigen::MatrixXd along(spent.rows(), 2);
        along << spent.leftCols(frames) * moved, spent.rightCols(frames) * moved;
        information -= along.transpose() * along;
    }
    const double diagonal = information(0, 0) * information(1, 1);
    const double determinant = information.determinant();
    return determinant > regular_determinant * diagonal ? std::sqrt(information(1, 1) / determinant)
                                                        : infinite;
}

}  // namespace echosieve
