#include "echosieve/pursuit/gram_pursuit.hpp"

#include <Eigen/Core>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <optional>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "support/check.hpp"
#include "support/pursuit.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

template <class T>
using Matrix = Eigen::Matrix<T, Eigen::Dynamic, Eigen::Dynamic>;

template <class T>
Matrix<T> random_matrix(RandomStream& stream, Eigen::Index rows, Eigen::Index columns) {
    Matrix<T> out(rows, columns);
    for (T& x : out.reshaped()) {
        x = random_sample<T>(stream);
    }
    return out;
}

template <class T>
Matrix<T> random_dictionary(RandomStream& stream, Eigen::Index rows, Eigen::Index columns) {
    Matrix<T> out = random_matrix<T>(stream, rows, columns);
    out.colwise().normalize();
    return out;
}

template <class T>
GramPursuitResult<T> in_batch(const Matrix<T>& columns, std::size_t atoms,
                              const Matrix<T>& signals) {
    GramPursuit<T> pursuit(columns, atoms);
    GramPursuitResult<T> result;
    pursuit.run(signals, {}, result);
    return result;
}

// What the engine makes of each signal by itself.
template <class T>
auto one_by_one(const Matrix<T>& columns, std::size_t atoms, const Matrix<T>& signals) {
    MatrixDictionary<T> dictionary(columns);
    std::vector<PursuitResult<MatrixTerm<T>, RealOf<T>>> out;
    for (Eigen::Index t = 0; t < signals.cols(); ++t) {
        const Eigen::Matrix<T, Eigen::Dynamic, 1> signal = signals.col(t);
        out.push_back(pursue(span_of(signal), dictionary, Orthogonal{atoms}));
    }
    return out;
}

}  // namespace

TEST_CASE_TEMPLATE("a batch takes each signal apart as the engine does alone", T, float, double,
                   std::complex<float>, std::complex<double>) {
    // The Gram matrix squares the condition of the chosen columns, some ten here.
    const double tolerance = 1e4 * epsilon<RealOf<T>>;
    RandomStream stream(3);
    const Matrix<T> columns = random_dictionary<T>(stream, 24, 90);
    const Matrix<T> signals = random_matrix<T>(stream, 24, 70);  // more than a batch
    const auto result = in_batch(columns, 8, signals);
    const auto all = one_by_one(columns, 8, signals);
    for (std::size_t number = 0; number < all.size(); ++number) {
        const auto t = static_cast<Eigen::Index>(number);
        const auto& alone = all[number];
        REQUIRE(result.counts[number] == alone.atoms.size());
        CHECK(result.status[number] == PursuitStatus::atom_count);
        const double size = static_cast<double>(signals.col(t).norm());
        for (std::size_t k = 0; k < alone.atoms.size(); ++k) {
            const auto row = static_cast<Eigen::Index>(k);
            REQUIRE(result.columns(row, t) == static_cast<Eigen::Index>(alone.atoms[k].index));
            CHECK_WITHIN(result.coefficients(row, t), alone.atoms[k].coefficient, tolerance * size);
        }
        CHECK_WITHIN(result.residual_energy[t], alone.residual_energy.back(),
                     tolerance * size * size);
    }
}

TEST_CASE("the same batch gives the same bits again") {
    RandomStream stream(5);
    const Matrix<double> columns = random_dictionary<double>(stream, 20, 50);
    const Matrix<double> signals = random_matrix<double>(stream, 20, 40);
    GramPursuit<double> pursuit(columns, 5);
    GramPursuitResult<double> first, second;
    pursuit.run(signals, {}, first);
    pursuit.run(signals, {}, second);
    CHECK(first.coefficients == second.coefficients);
    CHECK(first.columns == second.columns);
}

TEST_CASE("a signal of few columns is found exactly, and the pursuit ends there") {
    RandomStream stream(7);
    const Matrix<double> columns = random_dictionary<double>(stream, 60, 40);
    const Matrix<double> signal = 3 * columns.col(7) - 2 * columns.col(21) + 1.5 * columns.col(33);
    const auto result = in_batch(columns, 10, signal);
    REQUIRE(result.counts[0] == 3);
    CHECK(result.status[0] == PursuitStatus::residual_small);
    for (Eigen::Index k = 0; k < 3; ++k) {
        const double expected = result.columns(k, 0) == 7    ? 3
                                : result.columns(k, 0) == 21 ? -2
                                                             : 1.5;
        // The columns' correlations, some 0.3, lose a digit or two of double's sixteen.
        CHECK_WITHIN(result.coefficients(k, 0), expected, 1e-12);
    }
    CHECK(result.columns(3, 0) == -1);
    CHECK(result.coefficients(3, 0) == 0);
}

