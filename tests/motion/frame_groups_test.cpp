#include "motion/line/frame_groups.hpp"

#include <vector>

#include "echosieve/core/error.hpp"
#include "support/check.hpp"

using namespace echosieve;

TEST_CASE("even groups cover all frames, the last perhaps with fewer") {
    CHECK(even_groups(8, 4).first == std::vector<Eigen::Index>{0, 4, 8});
    CHECK(even_groups(9, 4).first == std::vector<Eigen::Index>{0, 4, 8, 9});
    CHECK(even_groups(3, 4).first == std::vector<Eigen::Index>{0, 3});
    CHECK(even_groups(0, 4).count() == 0);
    CHECK(even_groups(5, 1).count() == 5);
    CHECK_THROWS_AS(static_cast<void>(even_groups(5, 0)), InvalidInput);
}
