// What every optimiser does alike: results, limits, starts, seeds, points without a value.
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <stdexcept>
#include <string>
#include <vector>

#include "echosieve/core/random.hpp"
#include "optimise/edges.hpp"
#include "optimise/methods.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr std::size_t unlimited = std::numeric_limits<std::size_t>::max();

const Box<double>& square() {
    static const Box<double> box({-2, -2}, {2, 2});
    return box;
}

// What must hold of every result.
template <Real R, class B>
void check_result(const OptimiseResult<R>& result, const B& bowl) {
    CHECK(result.evaluations == bowl.calls);
    CHECK(result.non_finite == bowl.non_finite);
    CHECK(bowl.outside == 0);
    CHECK(bowl.box->contains(result.x));
    CHECK(result.status != OptimiseStatus::not_run);
    CHECK(result.violation == (result.value < R(infinity) ? 0 : R(infinity)));
    if (result.usable() && !bowl.change) {
        CHECK(bowl.value(result.x) == result.value);
    }
}

template <Real R, class O>
void check_finds_minimum() {
    constexpr R found = R(1e-5);  // far above what float rounds, far below the start's values
    for (const std::size_t n : {std::size_t{1}, std::size_t{3}}) {
        CAPTURE(n);
        const Box<R> box(std::vector<R>(n, R(-3)), std::vector<R>(n, R(4)));
        Trial<R> bowl(box, std::vector<R>(n, R(0.7)));
        O method;
        method.iterations = 400;
        const auto result = run(method, bowl, box);
        check_result(result, bowl);
        CHECK(result.usable());
        CHECK(result.feasible());
        CHECK(result.value < found);
    }
}

}  // namespace

TEST_CASE_TEMPLATE("every method finds the minimum of a bowl, in one dimension and in three", O,
                   ECHOSIEVE_EVERY_METHOD) {
    check_finds_minimum<double, O>();
    check_finds_minimum<float, O>();
}

TEST_CASE_TEMPLATE("every method walks around regions of NaN, and counts them", O,
                   ECHOSIEVE_EVERY_METHOD) {
    Trial<double> bowl(square(), {0.25, 0.125});
    bowl.change = [](std::span<const double> x, double value) {
        return x[0] > 0.5 ? std::nan("") : x[1] < -0.5 ? infinity : value;
    };
    const auto result = run(O{}, bowl, square(), 1, {1.5, -1.5});  // in the midst of it
    check_result(result, bowl);
    CHECK(result.usable());
    CHECK(result.non_finite > 0);
    constexpr double found = 1e-5;
    CHECK(result.value < found);
}

TEST_CASE_TEMPLATE("every method says when there is no finite value at all", O,
                   ECHOSIEVE_EVERY_METHOD) {
    for (const double value : {std::nan(""), infinity, -infinity}) {
        CAPTURE(value);
        for (const double target : {-infinity, infinity}) {
            Trial<double> bowl(square());
            bowl.change = [value](std::span<const double>, double) { return value; };
            O method;
            method.target = target;  // +infinity <= +infinity holds, yet nobody can use it
            method.max_evaluations = 777;
            const auto result = run(method, bowl, square());
            check_result(result, bowl);
            CHECK(result.status == OptimiseStatus::no_finite_value);
            CHECK(!result.usable());
            CHECK(result.value == infinity);
            CHECK(result.non_finite == result.evaluations);
            CHECK(result.evaluations > 1);  // it looked for one
        }
    }
}

TEST_CASE_TEMPLATE("every method gives an exact start back", O, ECHOSIEVE_EVERY_METHOD) {
    const std::vector<double> minimiser = {0.3, -0.7};
    Trial<double> bowl(square(), minimiser);
    const auto result = run(O{}, bowl, square(), 1, minimiser);
    check_result(result, bowl);
    CHECK(result.value == 0);
    CHECK(result.x == minimiser);
    O method;
    method.target = 0;
    Trial<double> again(square(), minimiser);
    const auto at_once = run(method, again, square(), 1, minimiser);
    CHECK(at_once.status == OptimiseStatus::target_reached);
    CHECK(at_once.iterations == 0);
    CHECK(at_once.x == minimiser);
    CHECK(at_once.evaluations == evaluations_of_the_start(method, square()));
}