TEST_CASE("stops of a batch: part of the energy, false alarm, dependent columns, silence") {
    GramPursuitResult<double> result;
    GramPursuit<double> identity(Matrix<double>::Identity(4, 4), 4);
    Eigen::Vector4d y(8, 4, 2, 1);
    identity.run(y, {0.2, std::nullopt}, result);
    CHECK(result.counts[0] == 2);  // 5 of 85 are left
    CHECK(result.status[0] == PursuitStatus::residual_small);
    const double edge = std::sqrt(identity.dictionary().false_alarm_threshold(0.01));
    y << 9, edge * 1.001, edge * 0.999, 0;
    identity.run(y, {0, FalseAlarm{1, 0.01}}, result);
    CHECK(result.counts[0] == 2);
    CHECK(result.status[0] == PursuitStatus::not_significant);
    Matrix<double> twice(3, 2);
    twice << 1, 1, 0, 0, 0, 0;
    GramPursuit<double> dependent(twice, 2);
    dependent.run(Eigen::Vector3d(1, 1, 0), {}, result);
    CHECK(result.counts[0] == 1);
    CHECK(result.status[0] == PursuitStatus::exhausted);
    dependent.run(Eigen::Vector3d::Zero(), {}, result);
    CHECK(result.counts[0] == 0);
    CHECK(result.status[0] == PursuitStatus::silent);
    dependent.run(Matrix<double>(3, 0), {}, result);
    CHECK(result.counts.empty());
    const auto single =
        in_batch<double>(Matrix<double>::Ones(1, 1), 5, Matrix<double>::Constant(1, 1, -3));
    CHECK(single.coefficients(0, 0) == -3);
    CHECK(single.residual_energy[0] == 0);
}

TEST_CASE("batches that make no sense are refused") {
    GramPursuitResult<double> result;
    CHECK_THROWS_AS(GramPursuit<double>(Matrix<double>::Identity(4, 4), 0), InvalidInput);
    CHECK_THROWS_AS(GramPursuit<double>(Matrix<double>::Constant(2, 2, 3), 1), InvalidInput);
    GramPursuit<double> pursuit(Matrix<double>::Identity(4, 4), 9);  // at most 4 atoms
    CHECK_THROWS_AS(pursuit.run(Matrix<double>::Ones(3, 2), {}, result), InvalidInput);
    Matrix<double> broken = Matrix<double>::Ones(4, 2);
    broken(1, 1) = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_AS(pursuit.run(broken, {}, result), InvalidInput);
    CHECK_THROWS_AS(pursuit.run(Matrix<double>::Ones(4, 2), {2, std::nullopt}, result),
                    InvalidInput);
    pursuit.run(Matrix<double>::Ones(4, 2), {}, result);
    CHECK(result.columns.rows() == 4);
}

TEST_CASE("columns that float takes for one are told apart, and the first of equal ones is taken") {
    // Pairs of columns 1e-9 apart: 1 / 100 of float's resolution, 1e6 times that of double.
    RandomStream stream(11);
    Matrix<double> columns = random_dictionary<double>(stream, 30, 200);
    for (Eigen::Index k = 0; k < 100; ++k) {
        columns.col(100 + k) = columns.col(k) + 1e-9 * random_matrix<double>(stream, 30, 1);
    }
    columns.col(150) = columns.col(50);
    columns.colwise().normalize();
    const Matrix<double> signals = random_matrix<double>(stream, 30, 50);
    const auto result = in_batch(columns, 6, signals);
    const auto all = one_by_one(columns, 6, signals);
    Eigen::Index of_second_half = 0;
    for (std::size_t t = 0; t < all.size(); ++t) {
        REQUIRE(result.counts[t] == all[t].atoms.size());
        for (std::size_t k = 0; k < all[t].atoms.size(); ++k) {
            const Eigen::Index chosen =
                result.columns(static_cast<Eigen::Index>(k), static_cast<Eigen::Index>(t));
            REQUIRE(chosen == static_cast<Eigen::Index>(all[t].atoms[k].index));
            CHECK(chosen != 150);
            of_second_half += chosen >= 100 ? 1 : 0;
        }
    }
    // Whoever took the first of each pair would pass but for this.
    CHECK(of_second_half > 50);
}

TEST_CASE("a signal's size changes its coefficients and nothing else") {
    RandomStream stream(13);
    const Matrix<double> columns = random_dictionary<double>(stream, 25, 77);
    const Matrix<double> signals = random_matrix<double>(stream, 25, 9);
    GramPursuit<double> pursuit(columns, 6);
    GramPursuitResult<double> plain, scaled;
    pursuit.run(signals, {}, plain);
    for (const double scale : {0x1p-400, 0x1p400}) {  // beyond float's range; powers of two: exact
        pursuit.run(scale * signals, {}, scaled);
        CHECK(scaled.columns == plain.columns);
        CHECK(scaled.coefficients == scale * plain.coefficients);
    }
    CHECK_THROWS_AS(pursuit.run(0x1p600 * signals, {}, scaled), InvalidInput);
}
