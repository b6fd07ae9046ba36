// All local methods on boxes, options, starts and objectives at the edge of what makes sense.
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <string>
#include <type_traits>
#include <vector>

#include "optimise/bowls.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

#define LOCAL_METHODS Squares, Numeric, Analytic, Simplex, Fenced

namespace {

template <class C, class R>
auto bowl(const Box<R>& box, const std::type_identity_t<std::vector<R>>& centre) {
    return typename C::template Objective<R>(box, centre);
}

// Of a minimiser in [-1, 1]: numeric gradients and simplices end a root of the rounding away.
constexpr double near = 1e-5;

template <class C, Real R>
void check_boxes() {
    constexpr R huge = std::numeric_limits<R>::max() / 2;
    constexpr R least = std::numeric_limits<R>::denorm_min();
    constexpr R normal = std::numeric_limits<R>::min();
    const R after = std::nextafter(R(1), R(2));
    for (const Box<R>& box :
         {Box<R>({-huge, 0}, {huge, huge}), Box<R>({0, -least}, {least, least}),
          Box<R>({-normal, 0}, {normal, normal}), Box<R>({1, R(-0.1)}, {after, R(0.7)}),
          Box<R>({huge / 2, R(1e6)}, {std::nextafter(huge / 2, huge), R(1e6) + R(0.5)}),
          Box<R>({3, -0.0}, {3, 0.0}), Box<R>({0, 1}, {normal, after})}) {
        for (const bool upper : {false, true}) {
            for (const bool from_empty : {false, true}) {
                const std::vector<R> centre = {upper ? box.upper(0) : box.lower(0),
                                               upper ? box.upper(1) : box.lower(1)};
                const std::vector<R> far = {upper ? box.lower(0) : box.upper(0),
                                            upper ? box.lower(1) : box.upper(1)};
                auto objective = bowl<C, R>(box, centre);
                typename C::Method method;
                method.iterations = 60;
                const auto result =
                    minimise(objective, box, method, 5, from_empty ? std::vector<R>{} : far);
                CHECK(objective.outside == 0);
                CHECK(box.contains(result.x));
                CHECK(objective.calls == result.evaluations);
            }
        }
    }
}

}  // namespace

TEST_CASE_TEMPLATE("local methods: huge, tiny and fixed boxes hold every evaluation", C,
                   LOCAL_METHODS) {
    check_boxes<C, double>();
    check_boxes<C, float>();
}

TEST_CASE_TEMPLATE("local methods: one and more dimensions, some of no width", C, LOCAL_METHODS) {
    for (const auto& box : {Box<double>({-1}, {1}), Box<double>({-1, 0.25, -1}, {1, 0.25, 1}),
                            Box<double>({-1, -1, -1, -1}, {1, 1, 1, 1})}) {
        std::vector<double> centre(box.dimension(), 0.5);
        centre.back() = 1.5;  // its bound holds it
        auto objective = bowl<C, double>(box, centre);
        const auto result = minimise(objective, box, typename C::Method{}, 1);
        CAPTURE(describe(result.status));
        CHECK(result.usable());
        CHECK(result.status != OptimiseStatus::iteration_limit);
        CHECK(objective.outside == 0);
        for (std::size_t k = 0; k < centre.size(); ++k) {
            const double expected = std::clamp(centre[k], box.lower(k), box.upper(k));
            CHECK_WITHIN(result.x[k], expected, near);
        }
    }
    const Box<double> point({2, 3}, {2, 3});
    auto objective = bowl<C, double>(point, {0, 0});
    const auto result = minimise(objective, point, typename C::Method{}, 1);
    CHECK(result.usable());
    CHECK(result.x == std::vector<double>{2, 3});
    CHECK(result.evaluations <= 3);
}

TEST_CASE_TEMPLATE("local methods: the start is evaluated first, clamped", C, LOCAL_METHODS) {
    const Box<double> box({-1, -1}, {1, 2});
    constexpr double infinity = std::numeric_limits<double>::infinity();
    const auto first = [&](const std::vector<double>& start) {
        auto objective = bowl<C, double>(box, {0, 0});
        CHECK(minimise(objective, box, typename C::Method{}, 1, start).usable());
        return objective.first;
    };
    CHECK(first({0.125, -0.5}) == std::vector<double>{0.125, -0.5});
    CHECK(first({7, -infinity}) == std::vector<double>{1, -1});
    CHECK(first({}) == std::vector<double>{0, 0.5});  // the middle
}

