// The moves and the bounds of swarms against their closed forms.
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numbers>
#include <span>
#include <string>
#include <vector>

#include "echosieve/core/random.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "optimise/mean.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace {

constexpr std::uint64_t draws = 40000;

template <Real R>
using Vector = std::array<R, 3>;

// One move of one particle.
template <Real R, class M>
Vector<R> moved(const M& move, Vector<R> velocity, const Vector<R>& own, const Vector<R>& informant,
                bool informs_itself, double progress, RandomStream& stream) {
    move.apply(ParticleView<R>{velocity, own, informant, informs_itself, progress}, stream);
    return velocity;
}

// An inertia move that writes down how much of the run is over.
struct WatchedInertia : InertiaMove {
    std::vector<double>* progress = nullptr;

    template <Real R>
    void apply(const ParticleView<R>& particle, RandomStream& stream) const {
        progress->push_back(particle.progress);
        InertiaMove::apply(particle, stream);
    }
};

template <class M>
std::string refusal(const M& made) {
    try {
        validate(made);
    } catch (const InvalidInput& error) {
        return error.what();
    }
    return "accepted";
}

}  // namespace

TEST_CASE("inertia falls evenly from its first to its last value") {
    constexpr double rounding = 1e-15;
    const Vector<double> v = {0.25, -1, 0};
    const Vector<double> none = {0, 0, 0};
    RandomStream stream(1);
    for (const double progress : {0.0, 0.25, 0.5, 1.0}) {
        const auto after = moved<double>(InertiaMove{}, v, none, none, false, progress, stream);
        const double w = 0.9 - 0.5 * progress;
        for (std::size_t k = 0; k < v.size(); ++k) {
            CHECK_WITHIN(after[k], w * v[k], rounding);
        }
    }
    const Box<double> box({-1, -1}, {1, 1});
    const auto flat = [](std::span<const double>) { return 1.0; };
    using Watched = ParticleSwarm<GlobalBest, AbsorbingBounds, WatchedInertia>;
    std::vector<double> progress;
    Watched swarm{.particles = 1, .iterations = 8};
    swarm.move.progress = &progress;
    static_cast<void>(minimise(flat, box, swarm, 1));
    CHECK(progress == std::vector<double>{0, 0.125, 0.25, 0.375, 0.5, 0.625, 0.75, 0.875});
    // By the limit that comes first: of 5 evaluations the start takes one.
    progress.clear();
    swarm.iterations = std::numeric_limits<std::size_t>::max();
    swarm.max_evaluations = 5;
    static_cast<void>(minimise(flat, box, swarm, 1));
    REQUIRE(progress.size() == 4);
    for (std::size_t t = 0; t < 4; ++t) {
        CHECK_WITHIN(progress[t], 0.2 * static_cast<double>(t + 1), rounding);
    }
}

TEST_CASE("the inertia move has its mean and variance, and draws of its own in each coordinate") {
    // v' = w v + c1 r1 p + c2 r2 l: mean w v + (c1 p + c2 l) / 2, variance (c1^2 p^2 + c2^2 l^2) /
    // 12.
    const InertiaMove move{.inertia = 0.8, .final_inertia = 0.6, .cognition = 1.5, .social = 2.5};
    const Vector<double> v = {0.5, -0.25, 0};
    const Vector<double> own = {0.1, 0, -0.3};
    const Vector<double> informant = {-0.2, 0.4, 0.1};
    std::array<Mean, 3> mean;
    std::array<Mean, 3> variance;
    Mean together;
    for (std::uint64_t seed = 0; seed < draws; ++seed) {
        RandomStream stream(seed);
        const auto after = moved<double>(move, v, own, informant, false, 0.5, stream);
        std::array<double, 3> off{};
        for (std::size_t k = 0; k < 3; ++k) {
            off[k] = after[k] - (0.7 * v[k] + 0.75 * own[k] + 1.25 * informant[k]);
            mean[k].add(off[k]);
            variance[k].add(off[k] * off[k]);
        }
        together.add(off[0] * off[2]);
    }
    for (std::size_t k = 0; k < 3; ++k) {
        CAPTURE(k);
        const double expected = (std::pow(1.5 * own[k], 2) + std::pow(2.5 * informant[k], 2)) / 12;
        CHECK_MEAN(mean[k], 0, 0.01 * std::sqrt(expected));
        CHECK_MEAN(variance[k], expected, 0.01 * expected);
    }
    CHECK_MEAN(together, 0, 0.01 * std::sqrt(variance[0].value() * variance[2].value()));
}

