// Differential evolution: its mutants, its crossover, its selection, against a slow textbook.
#include "echosieve/optimise/differential_evolution.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

using Point = std::vector<double>;
using Generation = std::vector<Point>;

constexpr std::size_t dimension = 6;
constexpr double deviations = 5;  // the seeds are fixed: no run to run luck

Box<double> cube_box() {
    return Box<double>(Point(dimension, -1), Point(dimension, 1));
}

double bowl(std::span<const double> x) {
    double sum = 0;
    for (std::size_t k = 0; k < x.size(); ++k) {
        sum += static_cast<double>(k + 1) * std::pow(x[k] - 0.3, 2);
    }
    return sum;
}

// What a run asks for, generation by generation. Of equal values a trial replaces its individual:
// with a constant objective each generation is the population of the next. (There, the same three
// others now and then give what they gave before: with dither they do not.)
template <class E, class F>
std::vector<Generation> course(const E& evolution, const F& objective, std::uint64_t seed) {
    std::vector<Generation> out;
    std::size_t calls = 0;
    const auto record = [&](std::span<const double> x) {
        if (calls++ % evolution.population == 0) {
            out.emplace_back();
        }
        out.back().emplace_back(x.begin(), x.end());
        return objective(x);
    };
    static_cast<void>(minimise(record, cube_box(), evolution, seed));
    return out;
}

template <class E>
std::vector<Generation> drift(const E& evolution, std::uint64_t seed) {
    return course(
        evolution, [](std::span<const double>) { return 1.0; }, seed);
}

double drawn(RandomStream& stream, double from, double to) {
    return from + (to - from) * stream.uniform();
}

// The algorithm as Storn and Price 1997 and Brest et al. 2006 write it, a vector an individual,
// from the same random numbers: differences of strategy "rand/1", "best/1" or "current-to-best/1".
enum class Written { random, best, current_to_best };

std::vector<Generation> textbook(Written strategy, bool adapting, double weight, double rate,
                                 std::size_t size, std::size_t iterations, std::uint64_t seed) {
    std::vector<RandomStream> streams;
    Generation x(size, Point(dimension));
    for (std::size_t i = 0; i < size; ++i) {
        streams.emplace_back(seed, i);
        for (double& v : x[i]) {
            v = drawn(streams[i], -1, 1);
        }
    }
    std::vector<double> values;
    for (const Point& p : x) {
        values.push_back(bowl(p));
    }
    std::vector<std::array<double, 2>> own(size, {weight, rate});
    std::vector<Generation> out = {x};
    for (std::size_t g = 0; g < iterations; ++g) {
        const Point best = x[static_cast<std::size_t>(
            std::min_element(values.begin(), values.end()) - values.begin())];
        Generation trials = x;
        std::vector<std::array<double, 2>> tried = own;
        for (std::size_t i = 0; i < size; ++i) {
            RandomStream& stream = streams[i];
            if (adapting) {
                if (stream.uniform() < 0.1) {
                    tried[i][0] = 0.1 + 0.9 * stream.uniform();
                }
                if (stream.uniform() < 0.1) {
                    tried[i][1] = stream.uniform();
                }
            }
            std::vector<std::size_t> left;
            for (std::size_t j = 0; j < size; ++j) {
                if (j != i) {
                    left.push_back(j);
                }
            }
            Generation others;
            for (std::size_t k = 0; k < (strategy == Written::random ? 3 : 2); ++k) {
                const auto at = static_cast<std::ptrdiff_t>(stream.uniform() *
                                                            static_cast<double>(left.size()));
                others.push_back(x[left[static_cast<std::size_t>(at)]]);
                left.erase(left.begin() + at);
            }
            const auto certain =
                static_cast<std::size_t>(stream.uniform() * static_cast<double>(dimension));
            for (std::size_t k = 0; k < dimension; ++k) {
                if (k != certain && stream.uniform() >= tried[i][1]) {
                    continue;
                }
                const double f = tried[i][0];
                double v =
                    strategy == Written::random ? others[0][k] + f * (others[1][k] - others[2][k])
                    : strategy == Written::best
                        ? best[k] + f * (others[0][k] - others[1][k])
                        : x[i][k] + f * (best[k] - x[i][k]) + f * (others[0][k] - others[1][k]);
                v = v < -1 ? (x[i][k] - 1) / 2 : v > 1 ? (x[i][k] + 1) / 2 : v;
                trials[i][k] = v;
            }
        }
        out.push_back(trials);
        for (std::size_t i = 0; i < size; ++i) {
            const double value = bowl(trials[i]);
            if (value <= values[i]) {
                values[i] = value;
                x[i] = trials[i];
                own[i] = tried[i];
            }
        }
    }
    return out;
}

