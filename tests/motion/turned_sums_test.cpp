#include "echosieve/motion/turned_sums.hpp"

#include <Eigen/Core>
#include <cmath>
#include <complex>
#include <limits>

#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

using Complex = std::complex<double>;

Eigen::ArrayXXcd random_values(RandomStream& stream, Eigen::Index frames, Eigen::Index bins) {
    Eigen::ArrayXXcd out(frames, bins);
    for (Complex& x : out.reshaped()) {
        x = {stream.normal(), stream.normal()};
    }
    return out;
}

Eigen::ArrayXXcd random_turns(RandomStream& stream, Eigen::Index frames, Eigen::Index bins,
                              double most) {
    Eigen::ArrayXXcd out(frames, bins);
    for (Complex& r : out.reshaped()) {
        r = std::polar(1.0, stream.uniform(-most, most));
    }
    return out;
}

}  // namespace

TEST_CASE("turned sums are the sums, for any number of frames") {
    RandomStream stream(6);
    for (const Eigen::Index frames : {1, 7, 8, 9, 50}) {
        const Eigen::ArrayXXcd x = random_values(stream, frames, 3);
        const Eigen::ArrayXXcd r = random_turns(stream, frames, 3, 3);
        const Eigen::ArrayXXcd table = turned_sums(x, r, 40);
        REQUIRE(table.rows() == 40);
        REQUIRE(table.cols() == 3);
        for (const Eigen::Index k : {0, 1, 17, 39}) {
            for (Eigen::Index j = 0; j < 3; ++j) {
                Complex sum = 0;
                for (Eigen::Index i = 0; i < frames; ++i) {
                    sum += x(i, j) * std::polar(1.0, std::arg(r(i, j)) * static_cast<double>(k));
                }
                // k roundings of the running phasor of each frame
                CHECK_WITHIN(table(k, j), sum, 1e-15 * 40 * x.col(j).abs().sum());
            }
        }
    }
}

TEST_CASE("between two rows of the table the error keeps its bound") {
    RandomStream stream(7);
    const Eigen::Index frames = 60;
    const Eigen::ArrayXXcd x = random_values(stream, frames, 2);
    const Eigen::ArrayXXcd r = random_turns(stream, frames, 2, largest_turn);
    const Eigen::ArrayXXcd table = turned_sums(x, r, 30);
    double worst = 0;
    for (double at = 2; at <= 27; at += 0.173) {
        const RowBetween row(table, at);
        for (Eigen::Index j = 0; j < 2; ++j) {
            Complex sum = 0;
            for (Eigen::Index i = 0; i < frames; ++i) {
                sum += x(i, j) * std::polar(1.0, std::arg(r(i, j)) * at);
            }
            worst = std::max(worst, std::abs(row(j) - sum) / x.col(j).abs().sum());
        }
    }
    CHECK(worst < 1e-4);
    CHECK(worst > 1e-7);  // a bound a thousand times too wide says nothing
    // On a row it is that row.
    CHECK_WITHIN(RowBetween(table, 11)(1), table(11, 1), 1e-14 * x.col(1).abs().sum());
}

TEST_CASE("turned sums of nothing, and of sizes that differ") {
    const Eigen::ArrayXXcd none(0, 2);
    CHECK(turned_sums(none, none, 5).isZero(0));
    CHECK(turned_sums(Eigen::ArrayXXcd::Ones(4, 0), Eigen::ArrayXXcd::Ones(4, 0), 5).size() == 0);
    CHECK_THROWS_AS(
        (void)turned_sums(Eigen::ArrayXXcd::Ones(4, 2), Eigen::ArrayXXcd::Ones(5, 2), 3),
        InvalidInput);
}
