// The covariance of several echoes against a Fisher matrix by differences, and against figures
// derived apart from the library.
#include "echosieve/pursuit/echo_covariance.hpp"

#include <Eigen/Dense>
#include <cmath>
#include <complex>
#include <limits>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/correlate/bound.hpp"
#include "support/check.hpp"
#include "support/echoes.hpp"

using namespace echosieve;
using namespace echosieve::test;
using Complex = std::complex<double>;
using Plain = Gabor<double>;
using Chirped = ChirpedGabor<double>;

namespace {

const SamplingGrid raw{20e-6, 125e6, 1800, 0};
const double infinity = std::numeric_limits<double>::infinity();

std::vector<Echo<Plain>> pair_apart(double separation, double second = 1) {
    return {{{26e-6, 4e6, 1e6}, 1}, {{26e-6 + separation, 4e6, 1e6}, second}};
}

template <FittedAtom A>
std::vector<AtomBox<A>> boxes_of(const std::vector<Echo<A>>& echoes, bool known_shape) {
    std::vector<AtomBox<A>> out;
    for (const Echo<A>& echo : echoes) {
        const double width = known_shape ? 0 : 1e5;
        out.push_back(box_about(echo.atom, 1e-6, width, width, known_shape ? 0 : 1e12));
    }
    return out;
}

// Standard deviation [ns] of arrival 1 at a noise of a tenth of the amplitude.
double first_arrival(double separation, bool known_shape, double second = 1) {
    const auto echoes = pair_apart(separation, second);
    return 1e9 *
           echo_covariance<double>(echoes, raw, boxes_of(echoes, known_shape), 0.01).arrival(0);
}

template <FittedAtom A>
std::vector<Echo<A>> three_echoes(RandomStream& stream) {
    std::vector<Echo<A>> out;
    for (int k = 0; k < 3; ++k) {
        A atom;
        atom.arrival = 22e-6 + k * 0.9e-6 + stream.uniform(-1e-7, 1e-7);
        atom.centre_frequency = stream.uniform(3.8e6, 4.2e6);
        atom.bandwidth = stream.uniform(0.9e6, 1.2e6);
        if constexpr (std::same_as<A, Chirped>) {
            atom.chirp_rate = stream.uniform(-5e11, 5e11);
        }
        out.push_back({atom, std::polar(stream.uniform(0.5, 2.0), stream.uniform(0.0, 6.3))});
    }
    return out;
}

}  // namespace

TEST_CASE("two echoes: figures derived apart from the library") {
    struct Row {
        double separation, known, all_free;  // [s], [ns], [ns]
    };
    // Numerical Fisher matrices of two real echoes in phase, amplitude over noise 20 dB.
    const Row rows[] = {{0.3e-6, 22.0372, 0},
                        {0.5e-6, 26.1147, 326.171},
                        {1.0e-6, 10.0225, 19.57480},
                        {2.0e-6, 8.2192, 8.221992}};
    const double printed = 5e-6;  // half of the last digit printed, of six to seven
    for (const Row& row : rows) {
        CAPTURE(row.separation);
        CHECK_WITHIN_RELATIVE(first_arrival(row.separation, true), row.known, printed);
        if (row.all_free > 0) {
            CHECK_WITHIN_RELATIVE(first_arrival(row.separation, false), row.all_free, printed);
        }
    }
    const std::vector<Echo<Plain>> one{{{26e-6, 4e6, 1e6}, 1}};
    const auto alone = echo_covariance<double>(one, raw, boxes_of(one, false), 0.01);
    CHECK_WITHIN_RELATIVE(alone.arrival(0) * 1e9, 8.218723, printed);
}