TEST_CASE("a lone particle under falling inertia has the moments of its course") {
    // As for the constricted move (swarm_course_test.cpp), with w that changes: y' = (1 + w - c1 r1
    // - c2 r2) y - w y_before, c1 = c2 = 2; l = w - 1, s^2 = 2 / 3.
    constexpr std::size_t steps = 6;
    const double s2 = 2.0 / 3;
    const Box<double> box({-1}, {1});
    const std::vector<double> start = {0};
    const InertiaSwarm swarm{.particles = 1, .iterations = steps, .initial_velocity = 1e-3};
    std::array<Mean, steps + 1> first;
    std::array<Mean, steps + 1> second;
    std::vector<double> y;
    const auto flat = [&](std::span<const double> x) {
        y.push_back(x[0]);
        return 1.0;
    };
    for (std::uint64_t seed = 0; seed < draws; ++seed) {
        y.clear();
        static_cast<void>(minimise(flat, box, swarm, seed, start));
        for (std::size_t t = 0; t <= steps; ++t) {
            first[t].add(y[t] / y[1]);
            second[t].add(y[t] * y[t] / (y[1] * y[1]));
        }
    }
    std::array<double, 2> mean = {1, 0};
    std::array<double, 3> moment = {1, 0, 0};
    for (std::size_t t = 2; t <= steps; ++t) {
        CAPTURE(t);
        const double w = 0.9 - 0.5 * static_cast<double>(t - 1) / steps;
        const double l = w - 1;
        mean = {l * mean[0] - w * mean[1], mean[0]};
        moment = {(l * l + s2) * moment[0] - 2 * w * l * moment[1] + w * w * moment[2],
                  l * moment[0] - w * moment[1], moment[0]};
        CHECK_MEAN(first[t], mean[0], 0.02 * std::sqrt(moment[0]));
        CHECK_MEAN(second[t], moment[0], 0.05 * moment[0]);
    }
}

TEST_CASE_TEMPLATE("the spherical move draws evenly over radius and direction about its centre", R,
                   double, float) {
    const SphericalMove move;
    constexpr double printed = 1e-6;
    // Clerc 2012 (from memory): w = 1 / (2 ln 2), c = 1 / 2 + ln 2.
    CHECK_WITHIN(move.inertia, 0.721348, printed);
    CHECK_WITHIN(move.acceleration, 1.193147, printed);
    const double c = 0.5 + std::numbers::ln2;
    const Vector<R> v = {R(0.5), R(-0.25), 0};
    const Vector<R> own = {R(0.1), R(0), R(-0.3)};
    const Vector<R> informant = {R(-0.2), R(0.4), R(0.1)};
    for (const bool itself : {true, false}) {
        CAPTURE(itself);
        std::array<double, 3> centre{};
        double reach = 0;
        for (std::size_t k = 0; k < 3; ++k) {
            const double p = static_cast<double>(own[k]);
            centre[k] = itself ? c * p / 2 : c * (p + static_cast<double>(informant[k])) / 3;
            reach += centre[k] * centre[k];
        }
        reach = std::sqrt(reach);
        Mean radius, square, below_quarter, fourth, aligned, outward;
        std::array<Mean, 3> direction;
        std::array<Mean, 3> place;
        std::array<Mean, 6> product;  // 00, 01, 02, 11, 12, 22
        double farthest = 0;
        for (std::uint64_t seed = 0; seed < draws; ++seed) {
            RandomStream stream(seed);
            const auto after = moved<R>(move, v, own, itself ? own : informant, itself, 0, stream);
            std::array<double, 3> off{};
            double length = 0;
            for (std::size_t k = 0; k < 3; ++k) {
                const double way =
                    static_cast<double>(after[k]) - move.inertia * static_cast<double>(v[k]);
                place[k].add(way);
                off[k] = way - centre[k];
                length += off[k] * off[k];
            }
            length = std::sqrt(length);
            const double r = length / reach;
            farthest = std::max(farthest, r);
            radius.add(r);
            square.add(r * r);
            below_quarter.add(r < 0.25 ? 1 : 0);
            std::size_t pair = 0;
            for (std::size_t k = 0; k < 3; ++k) {
                const double d = off[k] / length;
                direction[k].add(d);
                for (std::size_t j = k; j < 3; ++j) {
                    product[pair++].add(d * off[j] / length);
                }
            }
            fourth.add(std::pow(off[0] / length, 4));
            aligned.add((r - 0.5) * off[0] / length);
            outward.add((r - 0.5) * (std::pow(off[0] / length, 2) - 1.0 / 3));
        }
        // The radius is uniform between 0 and the way from the centre to the particle ...
        const double rounding = 4 * static_cast<double>(std::numeric_limits<R>::epsilon()) / reach;
        CHECK(farthest <= 1 + rounding);
        CHECK(farthest > 0.999);
        CHECK_MEAN(radius, 0.5, 0.002);
        CHECK_MEAN(square, 1.0 / 3, 0.002);
        CHECK_MEAN(below_quarter, 0.25, 0.003);
        // ... the direction isotropic: of a unit vector in three dimensions the components have
        // mean 0, products the mean 1 / 3 or 0, fourth powers 3 / (3 * 5); and radius and direction
        // are independent.
        std::size_t pair = 0;
        for (std::size_t k = 0; k < 3; ++k) {
            CAPTURE(k);
            CHECK_MEAN(place[k], centre[k], 0.003 * reach);
            CHECK_MEAN(direction[k], 0, 0.004);
            for (std::size_t j = k; j < 3; ++j) {
                CHECK_MEAN(product[pair], j == k ? 1.0 / 3 : 0.0, 0.002);
                ++pair;
            }
        }
        CHECK_MEAN(fourth, 0.2, 0.002);
        CHECK_MEAN(aligned, 0, 0.001);
        CHECK_MEAN(outward, 0, 0.001);
    }
}

