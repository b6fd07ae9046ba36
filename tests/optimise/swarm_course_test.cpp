// The course of a swarm: the published move, its streams and its order.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "optimise/mean.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

using Track = std::vector<std::vector<double>>;

double bowl(std::span<const double> x) {
    double sum = 0;
    for (const double v : x) {
        sum += (v - 0.3) * (v - 0.3);
    }
    return sum;
}

// Every point that a run asks for, where evaluation number `changed` is given the value -1, which
// beats everything.
template <class S>
Track course(S swarm, std::size_t changed) {
    const Box<double> box({-1, -1}, {1, 1});
    Track points;
    const auto record = [&](std::span<const double> x) {
        points.emplace_back(x.begin(), x.end());
        return points.size() - 1 == changed ? -1 : bowl(x);
    };
    static_cast<void>(minimise(record, box, swarm, 11));
    return points;
}

constexpr std::size_t never = std::numeric_limits<std::size_t>::max();

}  // namespace

TEST_CASE("no particle goes further in an iteration than its largest velocity") {
    constexpr std::size_t particles = 5;
    constexpr double limit = 0.02;  // of a width of 2
    const Track points =
        course(Swarm{.particles = particles, .iterations = 40, .largest_velocity = limit}, never);
    REQUIRE(points.size() == 41 * particles);
    std::size_t fastest = 0;
    for (std::size_t n = particles; n < points.size(); ++n) {
        for (std::size_t k = 0; k < 2; ++k) {
            const double way = std::abs(points[n][k] - points[n - particles][k]);
            REQUIRE(way <= 2 * limit * (1 + 1e-12));
            fastest += way >= 2 * limit * (1 - 1e-12) ? 1 : 0;
        }
    }
    CHECK(fastest > 50);  // far from the minimum the limit is what holds
}

TEST_CASE("the move has the mean and the variance of the published one") {
    // One particle at its best point p: y = x - p obeys y' = (1 + w - c1 r1 - c2 r2) y - w
    // y_before, w = chi and c = 2.05 chi each. With l = 1 + w - (c1 + c2) / 2 and s^2 = (c1^2 +
    // c2^2) / 12: mean' = l mean - w mean_before, and the second moments (yy, y y_before, y_before
    // y_before) follow the matrix ((l^2 + s^2, -2 w l, w^2), (l, -w, 0), (1, 0, 0)). (Poli 2009;
    // Jiang et al. 2007; from memory, derived anew.)
    const double w = constriction(4.1);
    const double c = w * 2.05;
    const double l = 1 + w - c;
    const double s2 = c * c / 6;
    constexpr std::size_t steps = 6;
    const Box<double> box({-1, -1}, {1, 1});
    const std::vector<double> start = {0, 0};
    const Swarm swarm{.particles = 1, .iterations = steps, .initial_velocity = 1e-3};
    NoObserver observer;
    Workspace workspace;
    std::array<Mean, steps + 1> first;
    std::array<Mean, steps + 1> second;
    Mean together;
    Track points;
    const auto flat = [&](std::span<const double> x) {
        points.emplace_back(x.begin(), x.end());
        return 1.0;
    };
    for (std::uint64_t seed = 0; seed < 20000; ++seed) {
        points.clear();
        static_cast<void>(
            swarm.minimise(OptimiseTask{flat, box, seed, start, observer, workspace}));
        for (std::size_t t = 0; t <= steps; ++t) {
            for (std::size_t k = 0; k < 2; ++k) {
                const double y = points[t][k] / points[1][k];
                first[t].add(y);
                second[t].add(y * y);
            }
        }
        together.add((points[2][0] / points[1][0] - l) * (points[2][1] / points[1][1] - l));
    }
    constexpr double telling_error = 0.05;  // relative to the moment: the check bites
    std::array<double, 2> mean = {1, 0};
    std::array<double, 3> moment = {1, 0, 0};
    for (std::size_t t = 2; t <= steps; ++t) {
        CAPTURE(t);
        mean = {l * mean[0] - w * mean[1], mean[0]};
        moment = {(l * l + s2) * moment[0] - 2 * w * l * moment[1] + w * w * moment[2],
                  l * moment[0] - w * moment[1], moment[0]};
        CHECK_WITHIN(first[t].value(), mean[0], deviations * first[t].standard_error());
        CHECK_WITHIN(second[t].value(), moment[0], deviations * second[t].standard_error());
        CHECK(second[t].standard_error() < telling_error * moment[0]);
    }
    // Each coordinate has draws of its own; shared ones would give s^2.
    CHECK_WITHIN(together.value(), 0, deviations * together.standard_error());
    CHECK(deviations * together.standard_error() < s2 / 5);
}