TEST_CASE_TEMPLATE("local methods: an exact start is kept, at little cost", C, LOCAL_METHODS) {
    const Box<double> box({-1, -1}, {1, 1});
    auto objective = bowl<C, double>(box, {0.5, 0.25});
    typename C::Method method;
    const auto result = minimise(objective, box, method, 1, std::vector<double>{0.5, 0.25});
    CHECK(result.x == std::vector<double>{0.5, 0.25});
    CHECK(result.value == 0);
    method.target = 0;
    const auto at_once = minimise(objective, box, method, 1, std::vector<double>{0.5, 0.25});
    CHECK(at_once.status == OptimiseStatus::target_reached);
    CHECK(at_once.evaluations == C::start_cost(2));
}

TEST_CASE_TEMPLATE("local methods: no iterations, and an observer that has seen enough", C,
                   LOCAL_METHODS) {
    const Box<double> box({-1, -1}, {1, 1});
    const std::vector<double> start = {-0.5, 0.75};
    auto objective = bowl<C, double>(box, {0.5, 0.25});
    typename C::Method method;
    method.iterations = 0;
    const auto none = minimise(objective, box, method, 1, start);
    CHECK(none.status == OptimiseStatus::iteration_limit);
    CHECK(none.evaluations == C::start_cost(2));
    CHECK(none.iterations == 0);
    CHECK(none.x[0] <= start[0] + near);  // a numeric gradient may have met a better neighbour
    if constexpr (requires { objective.fence; }) {
        objective.fence = -0.1;  // takes more than one iteration
    }
    const auto observed = [&](Control wish, std::size_t when) {
        std::size_t asked = 0;
        const auto result = minimise(objective, box, typename C::Method{}, 1, start,
                                     [&](const Progress<double>& progress) {
                                         CHECK(progress.iteration == asked);
                                         CHECK(box.contains(progress.best));
                                         return asked++ == when ? wish : Control::go_on;
                                     });
        CHECK(asked == when + 1);
        CHECK(result.iterations == when);
        return result;
    };
    CHECK(observed(Control::stop, 0).status == OptimiseStatus::stopped);
    CHECK(observed(Control::stop, 0).usable());
    CHECK(observed(Control::stop, 1).status == OptimiseStatus::stopped);
    CHECK(observed(Control::abort, 0).status == OptimiseStatus::aborted);
    CHECK(!observed(Control::abort, 1).usable());
}

TEST_CASE_TEMPLATE("local methods: evaluations are counted and limited", C, LOCAL_METHODS) {
    const Box<double> box({-1, -1, -1}, {1, 1, 1});
    for (std::size_t limit = C::start_cost(3); limit < 60; ++limit) {
        auto objective = bowl<C, double>(box, {0.5, 0.25, 1.25});
        typename C::Method method;
        method.max_evaluations = limit;
        const auto result = minimise(objective, box, method, 1, std::vector<double>{-1, 1, 0});
        CHECK(result.evaluations == objective.calls);
        CHECK(result.evaluations <= limit);
        CHECK(result.usable());
    }
}

TEST_CASE_TEMPLATE("local methods: regions without a value, at the start as well", C,
                   LOCAL_METHODS) {
    const Box<double> box({-1, -1}, {1, 1});
    const auto run = [&](double nan_below, const std::vector<double>& start) {
        auto objective = bowl<C, double>(box, {0.5, 0.25});
        objective.nan_below = nan_below;
        const auto result = minimise(objective, box, typename C::Method{}, 3, start);
        CHECK(objective.outside == 0);
        CHECK(result.evaluations == objective.calls);
        CHECK(result.non_finite == objective.non_finite);
        return result;
    };
    for (const double edge : {-0.5, 0.0, 0.45}) {
        CAPTURE(edge);
        const auto lost = run(edge, {-0.9, -0.9});  // no value there
        CHECK(lost.usable());
        CHECK(lost.non_finite > 0);
        CHECK_WITHIN(lost.x[0], 0.5, near);
        CHECK_WITHIN(lost.x[1], 0.25, near);
        const auto beside = run(edge, {edge, -0.9});  // and here half of the neighbours have none
        CHECK_WITHIN(beside.x[0], 0.5, near);
        CHECK_WITHIN(beside.x[1], 0.25, near);
    }
    const auto nowhere = run(2, {0, 0});
    CHECK(nowhere.status == OptimiseStatus::no_finite_value);
    CHECK(nowhere.non_finite == nowhere.evaluations);
    CHECK(!nowhere.usable());
}