void check_same(const std::vector<Generation>& a, const std::vector<Generation>& b) {
    // A product that one of the two rounds less often may differ in its last bit.
    constexpr double rounding = 1e-11;
    REQUIRE(a.size() == b.size());
    for (std::size_t g = 0; g < a.size(); ++g) {
        REQUIRE(a[g].size() == b[g].size());
        for (std::size_t i = 0; i < a[g].size(); ++i) {
            for (std::size_t k = 0; k < dimension; ++k) {
                REQUIRE(within(a[g][i][k], b[g][i][k], rounding));
            }
        }
    }
}

template <class Strategy>
DifferentialPopulation<Strategy> fixed(double weight, double rate, double dither = 0) {
    DifferentialPopulation<Strategy> out;
    out.population = 12;
    out.iterations = 40;
    out.parameters = {weight, rate, dither};
    return out;
}

std::size_t changed(const Point& a, const Point& b) {
    std::size_t count = 0;
    for (std::size_t k = 0; k < a.size(); ++k) {
        count += a[k] != b[k] ? 1 : 0;
    }
    return count;
}

}  // namespace

TEST_CASE("mutants are the published combinations") {
    const Donors<double> donors{1, 10, {100, 1000, 10000}};
    CHECK(RandomBase{}.mutant(donors, 0.5) == 100 + 0.5 * (1000 - 10000));
    CHECK(BestBase{}.mutant(donors, 0.5) == 10 + 0.5 * (100 - 1000));
    CHECK(CurrentToBestBase{}.mutant(donors, 0.5) == 1 + 0.5 * (10 - 1) + 0.5 * (100 - 1000));
}

TEST_CASE("the course is that of a slow textbook") {
    for (const std::uint64_t seed : {3U, 4U}) {
        check_same(course(fixed<RandomBase>(0.7, 0.6), bowl, seed),
                   textbook(Written::random, false, 0.7, 0.6, 12, 40, seed));
        check_same(course(fixed<BestBase>(0.9, 0.3), bowl, seed),
                   textbook(Written::best, false, 0.9, 0.3, 12, 40, seed));
        check_same(course(fixed<CurrentToBestBase>(0.5, 0.8), bowl, seed),
                   textbook(Written::current_to_best, false, 0.5, 0.8, 12, 40, seed));
        SelfAdaptingDifferentialEvolution adapting;
        adapting.population = 12;
        adapting.iterations = 40;
        check_same(course(adapting, bowl, seed),
                   textbook(Written::random, true, 0.5, 0.9, 12, 40, seed));
    }
}

