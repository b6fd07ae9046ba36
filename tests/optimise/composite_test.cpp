// Optimisers made of others: many starts, global then local, block by block.
#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numbers>
#include <set>
#include <span>
#include <vector>

#include "echosieve/optimise/blockwise_search.hpp"
#include "echosieve/optimise/levenberg_marquardt.hpp"
#include "echosieve/optimise/multi_start.hpp"
#include "echosieve/optimise/nelder_mead.hpp"
#include "echosieve/optimise/parallel.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "optimise/problems.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

// Bells of unknown place and width, heights projected out by a dense QR of Eigen's: alike parts in
// any order. Two parameters a bell. Heights have a weak prior, without which the value would fall
// at once where two equal bells part.
struct Bells {
    static constexpr std::size_t samples = 100;
    static constexpr std::size_t most_bells = 5;
    static constexpr double root_of_prior = 0.1;
    std::vector<double> data = std::vector<double>(samples);
    std::size_t calls = 0;

    explicit Bells(std::span<const double> truth) {
        for (std::size_t k = 0; k < truth.size() / 2; ++k) {
            const Eigen::VectorXd bell = column(truth[2 * k], truth[2 * k + 1]);
            for (std::size_t i = 0; i < samples; ++i) {
                data[i] += (1 + 0.3 * static_cast<double>(k)) * bell[static_cast<long>(i)];
            }
        }
    }
    static Eigen::VectorXd column(double place, double width) {
        Eigen::VectorXd out(samples);
        for (std::size_t i = 0; i < samples; ++i) {
            const double u = (static_cast<double>(i) - place) / width;
            out[static_cast<long>(i)] = std::exp(-u * u);
        }
        return out;
    }
    [[nodiscard]] std::size_t residual_count() const { return samples + most_bells; }
    void residuals(std::span<const double> x, std::span<double> r) {
        ++calls;
        const auto bells = static_cast<long>(x.size() / 2);
        Eigen::MatrixXd a = Eigen::MatrixXd::Zero(samples + most_bells, bells);
        Eigen::VectorXd y = Eigen::VectorXd::Zero(samples + most_bells);
        y.head(samples) = Eigen::Map<const Eigen::VectorXd>(data.data(), samples);
        for (long k = 0; k < bells; ++k) {
            a.col(k).head(samples) =
                column(x[static_cast<std::size_t>(2 * k)], x[static_cast<std::size_t>(2 * k) + 1]);
            a(static_cast<long>(samples) + k, k) = root_of_prior;
        }
        const Eigen::VectorXd rest = y - a * a.householderQr().solve(y).eval();
        std::ranges::copy(rest, r.begin());
    }
};

const std::vector<double> three_bells = {11, 3, 30, 4, 46, 3.5};
const std::vector<double> five_bells = {11, 3, 30, 4, 46, 3.5, 64, 2.5, 83, 5};

Box<double> bell_box(std::size_t bells) {
    std::vector<double> lower;
    std::vector<double> upper;
    for (std::size_t k = 0; k < bells; ++k) {
        lower.insert(lower.end(), {0, 2});
        upper.insert(upper.end(), {99, 6});
    }
    return {lower, upper};
}

// A value that nothing but the fit reaches: the minimum next to the truth, and a bit. Others lie
// above it by 0.1 or more.
double fitted(const std::vector<double>& truth) {
    const Box<double> box = bell_box(truth.size() / 2);
    SumOfSquares<Bells> objective(Bells(truth), box);
    return minimise(objective, box, LevenbergMarquardt{}, 1, truth).value + 1e-6;
}

}  // namespace

