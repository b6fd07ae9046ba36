// What every optimiser does alike: boxes of all sizes, and the same bits however it is called.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/core/random.hpp"
#include "optimise/methods.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

constexpr std::size_t unlimited = std::numeric_limits<std::size_t>::max();

template <Real R>
void check_same(const OptimiseResult<R>& a, const OptimiseResult<R>& b) {
    CHECK(a.x == b.x);
    CHECK(a.value == b.value);
    CHECK(a.status == b.status);
    CHECK(a.evaluations == b.evaluations);
    CHECK(a.iterations == b.iterations);
    CHECK(a.non_finite == b.non_finite);
}

// Lower bounds and widths of any size and sign that R holds, some of them alike.
template <Real R>
Box<R> random_box(RandomStream& stream) {
    using Limits = std::numeric_limits<R>;
    const auto n = 1 + static_cast<std::size_t>(4 * stream.uniform());
    std::vector<R> lower(n);
    std::vector<R> upper(n);
    const auto magnitude = [&] {
        // From denormal numbers to a quarter of the largest, even over exponents.
        const double exponent =
            stream.uniform(static_cast<double>(Limits::min_exponent - Limits::digits),
                           static_cast<double>(Limits::max_exponent - 3));
        return static_cast<R>(std::ldexp(1 + stream.uniform(), static_cast<int>(exponent)));
    };
    for (std::size_t k = 0; k < n; ++k) {
        const double kind = stream.uniform();
        const R sign = stream.uniform() < 0.5 ? R{-1} : R{1};
        if (kind < 0.1) {
            lower[k] = sign * magnitude();
            upper[k] = lower[k];
        } else if (kind < 0.2) {  // two neighbours
            lower[k] = sign * magnitude();
            upper[k] = std::nextafter(lower[k], Limits::infinity());
        } else if (kind < 0.6) {  // any place, any width
            lower[k] = sign * magnitude();
            upper[k] = lower[k] + magnitude();
        } else {  // as usual
            lower[k] = static_cast<R>(stream.uniform(-100.0, 100.0));
            upper[k] = lower[k] + static_cast<R>(stream.uniform(0.0, 50.0));
        }
    }
    return Box<R>(lower, upper);
}

template <Real R, class O>
void check_inside(const O& method, const Box<R>& box, std::uint64_t seed) {
    const std::size_t n = box.dimension();
    for (const R aim : {R(-0.5), R(0.3), R(1.5)}) {  // below, inside, above
        std::vector<R> centre(n);
        Trial<R> bowl(box);
        for (std::size_t k = 0; k < n; ++k) {
            const R width = box.width(k);
            bowl.unit[k] = width > 0 ? width : R{1};
            bowl.centre[k] = box.lower(k) + aim * width;
            if (!is_finite(bowl.centre[k])) {
                bowl.centre[k] = aim < 0 ? box.lower(k) : box.upper(k);
            }
        }
        const auto result = run(method, bowl, box, seed);
        CHECK(bowl.outside == 0);
        CHECK(bowl.calls == result.evaluations);
        CHECK(box.contains(result.x));
        if (result.usable()) {
            CHECK(bowl.value(result.x) == result.value);
        }
    }
}

template <Real R, class O>
void check_boxes() {
    O method;
    method.iterations = 15;
    RandomStream stream(4);
    for (std::uint64_t i = 0; i < 60; ++i) {
        CAPTURE(i);
        check_inside(method, random_box<R>(stream), i);
    }
    constexpr R huge = std::numeric_limits<R>::max() / 2;
    constexpr R least = std::numeric_limits<R>::denorm_min();
    constexpr R normal = std::numeric_limits<R>::min();
    method.iterations = 40;
    for (const Box<R>& box :
         {Box<R>({-huge, 0}, {huge, huge}), Box<R>({0, -least, -normal}, {least, least, normal}),
          Box<R>({1, R(-0.1)}, {std::nextafter(R(1), R(2)), R(0.7)}),
          Box<R>({huge / 2, R(1e6)}, {std::nextafter(huge / 2, huge), R(1e6) + R(0.5)}),
          Box<R>({3, R(-0.0)}, {3, R(0.0)})}) {
        check_inside(method, box, 5);
    }
}

}  // namespace

TEST_CASE_TEMPLATE("no method leaves its box, whatever the box", O, ECHOSIEVE_EVERY_METHOD) {
    check_boxes<double, O>();
    check_boxes<float, O>();
}

TEST_CASE_TEMPLATE("every method gives the same bits for the same seed", O,
                   ECHOSIEVE_EVERY_METHOD) {
    const Box<double> box({-2, -3, 0}, {2, 1, 4});
    const auto once = [&](std::uint64_t seed, const std::vector<double>& start) {
        Trial<double> bowl(box, {0.3, -0.7, 1.1});
        O method;
        method.iterations = 12;
        return run(method, bowl, box, seed, start);
    };
    check_same(once(7, {}), once(7, {}));
    check_same(once(8, {1, 1, 1}), once(8, {1, 1, 1}));
    // In a workspace that others used before, of another size.
    Workspace workspace;
    const Box<double> other({-1, -1}, {1, 1});
    Trial<double> small(other);
    static_cast<void>(run(O{}, small, other, 1, {}, {}, workspace));
    Trial<double> bowl(box, {0.3, -0.7, 1.1});
    O method;
    method.iterations = 12;
    check_same(run(method, bowl, box, 7, {}, {}, workspace), once(7, {}));
}

