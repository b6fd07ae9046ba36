// Any optimiser and any observer plug in; what is none is refused when compiled.
#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "../../examples/own_optimiser/compass_search.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

struct NotConst {
    template <class F, class W>
    OptimiseResult<double> minimise(F&, const Box<double>&, std::uint64_t, std::span<const double>,
                                    W&);
};
struct GivesPoint {
    template <class F, class W>
    std::vector<double> minimise(F&, const Box<double>&, std::uint64_t, std::span<const double>,
                                 W&) const;
};
struct TakesNoStart {
    template <class F, class W>
    OptimiseResult<double> minimise(F&, const Box<double>&, std::uint64_t, W&) const;
};
struct DoubleOnly {
    template <class F, class W>
    OptimiseResult<double> minimise(F&, const Box<double>&, std::uint64_t, std::span<const double>,
                                    W&) const;
};

static_assert(Optimiser<CompassSearch, double> && Optimiser<CompassSearch, float>);
static_assert(Optimiser<DoubleOnly, double> && !Optimiser<DoubleOnly, float>);
static_assert(!Optimiser<NotConst, double>);
static_assert(!Optimiser<GivesPoint, double>);
static_assert(!Optimiser<TakesNoStart, double>);

struct GivesText {
    std::string operator()(std::span<const double>) const;
};
struct TakesVector {
    double operator()(std::vector<double>&) const;
};
static_assert(Objective<double (*)(std::span<const double>), double>);
static_assert(!Objective<GivesText, double> && !Objective<TakesVector, double>);

struct ForgetsToAnswer {
    void operator()(const Progress<double>&) const;
};
static_assert(!Observer<ForgetsToAnswer, double>);

struct ApplyByValue {
    double apply(double x, double lower, double upper) const;
};
struct InformantOfNobody {
    int inform(std::span<const Merit<double>>, std::span<std::size_t>, const SwarmState&) const;
};
static_assert(BoundPolicy<AbsorbingBounds, float> && !BoundPolicy<ApplyByValue, double>);
static_assert(SwarmTopology<Ring, double> && !SwarmTopology<InformantOfNobody, double>);

static_assert(SwarmTopology<GlobalBest, double> && SwarmTopology<Ring, float> &&
              SwarmTopology<RandomInformants, double>);
static_assert(!SwarmTopology<int, double> && !SwarmTopology<Ring, int>);
static_assert(SwarmMove<ConstrictedMove, double> && SwarmMove<InertiaMove, float> &&
              SwarmMove<SphericalMove, double>);
static_assert(!SwarmMove<int, double> && !SwarmMove<ConstrictedMove, int>);
static_assert(BoundPolicy<AbsorbingBounds, double> && BoundPolicy<BouncingBounds, double> &&
              BoundPolicy<ReflectingBounds, float> && BoundPolicy<PeriodicBounds, double>);
static_assert(!BoundPolicy<int, double>);

double bowl(std::span<const double> x) {
    double sum = 0;
    for (std::size_t k = 0; k < x.size(); ++k) {
        sum += (x[k] - 0.25) * (x[k] - 0.25);
    }
    return sum;
}

}  // namespace

TEST_CASE("an optimiser of one's own plugs in") {
    const Box<double> box({-1, -1}, {1, 2});
    const auto result = minimise(bowl, box, CompassSearch{}, 1);
    constexpr double last_step = 1e-12;  // far above width / 2^100
    CHECK_WITHIN(result.x[0], 0.25, last_step);
    CHECK_WITHIN(result.x[1], 0.25, last_step);
    std::size_t asked = 0;
    const auto stopped =
        minimise(bowl, box, CompassSearch{}, 1, {}, [&](const Progress<double>& progress) {
            ++asked;
            return progress.value < 0.1 ? Control::stop : Control::go_on;
        });
    CHECK(stopped.status == OptimiseStatus::stopped);
    CHECK(asked == stopped.iterations + 1);
}

TEST_CASE_TEMPLATE("the start point may be any contiguous range, and is evaluated first, clamped",
                   O, Swarm, CompassSearch) {
    const Box<double> box({-1, -1}, {1, 2});
    std::vector<double> first;
    const auto remember = [&](std::span<const double> x) {
        if (first.empty()) {
            first.assign(x.begin(), x.end());
        }
        return bowl(x);
    };
    const std::vector<double> inside = {0.125, -0.5};
    CHECK(minimise(remember, box, O{}, 1, inside).usable());
    CHECK(first == inside);
    first.clear();
    const std::array<double, 2> outside = {7, -std::numeric_limits<double>::infinity()};
    CHECK(minimise(remember, box, O{}, 1, outside).usable());
    CHECK(first == std::vector<double>{1, -1});
}

TEST_CASE("a result says that nothing was run until something was") {
    const OptimiseResult<double> result;
    CHECK(result.status == OptimiseStatus::not_run);
    CHECK(!result.usable());
    CHECK(result.x.empty());
    CHECK(result.value == std::numeric_limits<double>::infinity());
    std::set<std::string_view> texts;
    for (int status = 0; status <= static_cast<int>(OptimiseStatus::no_finite_value); ++status) {
        texts.insert(describe(static_cast<OptimiseStatus>(status)));
    }
    CHECK(texts.size() == static_cast<std::size_t>(OptimiseStatus::no_finite_value) + 1);
    CHECK(texts.count("unknown") == 0);
}
