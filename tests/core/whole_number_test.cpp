#include "echosieve/core/detail/whole_number.hpp"

#include <cstddef>
#include <limits>

#include "support/check.hpp"

using namespace echosieve;

TEST_CASE_TEMPLATE("numbers are held within their bounds before they are cast", I, int, long,
                   std::ptrdiff_t, std::size_t) {
    constexpr double infinity = std::numeric_limits<double>::infinity();
    const I low = 2;
    const I high = 1000;
    CHECK(held_whole(3.99, low, high) == 3);
    CHECK(held_whole(2.0, low, high) == 2);
    CHECK(held_whole(1000.0, low, high) == 1000);
    CHECK(held_whole(1000.5, low, high) == 1000);
    for (const double small :
         {-1.0, -1e300, -infinity, 1.9, std::numeric_limits<double>::quiet_NaN()}) {
        CHECK(held_whole(small, low, high) == low);
    }
    for (const double large : {1e4, 1e19, 1e300, infinity}) {
        CHECK(held_whole(large, low, high) == high);
    }
    static_assert(held_whole(-2.5, -5, 5) == -2);
}
