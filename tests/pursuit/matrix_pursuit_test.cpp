// Pursuits over plain matrices: worked examples and the theorems' bounds.
#include <Eigen/QR>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <numeric>
#include <set>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "support/check.hpp"
#include "support/pursuit.hpp"

using namespace echosieve;
using namespace echosieve::test;
using Complex = std::complex<double>;

namespace {

constexpr double printed = 1e-10;  // the worked examples are given to ten decimals or more
constexpr double exact = 1e-14;    // a handful of roundings of numbers up to 4

struct Term {
    std::size_t index;
    double coefficient;
};

void check_terms(const PursuitResult<MatrixTerm<double>, double>& result,
                 const std::vector<Term>& terms, const std::vector<double>& energies) {
    REQUIRE(result.atoms.size() == terms.size());
    REQUIRE(result.residual_energy.size() == energies.size());
    for (std::size_t n = 0; n < terms.size(); ++n) {
        CHECK(result.atoms[n].index == terms[n].index);
        CHECK_WITHIN(result.atoms[n].coefficient, terms[n].coefficient, printed);
        CHECK_WITHIN(result.residual_energy[n], energies[n], printed);
    }
}

PursuitResult<MatrixTerm<double>, double> pursue_dense(const Eigen::MatrixXd& columns,
                                                       const Eigen::VectorXd& signal,
                                                       const auto& strategy,
                                                       const Stop& stop = {}) {
    MatrixDictionary<double> dictionary(columns);
    return pursue(span_of(signal), dictionary, strategy, stop);
}

Eigen::MatrixXd hadamard(Eigen::Index n) {  // Sylvester 1867
    Eigen::MatrixXd h = Eigen::MatrixXd::Ones(1, 1);
    while (h.rows() < n) {
        Eigen::MatrixXd next(2 * h.rows(), 2 * h.rows());
        next << h, h, h, -h;
        h = next;
    }
    return h / std::sqrt(static_cast<double>(n));
}

Eigen::MatrixXd dirac_hadamard(Eigen::Index n) {
    Eigen::MatrixXd d(n, 2 * n);
    d << Eigen::MatrixXd::Identity(n, n), hadamard(n);
    return d;
}

Eigen::MatrixXcd dirac_fourier(Eigen::Index n) {
    Eigen::MatrixXcd d = Eigen::MatrixXcd::Identity(n, 2 * n);
    for (Eigen::Index k = 0; k < n; ++k) {
        for (Eigen::Index i = 0; i < n; ++i) {
            d(i, n + k) = unit_phasor(static_cast<double>(i * k) / static_cast<double>(n)) /
                          std::sqrt(static_cast<double>(n));
        }
    }
    return d;
}

}  // namespace

// Examples 1 to 4: computed with independent code of ours in Python, no published source.
TEST_CASE("two atoms in the plane: greedy zigzags, orthogonal ends") {
    Eigen::Matrix2d d;
    d << 1, 0.5, 0, std::sqrt(3.0) / 2;
    const Eigen::Vector2d f(1, 1);
    const double first = 0.133974596216;
    check_terms(pursue_dense(d, f, Greedy{5}),
                {{1, 1.3660254038},
                 {0, .3169872981},
                 {1, -.1584936491},
                 {0, .0792468245},
                 {1, -.0396234123}},
                {first, first / 4, first / 16, first / 64, first / 256});
    const auto result = pursue_dense(d, f, Orthogonal{5});
    CHECK(result.status == PursuitStatus::residual_small);
    check_terms(result, {{1, 2 / std::sqrt(3.0)}, {0, 1 - 1 / std::sqrt(3.0)}}, {first, 0});
}

TEST_CASE("spikes and Hadamard waves: greedy repeats itself, orthogonal finds the two") {
    const Eigen::Vector4d y(4, 1, 1, 1);
    check_terms(pursue_dense(dirac_hadamard(4), y, Greedy{5}),
                {{0, 4}, {4, 1.5}, {0, -.75}, {4, .375}, {0, -.1875}},
                {3, .75, .1875, .046875, .01171875});
    const auto result = pursue_dense(dirac_hadamard(4), y, Orthogonal{8});
    CHECK(result.status == PursuitStatus::residual_small);
    check_terms(result, {{0, 3}, {4, 2}}, {3, 0});
}