TEST_CASE("one echo: the closed form of its bounds") {
    const std::vector<Echo<Plain>> one{{{26.003e-6, 4e6, 1e6}, std::polar(2.0, 1.0)}};
    const auto covariance = echo_covariance<double>(one, raw, boxes_of(one, false), 0.01);
    const EchoBound bound = echo_bound(one[0].atom, energy_to_noise(one[0].atom, 2, 0.1, 125e6));
    const double tolerance = 1e-8;  // of the closed form: the image at -4 MHz
    CHECK_WITHIN_RELATIVE(covariance.arrival(0), bound.arrival, tolerance);
    CHECK_WITHIN_RELATIVE(covariance.centre_frequency(0), bound.centre_frequency, tolerance);
    CHECK_WITHIN_RELATIVE(covariance.bandwidth(0), bound.relative_bandwidth * 1e6, tolerance);
    CHECK_WITHIN_RELATIVE(covariance.magnitude(0), bound.relative_amplitude * 2, tolerance);
    CHECK_WITHIN_RELATIVE(covariance.phase(0), bound.phase, tolerance);
    CHECK(covariance.chirp_rate(0) == 0);
    const std::vector<Echo<Chirped>> bent{{{26.003e-6, 4e6, 1e6, 3e11}, std::polar(2.0, 1.0)}};
    const auto chirped = echo_covariance<double>(bent, raw, boxes_of(bent, false), 0.01);
    const EchoBound six = echo_bound(bent[0].atom, energy_to_noise(bent[0].atom, 2, 0.1, 125e6));
    CHECK_WITHIN_RELATIVE(chirped.arrival(0), six.arrival, tolerance);
    CHECK_WITHIN_RELATIVE(chirped.centre_frequency(0), six.centre_frequency, tolerance);
    CHECK_WITHIN_RELATIVE(chirped.chirp_rate(0), six.chirp_rate, tolerance);
    CHECK_WITHIN_RELATIVE(chirped.phase(0), six.phase, tolerance);
}

// A factor on echo 2's columns drops out of what is known of echo 1.
TEST_CASE("echo 1's bound does not change with echo 2's amplitude") {
    for (const bool known : {false, true}) {
        const double equal = first_arrival(0.5e-6, known);
        for (const double second : {1e-6, 0.1, 30.0, 1e6}) {
            CHECK_WITHIN_RELATIVE(first_arrival(0.5e-6, known, second), equal, 1e-8);
        }
    }
}

TEST_CASE_TEMPLATE("the whole matrix against a Fisher matrix by differences", A, Plain, Chirped) {
    const auto check = [](auto sample, const SamplingGrid& grid) {
        using T = decltype(sample);
        RandomStream stream(5);
        // The differences' 1e-11, times the condition of the scaled information, up to 1e4.
        const double tolerance = 1e-6;
        for (int run = 0; run < 4; ++run) {
            const auto echoes = three_echoes<A>(stream);
            const auto covariance =
                echo_covariance<T>(echoes, grid, boxes_of(echoes, run == 3), 0.04);
            const Eigen::Index n = 3 * (atom_parameters<A> + 2);
            REQUIRE(covariance.matrix.rows() == n);
            std::vector<Eigen::Index> free;
            Eigen::MatrixXd jacobian(grid.count * (is_complex<T> ? 2 : 1), n);
            for (Eigen::Index i = 0; i < n; ++i) {
                const Eigen::Index j = i % covariance.parameters;
                jacobian.col(i) = slow_derivative<T>(
                    echoes, grid, static_cast<std::size_t>(i / covariance.parameters), j);
                if (run < 3 || j == 0 || j >= atom_parameters<A>) {
                    free.push_back(i);
                }
            }
            const Eigen::VectorXd length = jacobian.colwise().norm();
            const Eigen::MatrixXd unit =
                (jacobian * length.cwiseInverse().asDiagonal())(Eigen::all, free);
            const Eigen::MatrixXd inverse = (unit.transpose() * unit).inverse() * 0.04;
            Eigen::MatrixXd expected = Eigen::MatrixXd::Zero(n, n);
            expected(free, free) = inverse;
            for (Eigen::Index i = 0; i < n; ++i) {
                for (Eigen::Index j = 0; j < n; ++j) {
                    const double size = std::sqrt(expected(i, i) * expected(j, j));
                    CHECK_WITHIN(covariance.matrix(i, j) * length[i] * length[j], expected(i, j),
                                 tolerance * size);
                }
            }
        }
    };
    check(double{}, {20e-6, 25e6, 200, 0});
    check(Complex{}, {20e-6, 8e6, 60, 4e6});
}