TEST_CASE("points are scattered one in each part of each coordinate") {
    const Box<double> box({-1, 5, 2}, {1, 9, 2});
    Workspace workspace;
    detail::PointTable<double> table(13, 4, workspace);
    RandomStream stream(3);
    detail::scatter(box, stream, 13, table, 1);
    std::vector<std::vector<std::size_t>> orders;
    for (std::size_t k = 0; k < 3; ++k) {
        std::set<std::size_t> parts;
        std::vector<std::size_t> order;
        for (std::size_t i = 0; i < 13; ++i) {
            const double x = table(i, k + 1);
            CHECK(x >= box.lower(k));
            CHECK(x <= box.upper(k));
            if (box.width(k) > 0) {
                order.push_back(static_cast<std::size_t>(13 * (x - box.lower(k)) / box.width(k)));
                parts.insert(order.back());
            }
            CHECK(table(i, 0) == 0);
        }
        CHECK(parts.size() == (box.width(k) > 0 ? 13 : 0));
        CHECK((order.empty() || !std::ranges::is_sorted(order)));
        orders.push_back(order);
    }
    CHECK(orders[0] != orders[1]);
}

TEST_CASE("many starts find what one start misses") {
    SumOfSquares objective(Bells(three_bells), bell_box(3));
    const Box<double> box = bell_box(3);
    const double target = fitted(three_bells);
    int alone = 0;
    int together = 0;
    for (std::uint64_t seed = 0; seed < 10; ++seed) {
        RandomStream stream(seed);
        std::vector<double> start;
        for (std::size_t k = 0; k < 6; ++k) {
            start.push_back(stream.uniform(box.lower(k), box.upper(k)));
        }
        const LevenbergMarquardt local;
        alone += minimise(objective, box, local, seed, start).value < target ? 1 : 0;
        const MultiStart<LevenbergMarquardt> many{.iterations = 40, .target = target};
        const auto result = minimise(objective, box, many, seed, start);
        together += result.status == OptimiseStatus::target_reached ? 1 : 0;
        CHECK(result.iterations <= 40);
    }
    CHECK(together == 10);
    CHECK(alone <= 5);  // 2 as measured: a start far from a bell has no slope
}

TEST_CASE("block by block, alike parts are found in few evaluations") {
    const Box<double> box = bell_box(5);
    SumOfSquares objective(Bells(five_bells), box);
    const double target = fitted(five_bells);
    std::vector<std::size_t> blockwise;
    std::vector<std::size_t> starts;
    for (std::uint64_t seed = 0; seed < 25; ++seed) {
        const auto result =
            minimise(objective, box, BlockwiseSearch<>{.block = 2, .target = target}, seed);
        CHECK(result.status == OptimiseStatus::target_reached);
        blockwise.push_back(result.evaluations);
        std::vector<double> places;
        for (std::size_t k = 0; k < 5; ++k) {
            places.push_back(result.x[2 * k]);
        }
        std::ranges::sort(places);
        for (std::size_t k = 0; k < 5; ++k) {
            constexpr double close = 0.05;  // the prior, and the target's 1e-6
            CHECK_WITHIN(places[k], five_bells[2 * k], close);
        }
        const MultiStart<LevenbergMarquardt> many{
            .samples = 1, .iterations = 1000, .target = target};
        starts.push_back(minimise(objective, box, many, seed).evaluations);
    }
    std::ranges::sort(blockwise);
    std::ranges::sort(starts);
    MESSAGE("median evaluations: ", blockwise[12], " block by block, ", starts[12], " from starts");
    CHECK(2 * blockwise[12] < starts[12]);
}

TEST_CASE("a global method and a local one together reach what neither does alone") {
    // The swarm finds the basin, the local method its bottom.
    const Box<double> box = bell_box(2);
    const std::vector<double> truth = {20, 3, 33, 4};
    SumOfSquares objective(Bells{truth}, box);
    const double target = fitted(truth);
    const Swarm swarm{.particles = 20, .iterations = 15};
    const GlobalThenLocal<Swarm, LevenbergMarquardt> both{.global = swarm, .target = target};
    int alone = 0;
    for (std::uint64_t seed = 0; seed < 10; ++seed) {
        const auto result = minimise(objective, box, both, seed);
        CHECK(result.status == OptimiseStatus::target_reached);
        alone += minimise(objective, box, swarm, seed).value < target ? 1 : 0;
    }
    CHECK(alone == 0);
}