TEST_CASE("a crossover rate of 0 changes one coordinate, each as often, and 1 changes all") {
    std::array<double, dimension> counts{};
    double trials = 0;
    for (std::uint64_t seed = 0; seed < 20; ++seed) {
        const auto one = drift(fixed<RandomBase>(0.5, 0, 0.1), seed);
        const auto all = drift(fixed<RandomBase>(0.5, 1, 0.1), seed);
        for (std::size_t g = 1; g < one.size(); ++g) {
            for (std::size_t i = 0; i < one[g].size(); ++i) {
                REQUIRE(changed(one[g][i], one[g - 1][i]) == 1);
                REQUIRE(changed(all[g][i], all[g - 1][i]) == dimension);
                for (std::size_t k = 0; k < dimension; ++k) {
                    counts[k] += one[g][i][k] != one[g - 1][i][k] ? 1 : 0;
                }
                ++trials;
            }
        }
    }
    const double p = 1.0 / dimension;
    for (const double count : counts) {
        CHECK_WITHIN(count, trials * p, deviations * std::sqrt(trials * p * (1 - p)));
    }
}

TEST_CASE("the number of changed coordinates is 1 and a binomial one") {
    constexpr double rate = 0.4;
    std::array<double, dimension + 1> counts{};
    double trials = 0;
    for (std::uint64_t seed = 0; seed < 20; ++seed) {
        const auto generations = drift(fixed<RandomBase>(0.5, rate, 0.1), seed);
        for (std::size_t g = 1; g < generations.size(); ++g) {
            for (std::size_t i = 0; i < generations[g].size(); ++i) {
                ++counts[changed(generations[g][i], generations[g - 1][i])];
                ++trials;
            }
        }
    }
    CHECK(counts[0] == 0);
    double choices = 1;  // of m - 1 from dimension - 1
    for (std::size_t m = 1; m <= dimension; ++m) {
        const double more = static_cast<double>(m - 1);
        const double p = choices * std::pow(rate, more) * std::pow(1 - rate, dimension - 1 - more);
        CHECK_WITHIN(counts[m], trials * p, deviations * std::sqrt(trials * p * (1 - p)));
        choices *= (dimension - 1 - more) / (more + 1);
    }
}

TEST_CASE("the others are different, drawn evenly, and none is the individual itself") {
    constexpr std::size_t count = 6;
    RandomStream stream(5);
    std::array<std::array<double, count>, 3> drawn_at{};
    constexpr int trials = 30000;
    for (int t = 0; t < trials; ++t) {
        const std::size_t i = static_cast<std::size_t>(t) % count;
        const auto others = detail::random_others<3>(stream, i, count);
        for (std::size_t a = 0; a < 3; ++a) {
            REQUIRE(others[a] < count);
            REQUIRE(others[a] != i);
            REQUIRE(others[a] != others[(a + 1) % 3]);
            ++drawn_at[a][others[a]];
        }
    }
    const double p = 1.0 / count;
    for (const auto& counts : drawn_at) {
        for (const double times : counts) {
            CHECK_WITHIN(times, trials * p, deviations * std::sqrt(trials * p * (1 - p)));
        }
    }
    // The least population: all that are left.
    auto all = detail::random_others<3>(stream, 2, 4);
    std::sort(all.begin(), all.end());
    CHECK(all == std::array<std::size_t, 3>{0, 1, 3});
}

TEST_CASE("a coordinate outside comes back half way to the bound that it crossed") {
    // Zielinski and Laur 2006.
    CHECK(detail::midpoint_repair(1.5, 0.5, 0.0, 1.0) == 0.75);
    CHECK(detail::midpoint_repair(-7.0, 0.5, 0.0, 1.0) == 0.25);
    CHECK(detail::midpoint_repair(0.9, 0.5, 0.0, 1.0) == 0.9);
    CHECK(detail::midpoint_repair(2.0, 1.0, 0.0, 1.0) == 1.0);
    constexpr double infinity = std::numeric_limits<double>::infinity();
    constexpr double huge = std::numeric_limits<double>::max() / 2;
    CHECK(detail::midpoint_repair(infinity, 0.9 * huge, -huge, huge) <= huge);
    CHECK(detail::midpoint_repair(infinity, 0.9 * huge, -huge, huge) >= 0.9 * huge);
    CHECK(detail::midpoint_repair(std::nan(""), 0.5, 0.0, 1.0) == 0.25);
}