TEST_CASE("local methods: every option of its own that makes no sense is refused by name") {
    const double nan = std::nan("");
    const double infinity = std::numeric_limits<double>::infinity();
    const auto refused = [](auto method, auto change, const std::string& text) {
        change(method);
        try {
            validate(method);
        } catch (const InvalidInput& error) {
            INFO(error.what());
            return std::string(error.what()).starts_with(text);
        }
        return false;
    };
    using LM = LevenbergMarquardt;
    CHECK(refused(
        LM{}, [&](LM& m) { m.value_tolerance = -1; }, "value_tolerance = -1"));
    CHECK(refused(
        LM{}, [&](LM& m) { m.initial_damping = -1; }, "initial_damping = -1: must be"));
    CHECK(refused(
        LM{}, [&](LM& m) { m.initial_damping = infinity; }, "initial_damping = inf"));
    CHECK(refused(
        LM{}, [&](LM& m) { m.damping_fall = 0.5; }, "damping_fall = 0.5: must be"));
    CHECK(refused(
        LM{}, [&](LM& m) { m.largest_step = 0; }, "largest_step = 0: must be"));
    CHECK(refused(
        LM{}, [&](LM& m) { m.gradient_tolerance = nan; }, "gradient_tolerance = nan"));
    CHECK(refused(
        LM{}, [&](LM& m) { m.step_tolerance = nan; }, "step_tolerance = nan"));
    using QN = QuasiNewton;
    CHECK(refused(
        QN{}, [&](QN& m) { m.initial_step = 1.5; }, "initial_step = 1.5: must lie in"));
    CHECK(refused(
        QN{}, [&](QN& m) { m.initial_step = 0; }, "initial_step = 0"));
    CHECK(refused(
        QN{}, [&](QN& m) { m.curvature = 1; }, "curvature = 1: must lie in (0, 1)"));
    CHECK(refused(
        QN{}, [&](QN& m) { m.sufficient_decrease = 0.95; }, "sufficient_decrease = 0.95"));
    CHECK(refused(
        QN{}, [&](QN& m) { m.sufficient_decrease = 0; }, "sufficient_decrease = 0"));
    CHECK(refused(
        QN{}, [&](QN& m) { m.gradient_tolerance = -1; }, "gradient_tolerance = -1"));
    CHECK(refused(
        QN{}, [&](QN& m) { m.step_tolerance = -1; }, "step_tolerance = -1"));
    using NM = NelderMead;
    CHECK(refused(
        NM{}, [&](NM& m) { m.reflection = 0; }, "reflection = 0: must be positive"));
    CHECK(refused(
        NM{}, [&](NM& m) { m.expansion = 1; }, "expansion = 1: must exceed 1"));
    CHECK(refused(
        NM{}, [&](NM& m) { m.contraction = 1; }, "contraction = 1: must lie in"));
    CHECK(refused(
        NM{}, [&](NM& m) { m.shrinkage = nan; }, "shrinkage = nan: must lie in"));
    CHECK(refused(
        NM{}, [&](NM& m) { m.initial_size = 2; }, "initial_size = 2: must lie in"));
    CHECK(refused(
        NM{}, [&](NM& m) { m.step_tolerance = -1; }, "step_tolerance = -1"));
    CHECK(refused(
        NM{}, [&](NM& m) { m.value_tolerance = -1; }, "value_tolerance = -1"));
    CHECK(refused(
        QN{}, [&](QN& m) { m.value_tolerance = -1; }, "value_tolerance = -1"));
    using AL = AugmentedLagrangian<>;
    CHECK(refused(
        AL{}, [&](AL& m) { m.initial_penalty = -1; }, "initial_penalty = -1: must be"));
    CHECK(refused(
        AL{}, [&](AL& m) { m.penalty_growth = 1; }, "penalty_growth = 1: must exceed"));
    CHECK(refused(
        AL{}, [&](AL& m) { m.largest_penalty = 0; }, "largest_penalty = 0"));
    CHECK(refused(
        AL{}, [&](AL& m) { m.required_fall = 1; }, "required_fall = 1: must lie in"));
    CHECK(refused(
        AL{}, [&](AL& m) { m.margin = -1; }, "margin = -1: must be zero or more"));
    CHECK(refused(
        AL{}, [&](AL& m) { m.feasibility_tolerance = nan; }, "feasibility_tolerance"));
    CHECK(refused(
        AL{}, [&](AL& m) { m.inner.curvature = 2; }, "curvature = 2"));
}