TEST_CASE_TEMPLATE("every method evaluates its start first, clamped, and never ends above it", O,
                   ECHOSIEVE_EVERY_METHOD) {
    for (const std::vector<double>& start :
         {std::vector<double>{0.125, -0.5}, {7, -infinity}, {-2, 2}, {infinity, 0}}) {
        const std::vector<double> clamped = {std::clamp(start[0], -2.0, 2.0),
                                             std::clamp(start[1], -2.0, 2.0)};
        Trial<double> bowl(square(), {1.5, 1});
        O method;
        method.iterations = 3;
        const auto result = run(method, bowl, square(), 1, start);
        check_result(result, bowl);
        CHECK(bowl.first == clamped);
        CHECK(result.value <= bowl.value(clamped));
    }
}

TEST_CASE_TEMPLATE("of points of equal value every method keeps the first", O,
                   ECHOSIEVE_EVERY_METHOD) {
    const std::vector<double> start = {0.125, -0.5};
    Trial<double> plain(square());
    plain.change = [](std::span<const double>, double) { return 2.5; };
    O method;
    method.iterations = 3;
    const auto result = run(method, plain, square(), 1, start);
    check_result(result, plain);
    CHECK(result.evaluations > 1);
    CHECK(result.value == 2.5);
    CHECK(result.x == start);
}

TEST_CASE_TEMPLATE("every method refuses starts that are no points and boxes of infinite width", O,
                   ECHOSIEVE_EVERY_METHOD) {
    const auto from = [](const std::vector<double>& start) {
        Trial<double> bowl(square());
        O method;
        method.iterations = 1;
        const std::string text =
            refusal([&] { static_cast<void>(run(method, bowl, square(), 1, start)); });
        CHECK((bowl.calls == 0) == (text != "accepted"));
        return text;
    };
    CHECK(from({}) == "accepted");
    CHECK(from({0, 0}) == "accepted");
    CHECK(from({0}) == "size of the start point = 1: must be 0 or the dimension, 2");
    CHECK(from({0, 0, 0}) == "size of the start point = 3: must be 0 or the dimension, 2");
    CHECK(from({0, std::nan("")}) == "start[1] = nan: must be a number");
    constexpr double largest = std::numeric_limits<double>::max();
    const Box<double> wide({0, -largest}, {1, largest});
    Trial<double> bowl(wide);
    CHECK(refusal([&] { static_cast<void>(run(O{}, bowl, wide)); }) ==
          "width of the box in dimension 1 = inf: must be finite");
}

TEST_CASE_TEMPLATE("every method refuses limits that make no sense", O, ECHOSIEVE_EVERY_METHOD) {
    const auto with = [](auto change) {
        O method;
        method.iterations = 1;
        change(method);
        const std::string refused = refusal([&] { validate(method); });
        Trial<double> bowl(square());
        const std::string text = refusal([&] { static_cast<void>(run(method, bowl, square())); });
        CHECK(text == refused);
        CHECK((bowl.calls == 0) == (text != "accepted"));
        return text;
    };
    const double nan = std::nan("");
    CHECK(with([](O&) {}) == "accepted");
    CHECK(with([](O& o) { o.target = infinity; }) == "accepted");
    CHECK(with([&](O& o) { o.target = nan; }) == "target = nan: must be a number");
    CHECK(with([](O& o) { o.tolerance = -1; }) == "tolerance = -1: must be zero or more");
    CHECK(with([&](O& o) { o.tolerance = nan; }) == "tolerance = nan: must be zero or more");
    CHECK(with([](O& o) {
              o.max_evaluations = 0;
          }).starts_with("max_evaluations = 0: must allow the evaluations of the start, "));
}

TEST_CASE_TEMPLATE("every method ends at once when its observer says so", O,
                   ECHOSIEVE_EVERY_METHOD) {
    const std::size_t least = evaluations_of_the_start(O{}, square());
    for (const Control wish : {Control::stop, Control::abort}) {
        Trial<double> bowl(square(), {0.3, 0.4});
        std::size_t asked = 0;
        const auto result = run(O{}, bowl, square(), 1, {1, 1}, [&](const Progress<double>&) {
            ++asked;
            return wish;
        });
        check_result(result, bowl);
        CHECK(asked == 1);
        CHECK(result.iterations == 0);
        CHECK(result.evaluations == least);
        CHECK(result.usable() == (wish == Control::stop));
        CHECK(result.status ==
              (wish == Control::stop ? OptimiseStatus::stopped : OptimiseStatus::aborted));
        // Its word goes before the target's.
        O method;
        method.target = infinity;
        Trial<double> reached(square());
        const auto both = run(method, reached, square(), 1, {1, 1},
                              [&](const Progress<double>&) { return wish; });
        CHECK(both.status == result.status);
    }
}