TEST_CASE("where Tropp's condition fails, orthogonal pursuit misses the sparsest answer") {
    Eigen::MatrixXd d(4, 5);
    d << Eigen::Matrix4d::Identity(), Eigen::Vector4d(1, 1, .1, .05) / std::sqrt(2.0125);
    const Eigen::Vector4d y(1, 1, 0, 0);
    CHECK_WITHIN(d.col(4).dot(y), 1.4098147537, printed);  // > 1, Tropp 2004
    check_terms(pursue_dense(d, y, Orthogonal{3}), {{4, 1.4186260959}, {2, -.1}, {3, -.05}},
                {.012422360248, .002496878901, 0});
}

TEST_CASE("the three by four example, greedy and orthogonal") {
    Eigen::MatrixXd x(3, 4);
    x << .8, 0, .6, 0, .6, .6, 0, .28, 0, .8, .8, .96;
    const Eigen::Vector3d y(1, 2, 3);
    check_terms(pursue_dense(x, y, Greedy{5}),
                {{1, 3.6}, {0, .704}, {2, .35808}, {1, -.4826112}, {2, .308871168}},
                {1.04, .544384, .4161627136, .183249143235, .087847744813});
    check_terms(pursue_dense(x, y, Orthogonal{1}), {{1, 3.6}}, {1.04});
    check_terms(pursue_dense(x, y, Orthogonal{2}), {{1, 3.308823529412}, {0, .808823529412}},
                {1.04, .470588235294});
    check_terms(pursue_dense(x, y, Orthogonal{3}),
                {{1, 2.797619047619}, {0, .535714285714}, {2, .952380952381}},
                {1.04, .470588235294, 0});
}

TEST_CASE("two atoms at an angle: each greedy step multiplies the residual by the cosine") {
    for (const double angle : {0.2, 0.7, 1.2, 2.0, 3.0}) {
        Eigen::Matrix2d d;
        d << 1, std::cos(angle), 0, std::sin(angle);
        const auto result = pursue_dense(d, Eigen::Vector2d(0.3, 1.7), Greedy{8});
        for (std::size_t n = 1; n < result.residual_energy.size(); ++n) {
            const double expected = std::pow(std::cos(angle), 2) * result.residual_energy[n - 1];
            CHECK_WITHIN(result.residual_energy[n], expected, exact);
        }
    }
}

// Mallat and Zhang 1993: ||R^{n+1}||^2 <= (1 - lambda^2) ||R^n||^2, lambda = cos(pi / 2n) for n
// evenly spaced lines in the plane and 1 / sqrt(N) for an orthonormal basis; both are attained.
TEST_CASE("decay of the residual is bounded by the worst direction, and attains it") {
    const double pi = std::numbers::pi;
    struct Lines {
        int count;
        double factor;
    };
    for (const Lines lines : {Lines{2, .5}, {3, .25}, {4, .1464466094}, {6, .0669872981}}) {
        Eigen::MatrixXd d(2, lines.count);
        for (int k = 0; k < lines.count; ++k) {
            d.col(k) << std::cos(pi * k / lines.count), std::sin(pi * k / lines.count);
        }
        const double half = pi / (2 * lines.count);
        const auto worst =
            pursue_dense(d, Eigen::Vector2d(std::cos(half), std::sin(half)), Greedy{1});
        CHECK_WITHIN(worst.residual_energy[0], lines.factor, printed);
        for (double turn = 0.01; turn < pi; turn += 0.07) {
            const auto any =
                pursue_dense(d, Eigen::Vector2d(std::cos(turn), std::sin(turn)), Greedy{1});
            CHECK(any.residual_energy[0] <= lines.factor + printed);
        }
    }
    const auto basis =
        pursue_dense(Eigen::MatrixXd::Identity(9, 9), Eigen::VectorXd::Ones(9), Greedy{1});
    CHECK_WITHIN_RELATIVE(basis.residual_energy[0] / basis.signal_energy, 8.0 / 9, exact);
}

