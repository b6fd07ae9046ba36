#include "motion/line/grid_search.hpp"

#include <algorithm>
#include <cmath>

#include "support/check.hpp"

using namespace echosieve;

namespace {

// Highest at (0.37, -1.21).
double hill(double x, double y) {
    return -std::pow(x - 0.37, 2) - 2 * std::pow(y + 1.21, 2);
}

}  // namespace

TEST_CASE("ever finer grids close in on the best place") {
    BestPlace best;
    best.look_about(steps_about(1, 2), steps_about(1, 2), hill);
    CHECK(best.x == 0);
    CHECK(best.y == -1);
    double step = 1;
    for (int k = 0; k < 4; ++k) {
        step /= 3;
        best.look_about(steps_about(step, 3), steps_about(step, 3), hill);
    }
    CHECK_WITHIN(best.x, 0.37, step / 2);
    CHECK_WITHIN(best.y, -1.21, step / 2);
    CHECK(best.value == hill(best.x, best.y));
}

TEST_CASE("a place stays unless another one is better, and of equals the first is taken") {
    BestPlace best{0, 0, 1};
    best.look_about(steps_about(1, 5), [](double) { return 1.0; });
    CHECK(best.x == 0);
    best.look_about({1, 1, 3}, [](double x) { return x > 0 ? 2.0 : 0.0; });
    CHECK(best.x == 1);
    CHECK(best.y == 0);
    CHECK(best.value == 2);
}

TEST_CASE("an axis may reach further one way than the other") {
    double lowest = 0;
    double highest = 0;
    BestPlace best{10, 0};
    best.look_about({0.5, 2, 6}, {}, [&](double x, double) {
        lowest = std::min(lowest, x - 10);
        highest = std::max(highest, x - 10);
        return 0.0;
    });
    CHECK(lowest == -1);
    CHECK(highest == 3);
}
