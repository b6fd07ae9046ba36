#include "echosieve/core/random.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

#include "support/check.hpp"

using namespace echosieve;

// Known answers of the authors' own distribution of Philox4x32-10 (Salmon et al. 2011), from
// memory.
TEST_CASE("philox gives the published known answers") {
    using Block = std::array<std::uint32_t, 4>;
    CHECK(philox4x32({0, 0, 0, 0}, {0, 0}) ==
          Block{0x6627e8d5, 0xe169c58d, 0xbc57ac4c, 0x9b00dbd8});
    CHECK(philox4x32({0xffffffff, 0xffffffff, 0xffffffff, 0xffffffff}, {0xffffffff, 0xffffffff}) ==
          Block{0x408f276d, 0x41c83b0e, 0xa20bc7c6, 0x6d5451fd});
    CHECK(philox4x32({0x243f6a88, 0x85a308d3, 0x13198a2e, 0x03707344}, {0xa4093822, 0x299f31d0}) ==
          Block{0xd16cfe09, 0x94fdcceb, 0x5001e420, 0x24126ea1});
}

namespace {

constexpr int draws = 200000;

// Mean, variance, third and fourth central moments over the variance's powers.
template <class Draw>
std::array<double, 4> moments(Draw draw) {
    std::vector<double> x(draws);
    double mean = 0;
    for (auto& value : x) {
        value = draw();
        mean += value / draws;
    }
    std::array<double, 3> central{};
    for (const double value : x) {
        const double d = value - mean;
        central[0] += d * d / draws;
        central[1] += d * d * d / draws;
        central[2] += d * d * d * d / draws;
    }
    return {mean, central[0], central[1] / std::pow(central[0], 1.5),
            central[2] / (central[0] * central[0])};
}

// Correlation of two sequences of uniform numbers.
template <class First, class Second>
double correlation(First first, Second second) {
    double sum = 0;
    for (int n = 0; n < draws; ++n) {
        sum += (first() - 0.5) * (second() - 0.5);
    }
    return 12 * sum / draws;
}

// Five standard deviations of a mean of `draws` values of unit deviation; the seeds are fixed.
const double five_sigma = 5 / std::sqrt(static_cast<double>(draws));

}  // namespace

TEST_CASE_TEMPLATE("uniform numbers have a uniform's moments and stay below 1", R, float, double) {
    RandomStream random(1);
    double least = 1;
    double most = 0;
    const auto m = moments([&] {
        const double x = random.uniform<R>();
        least = std::min(least, x);
        most = std::max(most, x);
        return x;
    });
    CHECK(least >= 0);
    CHECK(most < 1);
    CHECK(least < 10.0 / draws);
    CHECK(most > 1 - 10.0 / draws);
    // Deviations of the mean, variance and kurtosis of a uniform: sqrt(1/12), sqrt(1/180) and
    // about 1 each by sqrt(draws).
    CHECK_WITHIN(m[0], 0.5, five_sigma * std::sqrt(1.0 / 12));
    CHECK_WITHIN(m[1], 1.0 / 12, five_sigma * std::sqrt(1.0 / 180));
    CHECK_WITHIN(m[2], 0.0, five_sigma);
    CHECK_WITHIN(m[3], 1.8, five_sigma);
}

TEST_CASE_TEMPLATE("normal numbers have a normal's moments", R, float, double) {
    RandomStream random(2);
    const auto m = moments([&] { return static_cast<double>(random.normal<R>()); });
    // Deviations of a normal sample's mean, variance, skewness, kurtosis: 1, sqrt 2, sqrt 6,
    // sqrt 24, by sqrt(draws).
    CHECK_WITHIN(m[0], 0.0, five_sigma);
    CHECK_WITHIN(m[1], 1.0, five_sigma * std::sqrt(2.0));
    CHECK_WITHIN(m[2], 0.0, five_sigma * std::sqrt(6.0));
    CHECK_WITHIN(m[3], 3.0, five_sigma * std::sqrt(24.0));
}

TEST_CASE("a normal's tails hold their share") {
    RandomStream random(3);
    int beyond = 0;
    for (int n = 0; n < draws; ++n) {
        beyond += std::abs(random.normal()) > 3 ? 1 : 0;
    }
    const double share = std::erfc(3 / std::sqrt(2.0));
    CHECK_WITHIN(beyond, draws * share, 5 * std::sqrt(draws * share));
}

TEST_CASE("streams are independent: by number, by seed, and of themselves a draw later") {
    for (const auto& [seed, stream] :
         {std::pair{7ULL, 1ULL}, {8ULL, 0ULL}, {7ULL, 1ULL << 32}, {7ULL + (1ULL << 32), 0ULL}}) {
        RandomStream first(7);
        RandomStream second(seed, stream);
        CHECK_WITHIN(correlation([&] { return first.uniform(); }, [&] { return second.uniform(); }),
                     0.0, five_sigma);
    }
    RandomStream first(7);
    RandomStream second(7);
    static_cast<void>(second.uniform());
    CHECK_WITHIN(correlation([&] { return first.uniform(); }, [&] { return second.uniform(); }),
                 0.0, five_sigma);
    RandomStream same(7);
    RandomStream again(7);
    CHECK_WITHIN(correlation([&] { return same.uniform(); }, [&] { return again.uniform(); }), 1.0,
                 2 * five_sigma);
}

TEST_CASE("equal seeds give equal bits, and a stream is its blocks in order") {
    RandomStream first(5, 9);
    RandomStream second(5, 9);
    for (std::uint32_t block = 0; block < 3; ++block) {
        const auto expected = philox4x32({block, 0, 9, 0}, {5, 0});
        for (const std::uint32_t value : expected) {
            CHECK(first() == value);
            CHECK(second() == value);
        }
    }
    static_assert(RandomStream::min() == 0 && RandomStream::max() == 0xFFFFFFFF);
}

TEST_CASE_TEMPLATE("uniform(from, to) stays in its interval", R, float, double) {
    RandomStream random(4);
    for (int n = 0; n < 1000; ++n) {
        const R x = random.uniform(R(-2), R(3));
        CHECK(x >= -2);
        CHECK(x < 3);
        // One ulp wide: rounding would reach the upper end half of the time.
        const R next = std::nextafter(R(1), R(2));
        CHECK(random.uniform(R(1), next) == 1);
    }
    CHECK(random.uniform(R(5), R(5)) == 5);
}

TEST_CASE("an index is as likely as any other, and below the count") {
    echosieve::RandomStream stream(7);
    constexpr std::size_t count = 5;
    constexpr int tries = 50000;
    std::array<int, count> seen{};
    for (int i = 0; i < tries; ++i) {
        ++seen.at(stream.index(count));
    }
    constexpr double mean = tries / 5.0;
    constexpr double deviations = 5;  // of a binomial count; the seed is fixed
    for (const int times : seen) {
        CHECK(std::abs(times - mean) < deviations * std::sqrt(mean * 0.8));
    }
    CHECK(stream.index(1) == 0);
}