TEST_CASE_TEMPLATE("every method may be stopped after its second iteration", O,
                   ECHOSIEVE_EVERY_METHOD) {
    Trial<double> bowl(square(), {0.3, 0.4});
    bowl.change = [](std::span<const double> x, double value) {
        return value + 0.1 * std::pow(x[0] - x[1], 4);  // nobody is done after two
    };
    const auto result =
        run(patient<O>(), bowl, square(), 1, {-1, 1}, [](const Progress<double>& progress) {
            return progress.iteration == 2 ? Control::stop : Control::go_on;
        });
    check_result(result, bowl);
    CHECK(result.status == OptimiseStatus::stopped);
    CHECK(result.iterations == 2);
    CHECK(result.usable());
}

TEST_CASE_TEMPLATE("every method makes no iteration when none is wanted", O,
                   ECHOSIEVE_EVERY_METHOD) {
    Trial<double> bowl(square(), {0.3, 0.4});
    O method;
    method.iterations = 0;
    const auto result = run(method, bowl, square(), 1, {1, 1});
    check_result(result, bowl);
    CHECK(result.status == OptimiseStatus::iteration_limit);
    CHECK(result.iterations == 0);
    CHECK(result.evaluations >= 1);
    CHECK(result.usable());
}

TEST_CASE_TEMPLATE("every method holds parameters fixed whose bounds are equal", O,
                   ECHOSIEVE_EVERY_METHOD) {
    const Box<double> line({-2, 0.5, -2}, {2, 0.5, 2});
    Trial<double> bowl(line, {0.3, 3, -0.2});
    const auto result = run(O{}, bowl, line);
    check_result(result, bowl);
    CHECK(result.x[1] == 0.5);
    constexpr double found = 1e-5;
    CHECK_WITHIN(result.value, 2.5 * 2.5, found);

    const Box<double> point({2, -3}, {2, -3});
    Trial<double> fixed(point);
    const auto there = run(O{}, fixed, point, 1, {0, 0});
    check_result(there, fixed);
    CHECK(there.x == std::vector<double>{2, -3});
    CHECK(there.value == 13);
    CHECK(there.usable());
}

TEST_CASE_TEMPLATE("no method ever exceeds its evaluations", O, ECHOSIEVE_EVERY_METHOD) {
    const std::size_t least = evaluations_of_the_start(O{}, square());
    for (const std::size_t budget :
         {1U, 2U, 3U, 4U, 5U, 6U, 7U, 13U, 49U, 50U, 51U, 99U, 100U, 101U, 113U, 257U, 1001U}) {
        CAPTURE(budget);
        O method;
        method.max_evaluations = budget;
        method.iterations = unlimited;
        Trial<double> bowl(square(), {0.3, 0.4});
        bowl.change = [](std::span<const double> x, double value) {
            return value + 0.1 * std::pow(x[0] - x[1], 4);
        };
        OptimiseResult<double> result;
        const std::string text = refusal([&] { result = run(method, bowl, square(), 1, {-1, 1}); });
        if (text != "accepted") {
            CHECK(budget < least);
            CHECK(text.starts_with("max_evaluations = "));
            continue;
        }
        check_result(result, bowl);
        CHECK(result.evaluations <= budget);
        CHECK(result.usable());
        CHECK((budget > least + 1 || result.status == OptimiseStatus::evaluation_limit));
        // Where nothing has a value local methods look for a start: that counts too.
        Trial<double> nowhere(square());
        nowhere.change = [](std::span<const double>, double) { return std::nan(""); };
        const auto lost = run(method, nowhere, square(), 1, {1, 1});
        check_result(lost, nowhere);
        CHECK(lost.evaluations <= budget);
    }
}

TEST_CASE_TEMPLATE("every method ends with the iteration that reaches the target", O,
                   ECHOSIEVE_EVERY_METHOD) {
    O method;
    method.target = 0.05;
    Trial<double> bowl(square(), {0.9, -0.8});
    std::size_t reached = 0;
    const auto result =
        run(method, bowl, square(), 3, {-2, 2}, [&](const Progress<double>& progress) {
            reached += progress.value <= method.target ? 1 : 0;
            return Control::go_on;
        });
    check_result(result, bowl);
    CHECK(result.status == OptimiseStatus::target_reached);
    CHECK(result.value <= method.target);
    CHECK(reached <= 1);
}

