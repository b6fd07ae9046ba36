#include "echosieve/condition/detail/pinned_samples.hpp"

#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "support/check.hpp"

using namespace echosieve;

TEST_CASE("pinned samples are runs of three at the extremes or beyond them") {
    const auto pinned = [](const std::vector<std::int16_t>& frame) {
        return detail::pinned_samples(std::span<const std::int16_t>(frame), -5.0, 7.0);
    };
    CHECK(pinned({}) == 0);
    CHECK(pinned({7}) == 0);
    CHECK(pinned({7, 7, 0, 7, 7}) == 0);
    CHECK(pinned({7, 7, 7}) == 3);
    CHECK(pinned({0, 7, 7, 7, 7, 0, -5, -5, -5}) == 7);
    CHECK(pinned({9, 9, 9, -8, -8, -8, -8}) == 7);
    CHECK(pinned({7, 8, 9, 7, 8, 9}) == 0);  // beyond, but not flat
    CHECK(pinned({3, 3, 3, 3}) == 0);
    const std::vector<float> bad(5, std::numeric_limits<float>::quiet_NaN());
    CHECK(detail::pinned_samples(std::span<const float>(bad), -5.0, 7.0) == 0);
}