TEST_CASE("self-adapting parameters are drawn anew as often as published, else kept") {
    const SelfAdaptingParameters control;
    RandomStream stream(1);
    constexpr int trials = 20000;
    double weights = 0;
    double rates = 0;
    double both = 0;
    double mean_weight = 0;
    for (int t = 0; t < trials; ++t) {
        const DifferentialParameters own{0.55, 0.25};
        const DifferentialParameters made = control.trial(own, stream);
        const bool weight_new = made.differential_weight != own.differential_weight;
        const bool rate_new = made.crossover_rate != own.crossover_rate;
        weights += weight_new ? 1 : 0;
        rates += rate_new ? 1 : 0;
        both += weight_new && rate_new ? 1 : 0;
        mean_weight += weight_new ? made.differential_weight : 0;
        REQUIRE(made.differential_weight >= 0.1);
        REQUIRE(made.differential_weight < 1);
        REQUIRE(made.crossover_rate >= 0);
        REQUIRE(made.crossover_rate < 1);
    }
    const auto check = [&](double count, double p) {
        CHECK_WITHIN(count, trials * p, deviations * std::sqrt(trials * p * (1 - p)));
    };
    check(weights, 0.1);
    check(rates, 0.1);
    check(both, 0.01);
    CHECK_WITHIN(mean_weight / weights, 0.55, deviations * 0.9 / std::sqrt(12 * weights));
}

TEST_CASE("dither draws the weight evenly about its value") {
    const SharedParameters control{0.5, 0.9, 0.3};
    RandomStream stream(2);
    constexpr int trials = 20000;
    double sum = 0;
    double squares = 0;
    for (int t = 0; t < trials; ++t) {
        const double weight = control.trial({}, stream).differential_weight;
        REQUIRE(weight >= 0.2);
        REQUIRE(weight < 0.8);
        sum += weight / trials;
        squares += (weight - 0.5) * (weight - 0.5) / trials;
    }
    CHECK_WITHIN(sum, 0.5, deviations * 0.3 / std::sqrt(3.0 * trials));
    // Of a uniform variable of half width h: variance h^2 / 3, of its square 4 h^4 / 45.
    CHECK_WITHIN(squares, 0.03, deviations * 0.09 * std::sqrt(4.0 / 45 / trials));
}

TEST_CASE("a batch objective is handed whole generations") {
    struct Batch {
        std::vector<std::size_t> sizes;
        double operator()(std::span<const double> x) const { return bowl(x); }
        void evaluate(const Points<double>& points, std::span<double> values) {
            sizes.push_back(points.size());
            std::vector<double> x(points.dimension());
            for (std::size_t i = 0; i < points.size(); ++i) {
                points.read(i, x);
                values[i] = bowl(x);
            }
        }
    } batch;
    const DifferentialEvolution evolution{.population = 17, .iterations = 30};
    const auto many = minimise(batch, cube_box(), evolution, 9);
    const auto single = minimise(bowl, cube_box(), evolution, 9);
    CHECK(batch.sizes == std::vector<std::size_t>(31, 17));
    CHECK(many.x == single.x);
    CHECK(many.evaluations == 17 * 31);
}

TEST_CASE("fixed coordinates are never the one that surely changes") {
    const Box<double> box({-1, 2, -1, 3}, {1, 2, 1, 3});
    DifferentialPopulation<RandomBase> evolution = fixed<RandomBase>(0.5, 0, 0.1);
    std::vector<Point> points;
    const auto record = [&](std::span<const double> x) {
        points.emplace_back(x.begin(), x.end());
        return 1.0;
    };
    static_cast<void>(minimise(record, box, evolution, 1));
    for (std::size_t i = evolution.population; i < points.size(); ++i) {
        REQUIRE(changed(points[i], points[i - evolution.population]) == 1);
    }
}