TEST_CASE_TEMPLATE("every method lets exceptions of the objective and the observer through", O,
                   ECHOSIEVE_EVERY_METHOD) {
    const std::size_t least = evaluations_of_the_start(O{}, square());
    for (const std::size_t at : {std::size_t{1}, least + 1}) {
        Trial<double> bowl(square(), {0.3, 0.4});
        bowl.change = [&](std::span<const double>, double value) {
            if (bowl.calls == at) {
                throw std::runtime_error("mine");
            }
            return value;
        };
        CHECK_THROWS_WITH_AS(static_cast<void>(run(O{}, bowl, square(), 1, {1, 1})), "mine",
                             std::runtime_error);
        CHECK(bowl.calls == at);
    }
    Trial<double> bowl(square(), {0.3, 0.4});
    bowl.change = [](std::span<const double> x, double value) {
        return value + 0.1 * std::pow(x[0] - x[1], 4);
    };
    const auto watch = [](const Progress<double>& progress) -> Control {
        if (progress.iteration == 1) {
            throw std::runtime_error("enough");
        }
        return Control::go_on;
    };
    CHECK_THROWS_WITH_AS(static_cast<void>(run(patient<O>(), bowl, square(), 1, {-1, 1}, watch)),
                         "enough", std::runtime_error);
}

TEST_CASE_TEMPLATE("every method shows its progress once after the start and once an iteration", O,
                   ECHOSIEVE_EVERY_METHOD) {
    Trial<double> bowl(square(), {0.3, 0.4});
    std::size_t asked = 0;
    double value = infinity;
    bool in_order = true;
    O method;
    method.iterations = 30;
    const auto result =
        run(method, bowl, square(), 2, {1.5, 1}, [&](const Progress<double>& progress) {
            in_order = in_order && progress.iteration == asked &&
                       progress.evaluations == bowl.calls && progress.value <= value &&
                       square().contains(progress.best) &&
                       bowl.value(progress.best) == progress.value && progress.violation == 0;
            ++asked;
            value = progress.value;
            return Control::go_on;
        });
    check_result(result, bowl);
    CHECK(in_order);
    // What converges in the midst of an iteration ends it without asking.
    CHECK(asked >= std::max<std::size_t>(result.iterations, 1));
    CHECK(asked <= result.iterations + 1);
    CHECK(result.value <= value);
}

TEST_CASE_TEMPLATE("no method loses the best point, however ragged the objective", O,
                   ECHOSIEVE_EVERY_METHOD) {
    const Box<double> box({-1, 0, 4}, {1, 5, 4});
    for (std::uint64_t seed = 0; seed < 10; ++seed) {
        RandomStream noise(seed, 12345);
        double best = infinity;
        std::vector<double> where;
        Trial<double> bowl(box);
        bowl.change = [&](std::span<const double> x, double) {
            const double draw = noise.uniform();
            if (draw < 0.3) {
                return draw < 0.1 ? std::nan("") : draw < 0.2 ? infinity : -infinity;
            }
            if (draw < best) {
                best = draw;
                where.assign(x.begin(), x.end());
            }
            return draw;
        };
        bool kept = true;
        const auto result = run(O{}, bowl, box, seed, {}, [&](const Progress<double>& progress) {
            kept = kept && progress.value == best &&
                   (where.empty() || std::ranges::equal(progress.best, where));
            return Control::go_on;
        });
        check_result(result, bowl);
        CHECK(kept);
        CHECK(result.value == best);
        CHECK(result.x == where);
    }
}

TEST_CASE_TEMPLATE("every method ends where nothing falls any more", O, ECHOSIEVE_EVERY_METHOD) {
    Trial<double> bowl(square());
    bowl.change = [](std::span<const double>, double) { return 1.0; };
    O method;
    method.stagnation_iterations = 5;
    const auto result = run(method, bowl, square(), 1, {1, 1});
    check_result(result, bowl);
    CHECK(result.iterations <= 5);
    CHECK(result.status != OptimiseStatus::iteration_limit);
    CHECK(result.usable());
    CHECK(result.value == 1);
}