TEST_CASE_TEMPLATE("methods that draw take another course with another seed", O,
                   ECHOSIEVE_RANDOM_METHODS) {
    const Box<double> box({-2, -3}, {2, 1});
    std::vector<std::vector<double>> ends;
    for (const std::uint64_t seed :
         {std::uint64_t{0}, std::uint64_t{1}, std::uint64_t{1} << 32, ~std::uint64_t{0}}) {
        Trial<double> bowl(box, {0.3, -0.7});
        O method;
        method.iterations = 5;
        ends.push_back(run(method, bowl, box, seed).x);
        CHECK(std::ranges::count(ends, ends.back()) == 1);
    }
}

TEST_CASE_TEMPLATE("local methods draw another start when theirs is of no use", O,
                   ECHOSIEVE_LOCAL_METHODS) {
    const Box<double> box({-2, -3}, {2, 1});
    std::vector<std::vector<double>> second;
    for (const std::uint64_t seed : {std::uint64_t{0}, std::uint64_t{1}}) {
        Trial<double> bowl(box, {0.3, -0.7});
        const std::vector<double> start = {1, 1};
        std::vector<double> found;
        bowl.change = [&](std::span<const double> x, double value) {
            if (std::ranges::equal(x, start)) {
                return std::nan("");
            }
            if (found.empty()) {
                found.assign(x.begin(), x.end());
            }
            return value;
        };
        CHECK(run(O{}, bowl, box, seed, start).usable());
        second.push_back(found);
    }
    CHECK(second[0] != second[1]);
}

TEST_CASE_TEMPLATE("every method gives the same bits for an objective that takes many points", O,
                   ECHOSIEVE_EVERY_METHOD) {
    const Box<double> box({-2, -3, 5}, {2, 1, 5});
    for (const std::vector<double>& start : {std::vector<double>{}, {1, -1, 5}}) {
        Trial<double> plain(box, {0.3, -0.7, 1.1});
        BatchTrial<double> batch(box, {0.3, -0.7, 1.1});
        for (Trial<double>* const bowl : {&plain, static_cast<Trial<double>*>(&batch)}) {
            bowl->change = [](std::span<const double> x, double value) {
                return x[0] > 1.5 ? std::nan("") : value + 0.1 * std::pow(x[0] - x[1], 4);
            };
        }
        O method;
        method.iterations = 20;
        check_same(run(method, plain, box, 3, start), run(method, batch, box, 3, start));
        CHECK(plain.calls == batch.calls);
        CHECK(batch.outside == 0);
    }
}

TEST_CASE_TEMPLATE("methods that draw hand over a whole population at once", O,
                   ECHOSIEVE_RANDOM_METHODS) {
    const Box<double> box({-2, -3}, {2, 1});
    BatchTrial<double> batch(box, {0.3, -0.7});
    O method;
    method.iterations = 20;
    const auto result = run(method, batch, box);
    CHECK(batch.batches <= result.iterations + 1);
    CHECK(batch.calls == result.evaluations);
}

TEST_CASE_TEMPLATE("local methods take the objective's own gradient as they take differences", O,
                   ECHOSIEVE_LOCAL_METHODS) {
    const Box<double> box({-2, -3, 0}, {2, 1, 0});
    SlopedTrial<double> bowl(box, {0.3, -4, 1});
    const auto result = run(O{}, bowl, box, 1, {1, 1, 0});
    CHECK(result.evaluations == bowl.calls);
    CHECK(bowl.outside == 0);
    constexpr double found = 1e-6;  // the root of the value's tolerance
    CHECK_WITHIN(result.x[0], 0.3, found);
    CHECK(result.x[1] == -3);
    CHECK(bowl.value(result.x) == result.value);
    bowl.change = [](std::span<const double>, double) { return std::nan(""); };
    O method;
    method.max_evaluations = 300;
    const auto lost = run(method, bowl, box);
    CHECK(lost.status == OptimiseStatus::no_finite_value);
    CHECK(lost.evaluations <= 300);
}

TEST_CASE_TEMPLATE("no method minds limits as large as numbers go", O, ECHOSIEVE_EVERY_METHOD) {
    const Box<double> box({-2}, {2});
    Trial<double> bowl(box, {0.3});
    O method;
    method.iterations = unlimited;
    method.max_evaluations = 5000;
    method.stagnation_iterations = unlimited;
    const auto result = run(method, bowl, box);
    CHECK(result.evaluations <= 5000);
    CHECK(result.usable());
    constexpr double found = 1e-6;
    CHECK(result.value < found);
}