// Tropp 2004: k < (1 + 1/mu) / 2 atoms are always found; mu = 1 / sqrt(N) here: 2 of 16, 4 of 64.
TEST_CASE("what is left is orthogonal to columns that are nearly the same") {
    // They differ by 1e-10: made orthogonal once, the second would keep 1e-6 of the first.
    RandomStream stream(29);
    const auto random = [&] {
        return Eigen::VectorXd::NullaryExpr(24, [&](Eigen::Index) { return stream.normal(); })
            .eval();
    };
    for (int trial = 0; trial < 10; ++trial) {
        CAPTURE(trial);
        Eigen::MatrixXd columns(24, 2);
        columns.col(0) = random().normalized();
        columns.col(1) = (columns.col(0) + 1e-10 * random()).normalized();
        const Eigen::VectorXd signal = random();
        MatrixDictionary<double> dictionary(columns);
        PursuitEngine<MatrixDictionary<double>> engine;
        PursuitResult<MatrixTerm<double>, double> result;
        engine.run(span_of(signal), dictionary, Orthogonal{2}, {}, result);
        REQUIRE(result.atoms.size() == 2);
        const Eigen::Map<const Eigen::VectorXd> left(engine.residual().data(), 24);
        constexpr double rounding = 1e-14;  // of 24 products of numbers of order 1
        CHECK_WITHIN(columns.col(0).dot(left), 0, rounding);
        CHECK_WITHIN(columns.col(1).dot(left), 0, rounding);
        // What differs by rounding alone ends the pursuit: nothing of the column is left.
        columns.col(1) = columns.col(0) + 1e-14 * random();
        MatrixDictionary<double> equal(columns);
        engine.run(span_of(signal), equal, Orthogonal{2}, {}, result);
        CHECK(result.status == PursuitStatus::exhausted);
        CHECK(result.atoms.size() == 1);
        CHECK_WITHIN(columns.col(0).dot(left), 0, 1e-13);
    }
}

TEST_CASE("every sparse enough mixture of spikes and waves is found by orthogonal pursuit") {
    RandomStream stream(42);
    MatrixDictionary<double> small(dirac_hadamard(16));
    MatrixDictionary<Complex> fourier(dirac_fourier(16));
    const double tolerance = 1e-12;  // two to four atoms of coherence 1/4 or less
    for (std::size_t i = 0; i < 32; ++i) {
        for (std::size_t j = 0; j < i; ++j) {
            const double a = stream.normal() + 0.1;
            const double b = stream.normal() - 0.1;
            const auto column = [](const auto& d, std::size_t k) {
                return d.columns().col(static_cast<Eigen::Index>(k));
            };
            const Eigen::VectorXd y = a * column(small, i) + b * column(small, j);
            const auto found = pursue(span_of(y), small, Orthogonal{16});
            CHECK(found.status == PursuitStatus::residual_small);
            REQUIRE(found.atoms.size() == 2);
            const bool swapped = found.atoms[0].index == j;
            CHECK(found.atoms[swapped].index == i);
            CHECK(found.atoms[!swapped].index == j);
            CHECK_WITHIN(found.atoms[swapped].coefficient, a, tolerance);
            CHECK_WITHIN(found.atoms[!swapped].coefficient, b, tolerance);

            const Complex c(a, stream.normal());
            const Complex e(b, stream.normal());
            const Eigen::VectorXcd z = c * column(fourier, i) + e * column(fourier, j);
            const auto waves = pursue(span_of(z), fourier, Orthogonal{16});
            REQUIRE(waves.atoms.size() == 2);
            const bool turned = waves.atoms[0].index == j;
            CHECK_WITHIN(waves.atoms[turned].coefficient, c, tolerance);
            CHECK_WITHIN(waves.atoms[!turned].coefficient, e, tolerance);
        }
    }
    const Eigen::MatrixXd d = dirac_hadamard(64);
    MatrixDictionary<double> large(d);
    for (int run = 0; run < 200; ++run) {
        std::set<std::size_t> chosen;
        Eigen::VectorXd y = Eigen::VectorXd::Zero(64);
        while (chosen.size() < 4) {
            const auto k = static_cast<std::size_t>(stream.uniform() * 128);
            if (chosen.insert(k).second) {
                y += (stream.uniform() < 0.5 ? -1 : 1) * stream.uniform(0.05, 1.0) *
                     d.col(static_cast<Eigen::Index>(k));
            }
        }
        std::set<std::size_t> found;
        for (const auto& term : pursue(span_of(y), large, Orthogonal{64}).atoms) {
            found.insert(term.index);
        }
        CHECK(found == chosen);
    }
}

