#include "echosieve/dictionary/matrix_dictionary.hpp"

#include <boost/math/distributions/chi_squared.hpp>
#include <complex>
#include <limits>

#include "support/check.hpp"

using namespace echosieve;
using Complex = std::complex<double>;

TEST_CASE_TEMPLATE("columns must be of unit norm", T, float, double, std::complex<float>, Complex) {
    using Matrix = typename MatrixDictionary<T>::Matrix;
    using R = RealOf<T>;
    const MatrixDictionary<T> good(Matrix::Identity(4, 4));
    CHECK(good.samples() == 4);
    Matrix off = Matrix::Identity(4, 4);
    const R allowed = MatrixDictionary<T>::norm_tolerance * 2;  // the root of 4 rows
    off(2, 2) = R{1} + allowed * R(0.9);
    CHECK_NOTHROW(MatrixDictionary<T>{off});
    off(2, 2) = R{1} + allowed * R(1.1);
    CHECK_THROWS_AS(MatrixDictionary<T>{off}, InvalidInput);
    off(2, 2) = R{2};
    CHECK_THROWS_WITH_AS(MatrixDictionary<T>{off}, "norm of column 2 = 2: must be 1", InvalidInput);
    off(2, 2) = std::numeric_limits<R>::quiet_NaN();
    CHECK_THROWS_AS(MatrixDictionary<T>{off}, InvalidInput);
    off(2, 2) = R{0};
    CHECK_THROWS_AS(MatrixDictionary<T>{off}, InvalidInput);
    CHECK_THROWS_AS(MatrixDictionary<T>{Matrix(0, 3)}, InvalidInput);
    CHECK_THROWS_AS(MatrixDictionary<T>{Matrix(3, 0)}, InvalidInput);
}

TEST_CASE("the column with the largest modulus is proposed, the first of equals") {
    MatrixDictionary<Complex> dictionary(Eigen::MatrixXcd::Identity(3, 3));
    CHECK(dictionary.propose(Eigen::Vector3cd{1, Complex{0, -2}, 1.5}, 0) == 1U);
    CHECK(dictionary.propose(Eigen::Vector3cd{1, -1, Complex{0, 1}}, 0) == 0U);
    MatrixDictionary<double> real(Eigen::MatrixXd::Identity(3, 3));
    CHECK(real.propose(Eigen::Vector3d{1, -3, 2}, 0) == 1U);
}

// Table of chi^2 with 2 degrees of freedom: gamma = -2 ln(1 - (1 - P)^(1/M)), checked against
// Boost's distribution below.
TEST_CASE("false-alarm thresholds of independent columns") {
    struct Row {
        double probability;
        double one;
        double hundred;
    };
    const Row rows[] = {{.05, 5.991465, 15.151244},
                        {.01, 9.210340, 18.410739},
                        {1e-3, 13.815511, 23.024861},
                        {1e-4, 18.420681, 27.630922},
                        {1e-6, 27.631021, 36.841360}};
    const double printed = 6e-7;  // the table has six decimals
    const double solved = 1e-9;   // relative, of the bisection and of both libraries' tails
    for (const Row& row : rows) {
        const MatrixDictionary<Complex> one(Eigen::MatrixXcd::Identity(1, 1));
        const MatrixDictionary<Complex> hundred(Eigen::MatrixXcd::Identity(100, 100));
        CHECK_WITHIN(one.false_alarm_threshold(row.probability), row.one, printed);
        CHECK_WITHIN(hundred.false_alarm_threshold(row.probability), row.hundred, printed);
        for (const Eigen::Index columns : {1, 100}) {
            const double each = -std::expm1(std::log1p(-row.probability) / double(columns));
            const boost::math::chi_squared complex_noise(2);
            const boost::math::chi_squared real_noise(1);
            const MatrixDictionary<Complex> of_complex(
                Eigen::MatrixXcd::Identity(columns, columns));
            const MatrixDictionary<double> of_real(Eigen::MatrixXd::Identity(columns, columns));
            CHECK_WITHIN_RELATIVE(of_complex.false_alarm_threshold(row.probability),
                                  quantile(complement(complex_noise, each)), solved);
            CHECK_WITHIN_RELATIVE(of_real.false_alarm_threshold(row.probability),
                                  quantile(complement(real_noise, each)), solved);
        }
    }
    const MatrixDictionary<double> dictionary(Eigen::MatrixXd::Identity(2, 2));
    CHECK_THROWS_AS(static_cast<void>(dictionary.false_alarm_threshold(0)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(dictionary.false_alarm_threshold(1)), InvalidInput);
}
