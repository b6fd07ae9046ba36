#include "echosieve/optimise/blockwise_search.hpp"

#include <algorithm>
#include <iterator>
#include <span>
#include <vector>

#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/nelder_mead.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

// Where three parts of one parameter stand at each evaluation.
std::vector<std::vector<double>> places_tried(std::size_t iterations, std::size_t candidates) {
    std::vector<std::vector<double>> tried;
    const auto objective = [&](std::span<const double> x) {
        tried.emplace_back(x.begin(), x.end());
        return 1.0;  // nothing is ever better
    };
    // Without local steps parts stay exactly where they are, but for those taken away.
    BlockwiseSearch<NelderMead> search{
        .block = 1, .candidates = candidates, .settling = 0, .iterations = iterations};
    search.local.iterations = 0;
    const Box<double> box({0, 0, 0}, {10, 10, 10});
    const std::vector<double> start = {1, 2, 3};
    static_cast<void>(minimise(objective, box, search, 7, start));
    return tried;
}

std::vector<double> standing(const std::vector<double>& x) {
    std::vector<double> out;
    std::ranges::copy_if(x, std::back_inserter(out),
                         [](double at) { return at == 1 || at == 2 || at == 3; });
    std::ranges::sort(out);
    return out;
}

}  // namespace

TEST_CASE("parts are taken away each in its turn, then two at a time, then all") {
    // The start; three failures with one part each, three with two, one with all three placed anew.
    const auto tried = places_tried(8, 1);
    REQUIRE(tried.size() == 1 + 3 + 3 * 2 + 3);
    CHECK(tried[0] == std::vector<double>{1, 2, 3});
    CHECK(standing(tried[1]) == std::vector<double>{2, 3});
    CHECK(standing(tried[2]) == std::vector<double>{1, 3});
    CHECK(standing(tried[3]) == std::vector<double>{1, 2});
    for (std::size_t k = 4; k < 10; ++k) {
        CHECK(standing(tried[k]).size() == 1);
    }
    for (std::size_t k = 10; k < 13; ++k) {
        CHECK(standing(tried[k]).empty());
    }
}

TEST_CASE("parts still to come stand where the one being placed does") {
    const auto tried = places_tried(5, 4);
    REQUIRE(tried.size() == 1 + 3 * 4 + 2 * 4);
    for (std::size_t k = 13; k < 17; ++k) {  // the first of two
        CHECK(tried[k][1] == tried[k][2]);
    }
    for (std::size_t k = 17; k < 21; ++k) {  // the second: the first stays where it was placed
        CHECK(tried[k][1] == tried[17][1]);
        CHECK(tried[k][1] != tried[k][2]);
    }
}