// Beyond the bound: the comb of sqrt(N) spikes has two forms, as many spikes as waves.
TEST_CASE("a Dirac comb is taken apart into four atoms of either kind") {
    MatrixDictionary<Complex> fourier(dirac_fourier(16));
    Eigen::VectorXcd comb = Eigen::VectorXcd::Zero(16);
    Eigen::VectorXcd waves = Eigen::VectorXcd::Zero(16);
    for (Eigen::Index k = 0; k < 16; k += 4) {
        comb[k] = 1;
        waves += fourier.columns().col(16 + k);
    }
    CHECK((comb - waves).norm() < exact);
    const auto result = pursue(span_of(comb), fourier, Orthogonal{16});
    CHECK(result.status == PursuitStatus::residual_small);
    CHECK(result.atoms.size() >= 4);
    CHECK(result.atoms.size() <= 16);
}

TEST_CASE_TEMPLATE("energy balances, the residual is orthogonal and no atom comes twice", T, float,
                   double, std::complex<float>, std::complex<double>) {
    using R = RealOf<T>;
    using Matrix = typename MatrixDictionary<T>::Matrix;
    const Eigen::Index samples = 24;
    const auto column_count = static_cast<std::size_t>(60);
    RandomStream stream(7);
    Matrix d(samples, static_cast<Eigen::Index>(column_count));
    for (Eigen::Index k = 0; k < d.cols(); ++k) {
        for (Eigen::Index i = 0; i < samples; ++i) {
            d(i, k) = random_sample<T>(stream);
        }
        d.col(k).normalize();
    }
    MatrixDictionary<T> dictionary(d);
    Eigen::Matrix<T, Eigen::Dynamic, 1> y(samples);
    for (Eigen::Index i = 0; i < samples; ++i) {
        y[i] = random_sample<T>(stream);
    }
    // Some 24 atoms of condition below 1e3 and 24 samples: a few hundred roundings.
    const double rounding = 1e3 * epsilon<R>;

    SUBCASE("greedy") {
        const auto result = pursue(span_of(y), dictionary, Greedy{200});
        Eigen::Matrix<T, Eigen::Dynamic, 1> residual = y;
        double captured = 0;
        const double total = static_cast<double>(y.squaredNorm());
        REQUIRE(result.usable());
        for (std::size_t n = 0; n < result.atoms.size(); ++n) {
            const auto column = d.col(static_cast<Eigen::Index>(result.atoms[n].index));
            CHECK_WITHIN(column.dot(residual), result.atoms[n].coefficient, rounding);
            // The largest of all correlations, whichever way it is computed.
            const R largest = (d.adjoint() * residual).cwiseAbs().maxCoeff();
            CHECK_WITHIN(std::abs(column.dot(residual)), largest, rounding);
            residual -= result.atoms[n].coefficient * column;
            captured += std::norm(std::complex<double>(result.atoms[n].coefficient));
            const double left = static_cast<double>(result.residual_energy[n]);
            CHECK_WITHIN(captured + left, total, rounding * total);
            CHECK_WITHIN(left, residual.squaredNorm(), rounding * total);
        }
    }
    SUBCASE("orthogonal") {
        PursuitEngine<MatrixDictionary<T>> engine;
        typename PursuitEngine<MatrixDictionary<T>>::Result result;
        std::set<std::size_t> seen;
        for (std::size_t atoms = 1; atoms <= 24; ++atoms) {
            engine.run(span_of(y), dictionary, Orthogonal{atoms}, Stop{}, result);
            REQUIRE(result.atoms.size() == atoms);
            CHECK(seen.insert(result.atoms.back().index).second);
            // The slow way: least squares on the chosen columns by Householder's method.
            Matrix chosen(samples, static_cast<Eigen::Index>(atoms));
            for (std::size_t n = 0; n < atoms; ++n) {
                chosen.col(static_cast<Eigen::Index>(n)) =
                    d.col(static_cast<Eigen::Index>(result.atoms[n].index));
            }
            const Eigen::Matrix<T, Eigen::Dynamic, 1> best = chosen.colPivHouseholderQr().solve(y);
            for (std::size_t n = 0; n < atoms; ++n) {
                CHECK_WITHIN(result.atoms[n].coefficient, best[static_cast<Eigen::Index>(n)],
                             10 * rounding);
            }
            const double total = static_cast<double>(result.signal_energy);
            CHECK_WITHIN(result.residual_energy.back(), (y - chosen * best).squaredNorm(),
                         rounding * total);
            const auto residual = engine.residual();
            const Eigen::Map<const Eigen::Matrix<T, Eigen::Dynamic, 1>> r(
                residual.data(), static_cast<Eigen::Index>(residual.size()));
            CHECK((chosen.adjoint() * r).cwiseAbs().maxCoeff() <= rounding);
        }
        // 24 independent columns span everything: asking for more ends there, with nothing left.
        engine.run(span_of(y), dictionary, Orthogonal{60}, Stop{}, result);
        CHECK(result.atoms.size() <= 24);
        CHECK((result.status == PursuitStatus::residual_small ||
               result.status == PursuitStatus::exhausted));
        CHECK_WITHIN(result.explained(), 1.0, rounding);
    }
}

