#include "motion/layers/turned_sums.hpp"

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

Complex between(const TurnedSums& table, const RowWeights& at, Eigen::Index bin) {
    Complex sum = 0;
    for (std::size_t k = 0; k < at.weight.size(); ++k) {
        sum += at.weight[k] * table(at.first + static_cast<Eigen::Index>(k), bin);
    }
    return sum;
}

}  // namespace

TEST_CASE("turned sums are the sums, for any number of frames") {
    RandomStream stream(6);
    for (const Eigen::Index frames : {1, 7, 8, 9, 50}) {
        const Eigen::ArrayXXcd x = random_values(stream, frames, 3);
        const Eigen::ArrayXXcd r = random_turns(stream, frames, 3, 3);
        const TurnedSums table(x, r, 40);
        REQUIRE(table.rows() == 40);
        REQUIRE(table.bins() == 3);
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
    const TurnedSums table(x, r, 30);
    double worst = 0;
    for (double at = 2; at <= 27; at += 0.173) {
        const RowWeights row = table.between(at);
        for (Eigen::Index j = 0; j < 2; ++j) {
            Complex sum = 0;
            for (Eigen::Index i = 0; i < frames; ++i) {
                sum += x(i, j) * std::polar(1.0, std::arg(r(i, j)) * at);
            }
            worst = std::max(worst, std::abs(between(table, row, j) - sum) / x.col(j).abs().sum());
        }
    }
    CHECK(worst < 1e-4);
    CHECK(worst > 1e-7);  // a bound a thousand times too wide says nothing
    // On a row it is that row.
    CHECK_WITHIN(between(table, table.between(11), 1), table(11, 1), 1e-14 * x.col(1).abs().sum());
}

TEST_CASE("turned sums of nothing, and of sizes that differ") {
    const Eigen::ArrayXXcd none(0, 2);
    const TurnedSums table(none, none, 5);
    for (Eigen::Index k = 0; k < 5; ++k) {
        CHECK(table(k, 0) == Complex{});
        CHECK(table(k, 1) == Complex{});
    }
    const Eigen::ArrayXXcd no_bins = Eigen::ArrayXXcd::Ones(4, 0);
    CHECK(TurnedSums(no_bins, no_bins, 5).bins() == 0);
    CHECK_THROWS_AS(TurnedSums(Eigen::ArrayXXcd::Ones(4, 2), Eigen::ArrayXXcd::Ones(5, 2), 3),
                    InvalidInput);
}

TEST_CASE("bins are filled up with zeros to whole registers") {
    RandomStream stream(9);
    const Eigen::ArrayXXcd x = random_values(stream, 20, 11);
    const TurnedSums table(x, random_turns(stream, 20, 11, 1), 4);
    REQUIRE(table.stride() % TurnedSums::register_size == 0);
    REQUIRE(table.stride() >= 11);
    for (Eigen::Index k = 0; k < 4; ++k) {
        for (Eigen::Index j = 11; j < table.stride(); ++j) {
            CHECK(table.row(k)[j] == 0);
            CHECK(table.row(k)[table.stride() + j] == 0);
        }
        CHECK(table(k, 10) == Complex(table.row(k)[10], table.row(k)[table.stride() + 10]));
    }
}