TEST_CASE("what can't be known has infinite variance, and the rest keeps its own") {
    const Plain near{26e-6, 4e6, 1e6};
    const Plain far{30e-6, 4e6, 1e6};
    SUBCASE("equal echoes") {
        const std::vector<Echo<Plain>> echoes{{near, 1}, {near, 0.5}, {far, 1}};
        const auto covariance = echo_covariance<double>(echoes, raw, boxes_of(echoes, false), 0.01);
        CHECK(covariance.arrival(0) == infinity);
        CHECK(covariance.arrival(1) == infinity);
        CHECK(covariance.magnitude(1) == infinity);
        CHECK_FALSE(covariance.resolvable(0, 1));
        CHECK_FALSE(covariance.resolvable(1, 1));
        const std::vector<Echo<Plain>> without{{near, 1}, {far, 1}};
        const double tolerance = 1e-6;  // of the half nearly null vectors beside the null ones
        CHECK_WITHIN_RELATIVE(
            covariance.arrival(2),
            echo_covariance<double>(without, raw, boxes_of(without, false), 0.01).arrival(1),
            tolerance);
        CHECK(covariance.resolvable(2, 1e-8));
        CHECK_FALSE(covariance.resolvable(2, 1e-9));
    }
    SUBCASE("an echo outside the grid") {
        const std::vector<Echo<Plain>> echoes{{near, 1}, {{90e-6, 4e6, 1e6}, 1}};
        const auto covariance = echo_covariance<double>(echoes, raw, boxes_of(echoes, false), 0.01);
        CHECK(covariance.arrival(1) == infinity);
        CHECK(covariance.phase(1) == infinity);
        CHECK_WITHIN_RELATIVE(covariance.arrival(0) * 1e9, 8.218723, 5e-6);  // as if it were alone
    }
    SUBCASE("an echo of amplitude 0") {
        const std::vector<Echo<Plain>> echoes{{near, 0}};
        const auto covariance = echo_covariance<double>(echoes, raw, boxes_of(echoes, false), 0.01);
        CHECK(covariance.arrival(0) == infinity);
        CHECK(covariance.phase(0) == infinity);
        // 1 / (the column's length): sqrt(2 / (fs sqrt(pi / (2 alpha)))).
        const double expected =
            0.1 * std::sqrt(2 / (125e6 * std::sqrt(std::numbers::pi / (2 * decay(near)))));
        CHECK_WITHIN_RELATIVE(covariance.magnitude(0), expected, 1e-8);
    }
    SUBCASE("no noise") {
        const auto echoes = pair_apart(1e-6);
        const auto covariance = echo_covariance<double>(echoes, raw, boxes_of(echoes, false), 0);
        CHECK(covariance.matrix.isZero(0));
        CHECK(covariance.resolvable(0, 0));
    }
}

TEST_CASE("covariances of what makes no sense are refused") {
    const auto echoes = pair_apart(1e-6);
    const auto boxes = boxes_of(echoes, false);
    const auto of = [](const auto& e, const SamplingGrid& grid, const auto& b, double variance) {
        static_cast<void>(echo_covariance<double>(e, grid, b, variance));
    };
    of(echoes, raw, boxes, 1);
    CHECK_THROWS_AS(of(std::vector<Echo<Plain>>{}, raw, std::vector<GaborBox>{}, 1), InvalidInput);
    CHECK_THROWS_AS(of(echoes, raw, std::vector<GaborBox>(1, boxes[0]), 1), InvalidInput);
    CHECK_THROWS_AS(of(echoes, raw, boxes, -1), InvalidInput);
    CHECK_THROWS_AS(of(echoes, raw, boxes, std::nan("")), InvalidInput);
    CHECK_THROWS_AS(of(echoes, SamplingGrid{0, 125e6, 500, 4e6}, boxes, 1), InvalidInput);
    CHECK_THROWS_AS(of(echoes, SamplingGrid{26e-6, 125e6, 9, 0}, boxes, 1), InvalidInput);
    CHECK_THROWS_AS(of(echoes, SamplingGrid{26e-6, -125e6, 90, 0}, boxes, 1), InvalidInput);
}