TEST_CASE("a spherical move of no reach only drifts, and in one dimension goes either way") {
    const Vector<double> none = {0, 0, 0};
    const Vector<double> v = {0.5, -0.25, 1e-300};
    RandomStream stream(1);
    const SphericalMove move;
    const auto after = moved<double>(move, v, none, none, true, 0, stream);
    for (std::size_t k = 0; k < 3; ++k) {
        CHECK(after[k] == move.inertia * v[k]);
    }
    Mean up;
    for (std::uint64_t seed = 0; seed < draws; ++seed) {
        RandomStream own_stream(seed);
        std::array<double, 1> way = {0};
        const std::array<double, 1> own = {0.4};
        move.apply(ParticleView<double>{way, own, own, true, 0}, own_stream);
        const double centre = move.acceleration * 0.4 / 2;
        up.add(way[0] > centre ? 1 : 0);
        CHECK(std::abs(way[0] - centre) <= centre);
    }
    CHECK_MEAN(up, 0.5, 0.003);
}

TEST_CASE("bouncing bounds stop at the bound and turn back with a part of the velocity") {
    struct Row {
        double x, v, restitution, expected_x, expected_v;
    };
    constexpr double infinity = std::numeric_limits<double>::infinity();
    for (const Row& row :
         {Row{1.3, 1, 0.5, 1, -0.5}, Row{-0.4, -2, 0.5, 0, 1}, Row{1e300, 8, 0.25, 1, -2},
          Row{1.5, 3, 0, 1, 0}, Row{1.5, 3, 1, 1, -3}, Row{1, 3, 0.5, 1, 3}, Row{0, -3, 0.5, 0, -3},
          Row{0.5, 7, 0.5, 0.5, 7}, Row{infinity, infinity, 0.5, 1, 0},
          Row{std::nan(""), 1, 0.5, 0, -0.5}, Row{-infinity, std::nan(""), 0.5, 0, 0}}) {
        CAPTURE(row.x);
        double x = row.x;
        double v = row.v;
        BouncingBounds{row.restitution}.apply(x, v, 0.0, 1.0);
        CHECK(x == row.expected_x);
        CHECK(v == row.expected_v);
    }
}

TEST_CASE("moves and bounds whose constants make no sense are refused by name") {
    const double nan = std::nan("");
    CHECK(refusal(InertiaMove{}) == "accepted");
    CHECK(refusal(InertiaMove{.inertia = 1}) == "inertia = 1: must lie in [0, 1)");
    CHECK(refusal(InertiaMove{.inertia = nan}).starts_with("inertia = nan"));
    CHECK(refusal(InertiaMove{.final_inertia = -0.1}).starts_with("final_inertia = -0.1"));
    CHECK(refusal(InertiaMove{.cognition = -1}).starts_with("cognition = -1"));
    CHECK(refusal(InertiaMove{.social = nan}).starts_with("social = nan"));
    CHECK(refusal(SphericalMove{}) == "accepted");
    CHECK(refusal(SphericalMove{.inertia = 1.5}).starts_with("inertia = 1.5"));
    CHECK(refusal(SphericalMove{.acceleration = 0}) ==
          "acceleration = 0: must be positive and finite");
    CHECK(refusal(BouncingBounds{}) == "accepted");
    CHECK(refusal(BouncingBounds{nan}) == "restitution = nan: must lie in [0, 1]");
    StandardSwarm swarm;
    swarm.bounds.restitution = 1.5;
    CHECK(refusal(swarm) == "restitution = 1.5: must lie in [0, 1]");
}