TEST_CASE("the default constants are stable in mean and variance, phi = 4.05 is not") {
    // |w| < 1, 0 < c1 + c2 < 4 (1 + w), c1 + c2 < 24 (1 - w^2) / (7 - 5 w), for c1 = c2 (Poli 2009;
    // Jiang et al. 2007; from memory, confirmed by the spectral radius of the moments' matrix).
    const auto mean_stable = [](double phi) {
        const double w = constriction(phi);
        return w < 1 && w * phi < 4 * (1 + w);
    };
    const auto variance_limit = [](double phi) {
        const double w = constriction(phi);
        return 24 * (1 - w * w) / (7 - 5 * w);
    };
    constexpr double printed = 1e-6;
    const double phi = Swarm{}.move.cognition + Swarm{}.move.social;
    CHECK(mean_stable(phi));
    CHECK_WITHIN(variance_limit(phi), 3.347241, printed);
    CHECK(constriction(phi) * phi < variance_limit(phi));
    CHECK(mean_stable(4.05));
    CHECK(constriction(4.05) * 4.05 > variance_limit(4.05));
}

TEST_CASE("a lone particle comes to rest at its best point") {
    // The second moment's spectral radius is 0.944222 (see above): over 400 moves it falls by
    // 1e-10, the distance by 1e-5.
    const Box<double> box({-1}, {1});
    const std::vector<double> start = {0};
    std::vector<double> ends;
    for (std::uint64_t seed = 0; seed < 99; ++seed) {
        double last = 1;
        const auto flat = [&](std::span<const double> x) {
            last = x[0];
            return 1.0;
        };
        static_cast<void>(
            minimise(flat, box, Swarm{.particles = 1, .iterations = 400}, seed, start));
        ends.push_back(std::abs(last));
    }
    std::sort(ends.begin(), ends.end());
    CHECK(ends[49] < 1e-5);
    CHECK(ends[98] < 1e-2);
}

TEST_CASE_TEMPLATE("all move, then all are evaluated, then all remember", S, Swarm, RingSwarm) {
    const S swarm{.particles = 20, .iterations = 5};
    const Track plain = course(swarm, never);
    CHECK(plain == course(swarm, never));
    std::size_t noticed = 0;
    for (const std::size_t particle : {0U, 7U, 19U}) {
        CAPTURE(particle);
        const Track other = course(swarm, 20 + particle);  // in iteration 1
        REQUIRE(other.size() == plain.size());
        // A value of iteration 1 moves nobody in iteration 1, not even those evaluated later.
        CHECK(std::equal(plain.begin(), plain.begin() + 40, other.begin()));
        noticed += std::equal(plain.begin() + 40, plain.begin() + 60, other.begin() + 40) ? 0 : 1;
    }
    // In iteration 2 it does, unless that point was the best of its neighbours' anyway.
    CHECK(noticed >= 2);
}

TEST_CASE("news spreads to all at once, or by one neighbour an iteration on the ring") {
    const std::size_t particles = 20;
    const auto changed = [&](const Track& a, const Track& b, std::size_t iteration) {
        std::vector<std::size_t> who;
        for (std::size_t i = 0; i < particles; ++i) {
            if (a[iteration * particles + i] != b[iteration * particles + i]) {
                who.push_back(i);
            }
        }
        return who;
    };
    // Particle 5 finds the best value ever among the start points, away from the others' best.
    const Swarm global{.particles = particles, .iterations = 3};
    const Track known = course(global, never);
    const Track news = course(global, 5);
    CHECK(changed(known, news, 0).empty());
    CHECK(changed(known, news, 1).size() >= particles - 1);
    const RingSwarm ring{.particles = particles, .iterations = 3};
    const Track ring_known = course(ring, never);
    const Track ring_news = course(ring, 5);
    CHECK(changed(ring_known, ring_news, 0).empty());
    for (const std::size_t i : changed(ring_known, ring_news, 1)) {
        CHECK(i >= 4);
        CHECK(i <= 6);
    }
    const std::vector<std::size_t> second = changed(ring_known, ring_news, 2);
    CHECK(!second.empty());
    for (const std::size_t i : second) {
        CHECK(i >= 3);
        CHECK(i <= 7);
    }
}

TEST_CASE(
    "each particle draws from its own stream, so more particles leave the first ones' start") {
    const Track few = course(Swarm{.particles = 5, .iterations = 0}, never);
    const Track many = course(Swarm{.particles = 50, .iterations = 0}, never);
    REQUIRE(few.size() == 5);
    REQUIRE(many.size() == 50);
    CHECK(std::equal(few.begin(), few.end(), many.begin()));
    RandomStream third(11, 3);
    CHECK(few[3][0] == third.uniform(-1.0, 1.0));
    for (std::size_t i = 0; i < many.size(); ++i) {
        CHECK(std::count(many.begin(), many.end(), many[i]) == 1);
    }
}