TEST_CASE("a dictionary that does not reach the signal is exhausted") {
    const Eigen::MatrixXd d = Eigen::MatrixXd::Identity(4, 2);
    const auto part = pursue_dense(d, Eigen::Vector4d(3, 0, 4, 0), Orthogonal{4});
    CHECK(part.status == PursuitStatus::exhausted);
    check_terms(part, {{0, 3}}, {16});
    CHECK(part.usable());
    const auto none = pursue_dense(d, Eigen::Vector4d(0, 0, 4, 0), Greedy{4});
    CHECK(none.status == PursuitStatus::exhausted);
    CHECK(none.atoms.empty());
    CHECK_FALSE(none.usable());
}

TEST_CASE("edges of the input: nothing asked, silence, one sample, too large, not finite") {
    const Eigen::Matrix2d d = Eigen::Matrix2d::Identity();
    const auto nothing = pursue_dense(d, Eigen::Vector2d(1, 2), Orthogonal{0});
    CHECK(nothing.status == PursuitStatus::atom_count);
    CHECK_FALSE(nothing.usable());
    CHECK(nothing.explained() == 0);
    const auto silent = pursue_dense(d, Eigen::Vector2d(0, 0), Greedy{3});
    CHECK(silent.status == PursuitStatus::silent);
    CHECK_FALSE(silent.usable());
    check_terms(
        pursue_dense(Eigen::MatrixXd::Ones(1, 1), Eigen::VectorXd::Constant(1, -5), Orthogonal{3}),
        {{0, -5}}, {0});
    // Huge numbers of atoms cost nothing: the signal ends first.
    CHECK(
        pursue_dense(d, Eigen::Vector2d(1, 2), Orthogonal{std::numeric_limits<std::size_t>::max()})
            .atoms.size() == 2);
    CHECK(pursue_dense(d, Eigen::Vector2d(1, 2), Greedy{std::numeric_limits<std::size_t>::max()})
              .atoms.size() == 2);
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double infinity = std::numeric_limits<double>::infinity();
    for (const double bad : {nan, infinity, -infinity, 1e200}) {
        CHECK_THROWS_AS(pursue_dense(d, Eigen::Vector2d(1, bad), Greedy{1}), InvalidInput);
    }
    CHECK_THROWS_WITH_AS(pursue_dense(d, Eigen::Vector3d(1, 2, 3), Greedy{1}),
                         "number of samples = 3: must be the source's, 2", InvalidInput);
    check_terms(pursue_dense(d, Eigen::Vector2d(1e-150, 0) * 1e150, Greedy{1}), {{0, 1}}, {0});
    const PursuitResult<MatrixTerm<double>, double> untouched;
    CHECK(untouched.status == PursuitStatus::not_run);
    CHECK_FALSE(untouched.usable());
}

TEST_CASE("the same engine gives the same bits whatever it ran before") {
    RandomStream stream(9);
    const Eigen::MatrixXd d = dirac_hadamard(16);
    MatrixDictionary<double> dictionary(d);
    MatrixDictionary<double> smaller(dirac_hadamard(4));
    Eigen::VectorXd y(16);
    for (Eigen::Index i = 0; i < 16; ++i) {
        y[i] = stream.normal();
    }
    PursuitEngine<MatrixDictionary<double>> used;
    PursuitEngine<MatrixDictionary<double>>::Result again;
    const auto fresh = pursue(span_of(y), dictionary, Orthogonal{6});
    const auto greedy = pursue(span_of(y), dictionary, Greedy{6});
    used.run(span_of(y), dictionary, Orthogonal{16}, Stop{}, again);
    used.run(span_of(y).first(4), smaller, Greedy{3}, Stop{}, again);
    used.run(span_of(y), dictionary, Greedy{6}, Stop{}, again);
    CHECK(again.atoms == greedy.atoms);
    used.run(span_of(y), dictionary, Orthogonal{6}, Stop{}, again);
    CHECK(again.atoms == fresh.atoms);
    CHECK(again.residual_energy == fresh.residual_energy);
}