TEST_CASE("each restart searches longer, and from other numbers") {
    std::vector<std::size_t> batches;
    struct Flat {
        std::vector<std::size_t>* batches;
        double operator()(std::span<const double>) const { return 1; }
        void evaluate(const Points<double>& points, std::span<double> values) const {
            std::ranges::fill(values, 1.0);
            batches->push_back(points.size());
        }
    };
    const GlobalThenLocal<Swarm, Swarm> both{.global = {.particles = 7, .iterations = 10},
                                             .local = {.particles = 3, .iterations = 1},
                                             .growth = 2,
                                             .iterations = 3};
    const auto result = minimise(Flat{&batches}, cube(2, 0, 1), both, 1);
    CHECK(std::ranges::count(batches, 7) == (10 + 1) + (20 + 1) + (40 + 1));
    CHECK(std::ranges::count(batches, 3) == 3 * 2);
    CHECK(result.iterations == 3);
    CHECK(result.evaluations == 1 + 7 * 73 + 3 * 6);
    CHECK(result.status == OptimiseStatus::iteration_limit);
    CHECK(detail::part_seed(1, 2) != detail::part_seed(1, 3));
    CHECK(detail::part_seed(1, 2) != detail::part_seed(2, 2));
}

TEST_CASE("points are copied from one place of a table to another place of the next") {
    Workspace workspace;
    detail::PointTable<double> from(3, 2, workspace);
    detail::PointTable<double> to(3, 2, workspace);
    for (std::size_t i = 0; i < 3; ++i) {
        const double x = static_cast<double>(i);
        from.write(i, std::vector<double>{x, 10 * x});
        to.write(i, std::vector<double>{-1, -1});
    }
    to.copy_point(1, from, 2);
    std::vector<double> x(2);
    to.points().read(1, x);
    CHECK(x == std::vector<double>{2, 20});
    to.points().read(2, x);
    CHECK(x == std::vector<double>{-1, -1});
}

TEST_CASE("a local run starts from the best of its samples") {
    constexpr std::size_t samples = 8;
    for (std::uint64_t seed = 0; seed < 5; ++seed) {
        std::vector<std::vector<double>> points;
        std::vector<double> values;
        const auto bowl = [&](std::span<const double> x) {
            points.emplace_back(x.begin(), x.end());
            values.push_back(std::pow(x[0] - 0.3, 2) + std::pow(x[1] - 0.6, 2));
            return values.back();
        };
        static_cast<void>(minimise(bowl, cube(2, 0, 1),
                                   MultiStart<NelderMead>{.samples = samples, .iterations = 1},
                                   seed));
        REQUIRE(points.size() > samples);
        const auto best = std::min_element(values.begin(), values.begin() + samples);
        CHECK(points[samples] == points[static_cast<std::size_t>(best - values.begin())]);
    }
}

TEST_CASE("parts held equal have the derivatives of the whole") {
    const Box<double> box = bell_box(3);
    SumOfSquares objective(Bells(three_bells), box);
    Workspace workspace;
    detail::TiedBlocks<double, SumOfSquares<Bells>> tied(objective, {6, 2, 4}, workspace);
    const std::vector<double> y = {13, 3.3, 35, 4.5};
    std::vector<double> x(6);
    tied.expand(y, x);
    CHECK(x == std::vector<double>{13, 3.3, 35, 4.5, 35, 4.5});
    CHECK(tied(y) == objective(x));
    std::vector<double> gram(16);
    std::vector<double> gradient(4);
    const double value = tied.normal_equations(y, gram, gradient);
    CHECK(value == objective(x));
    for (std::size_t k = 0; k < 4; ++k) {
        constexpr double h = 1e-4;
        std::vector<double> up = y;
        std::vector<double> down = y;
        up[k] += h;
        down[k] -= h;
        const double slope = (tied(up) - tied(down)) / (2 * h);
        // Differences err by h^2, the numeric Jacobian by its step over the prior.
        CHECK_WITHIN(2 * gradient[k], slope, 2e-4);
        for (std::size_t j = 0; j < 4; ++j) {
            CHECK_WITHIN(gram[4 * k + j], gram[4 * j + k], 1e-12);
        }
    }
    CHECK(tied.derivatives_cost() == 6);
    // T' J' J T, written out: parameters 4 and 5 follow 2 and 3.
    std::vector<double> whole(36);
    std::vector<double> slopes(6);
    static_cast<void>(objective.normal_equations(
        std::span<const double>(x), std::span<double>(whole), std::span<double>(slopes)));
    const Eigen::MatrixXd t{{1, 0, 0, 0}, {0, 1, 0, 0}, {0, 0, 1, 0},
                            {0, 0, 0, 1}, {0, 0, 1, 0}, {0, 0, 0, 1}};
    const Eigen::MatrixXd expected =
        t.transpose() * Eigen::Map<const Eigen::MatrixXd>(whole.data(), 6, 6) * t;
    const Eigen::Map<const Eigen::MatrixXd> found(gram.data(), 4, 4);
    CHECK_WITHIN((found - expected).norm(), 0.0, 1e-12 * expected.norm());
}

