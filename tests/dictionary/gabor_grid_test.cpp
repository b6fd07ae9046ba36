#include "echosieve/dictionary/detail/gabor_grid.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <string>

#include "echosieve/atoms/inner_product.hpp"
#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

double correlation(const Gabor<double>& a, const Gabor<double>& b) {
    return std::abs(inner_product(a, b)) / (norm(a) * norm(b));
}

double best_correlation(const Gabor<double>& atom, const std::vector<Gabor<double>>& grid) {
    double best = 0;
    for (const Gabor<double>& other : grid) {
        best = std::max(best, correlation(atom, other));
    }
    return best;
}

constexpr double rounding = 1e-12;  // of inner_product, at phases of some 40 turns

}  // namespace

TEST_CASE("every atom of the box has a likeness in the grid") {
    const std::array boxes{GaborBox::around({4e6, 1e6}, 0.10, {20e-6, 24e-6}),
                           GaborBox::around({4e6, 1e6}, 0.50, {20e-6, 22e-6}),
                           GaborBox::around({8e6, 4e6}, 0.25, {0, 1e-6})};
    RandomStream stream(5);
    for (const GaborBox& box : boxes) {
        for (const double loss : {0.03, 0.1, 0.3}) {
            const auto grid = gabor_grid(box, loss);
            const double promised = std::pow(1 - loss, 3);
            double worst = 1;
            for (int k = 0; k < 200; ++k) {
                const std::array<double, 3> x{stream.uniform(), stream.uniform(), stream.uniform()};
                worst = std::min(worst, best_correlation(box.atom<double>(x), grid));
            }
            for (int corner = 0; corner < 8; ++corner) {
                const std::array<double, 3> x{double(corner & 1), double((corner >> 1) & 1),
                                              double(corner >> 2)};
                worst = std::min(worst, best_correlation(box.atom<double>(x), grid));
            }
            INFO("loss ", loss, ", worst correlation ", worst);
            CHECK(worst >= promised - rounding);
        }
    }
}

TEST_CASE("the grid is not finer than its loss asks for") {
    // Neighbours two half steps apart: 4 times the exponent, (1 - loss)^4, unless one fits all.
    const GaborBox box = GaborBox::around({4e6, 1e6}, 0, {20e-6, 60e-6});
    const auto grid = gabor_grid(box, 0.03);
    REQUIRE(grid.size() > 100);
    const double neighbours = correlation(grid[50], grid[51]);
    // 40 us hold 150 steps, so that rounding their number up makes a step shorter by 1/150 at most.
    const double exponent_slack = 2.0 / 150;
    CHECK(std::log(neighbours) <= 4 * std::log(0.97) * (1 - exponent_slack));
    CHECK(std::log(neighbours) >= 4 * std::log(0.97) - rounding);
}

TEST_CASE("grids lie inside their box, down to a single atom") {
    const GaborBox box = GaborBox::around({4e6, 1e6}, 0.10, {20e-6, 21e-6});
    for (const auto& atom : gabor_grid(box, 0.001)) {
        CHECK(box.contains(atom));
    }
    const auto one = gabor_grid(GaborBox::around({4e6, 1e6}, 0, {20e-6, 20e-6}));
    REQUIRE(one.size() == 1);
    const Gabor<double> expected{20e-6, 4e6, 1e6};
    CHECK_WITHIN_RELATIVE(correlation(one[0], expected), 1.0, rounding);
    CHECK(one[0].bandwidth == expected.bandwidth);
}

TEST_CASE("losses outside (0, 1) are refused") {
    const GaborBox box = GaborBox::around({4e6, 1e6}, 0.10, {20e-6, 21e-6});
    for (const double loss : {0.0, 1.0, -0.1, std::numeric_limits<double>::quiet_NaN()}) {
        CHECK_THROWS_AS(static_cast<void>(gabor_grid(box, loss)), InvalidInput);
    }
}

TEST_CASE("a grid of too many atoms is refused before it is made") {
    const auto refusal = [](const GaborBox& box, double loss) {
        try {
            static_cast<void>(gabor_grid(box, loss));
        } catch (const InvalidInput& error) {
            return std::string(error.what());
        }
        return std::string("made");
    };
    const GaborBox box = GaborBox::around({4e6, 1e6}, 0.10, {20e-6, 24e-6});
    CHECK(refusal(box, 0.03) == "made");
    const std::string too_many = refusal({{0, 1}, {4e6, 4e6}, {1e9, 1e9}}, 0.03);
    CHECK(too_many.starts_with("atoms of the grid = "));
    CHECK(too_many.find("must not exceed 10000000: 1 bandwidths, 1 frequencies, ") !=
          std::string::npos);
    // More than a size can count, and more than a double can.
    CHECK(refusal(box, 1e-30).starts_with("atoms of the grid = "));
    CHECK(refusal(box, 1e-300).starts_with("atoms of the grid = "));
    CHECK(refusal({{-1e300, 1e300}, {4e6, 4e6}, {1e6, 1e6}}, 0.03)
              .starts_with("atoms of the grid = "));
    CHECK(refusal({{0, 1e-6}, {-1e300, 1e300}, {1e6, 1e6}}, 0.03)
              .starts_with("atoms of the grid = "));
    CHECK(refusal({{0, 1e-6}, {4e6, 4e6}, {1e-300, 1e300}}, 0.03)
              .starts_with("atoms of the grid = "));
}
