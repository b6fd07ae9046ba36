#include "echosieve/core/box.hpp"

#include <limits>
#include <vector>

#include "support/check.hpp"

using namespace echosieve;

TEST_CASE_TEMPLATE("a box contains its bounds and what lies between", R, float, double) {
    const Box<R> box({-1, 2, 5}, {1, 2, 6});
    CHECK(box.dimension() == 3);
    CHECK(box.width(0) == 2);
    CHECK(box.width(1) == 0);  // held fixed
    CHECK(box.lower(2) == 5);
    CHECK(box.upper(2) == 6);
    CHECK(box.lower().size() == 3);
    CHECK(box.upper()[0] == 1);
    const auto contains = [&](std::vector<R> x) { return box.contains(x); };
    CHECK(contains({-1, 2, 5}));
    CHECK(contains({1, 2, 6}));
    CHECK(contains({0, 2, R(5.5)}));
    CHECK_FALSE(contains({std::nextafter(R(1), R(2)), 2, 5}));
    CHECK_FALSE(contains({0, std::nextafter(R(2), R(3)), 5}));
    CHECK_FALSE(contains({0, 2, std::numeric_limits<R>::quiet_NaN()}));
    CHECK_FALSE(contains({0, 2}));
    CHECK_FALSE(contains({0, 2, 5, 0}));
    CHECK_FALSE(contains({}));
}

TEST_CASE_TEMPLATE("a box takes the largest finite bounds", R, float, double) {
    const R most = std::numeric_limits<R>::max();
    const Box<R> box({-most}, {most});
    CHECK(box.contains(std::vector<R>{0}));
    CHECK(box.contains(std::vector<R>{most}));
    CHECK_FALSE(box.contains(std::vector<R>{std::numeric_limits<R>::infinity()}));
}

TEST_CASE("boxes that are none are refused with dimension and value") {
    using B = Box<double>;
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double infinity = std::numeric_limits<double>::infinity();
    CHECK_THROWS_WITH_AS(B({}, {}), "dimension of the box = 0: must be at least 1", InvalidInput);
    CHECK_THROWS_WITH_AS(B({1, 2}, {3}),
                         "number of upper bounds = 1: must equal the number of lower bounds, 2",
                         InvalidInput);
    CHECK_THROWS_WITH_AS(B({0, 3}, {1, 2}), "lower[1] = 3: must not exceed upper[1] = 2",
                         InvalidInput);
    CHECK_THROWS_WITH_AS(B({nan}, {1}), "lower[0] = nan: must be finite", InvalidInput);
    CHECK_THROWS_WITH_AS(B({0}, {infinity}), "upper[0] = inf: must be finite", InvalidInput);
    CHECK_THROWS_AS(B({-infinity}, {0}), InvalidInput);
    CHECK_THROWS_AS(B({0}, {nan}), InvalidInput);
}