TEST_CASE("what parts of a run spend is counted, and never more than allowed") {
    const Box<double> box = bell_box(3);
    for (const std::size_t most : {40U, 77U, 150U, 401U}) {
        CAPTURE(most);
        SumOfSquares objective(Bells(three_bells), box);
        const auto result =
            minimise(objective, box, BlockwiseSearch<>{.block = 2, .max_evaluations = most}, 5);
        CHECK(result.evaluations <= most);
        CHECK(result.evaluations == objective.function().calls);
        CHECK(result.status == OptimiseStatus::evaluation_limit);
        SumOfSquares again(Bells(three_bells), box);
        const auto many =
            minimise(again, box,
                     MultiStart<LevenbergMarquardt>{.iterations = 99, .max_evaluations = most}, 5);
        CHECK(many.evaluations <= most);
        CHECK(many.evaluations == again.function().calls);
    }
}

TEST_CASE("observers see inside the parts of a run, and end them") {
    const Box<double> box = bell_box(3);
    SumOfSquares objective(Bells(three_bells), box);
    double before = std::numeric_limits<double>::infinity();
    std::size_t asked = 0;
    const auto result =
        minimise(objective, box, BlockwiseSearch<>{.block = 2}, 5, {},
                 [&](const Progress<double>& progress) {
                     CHECK(progress.value <= before);
                     CHECK(box.contains(progress.best));
                     CHECK_WITHIN(objective(progress.best), progress.value, 1e-12);
                     before = progress.value;
                     ++asked;
                     return progress.evaluations > 60 ? Control::abort : Control::go_on;
                 });
    CHECK(result.status == OptimiseStatus::aborted);
    CHECK(asked > result.iterations);
    CHECK(result.evaluations < 100);
}

TEST_CASE("blocks that do not fit the box are refused") {
    const Box<double> box = bell_box(2);
    SumOfSquares objective(Bells(three_bells), box);
    const auto run = [&](const Box<double>& in, std::size_t block) {
        return minimise(objective, in, BlockwiseSearch<>{.block = block, .iterations = 1}, 1);
    };
    CHECK_THROWS_WITH_AS(static_cast<void>(run(box, 3)), "block = 3: must divide the dimension, 4",
                         InvalidInput);
    CHECK_THROWS_WITH_AS(static_cast<void>(run(Box<double>({0, 2, 1, 2}, {99, 6, 99, 6}), 2)),
                         "bounds of parameter 2 = 1: must be those of parameter 0", InvalidInput);
    CHECK(run(box, 0).usable());
    const BlockwiseSearch<> none{.candidates = 0};
    CHECK_THROWS_AS(static_cast<void>(minimise(objective, box, none, 1)), InvalidInput);
    const MultiStart<LevenbergMarquardt> no_samples{.samples = 0};
    CHECK_THROWS_AS(static_cast<void>(minimise(objective, box, no_samples, 1)), InvalidInput);
    const GlobalThenLocal<Swarm, LevenbergMarquardt> shrinking{.growth = 0.5};
    CHECK_THROWS_AS(static_cast<void>(minimise(objective, box, shrinking, 1)), InvalidInput);
}
