// Who informs whom at random, against closed forms.
#include <algorithm>
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

using Links = std::vector<std::vector<bool>>;  // [who informs][whom]

std::vector<std::size_t> informants(const RandomInformants& topology,
                                    const std::vector<Merit<double>>& memories,
                                    const SwarmState& state) {
    std::vector<std::size_t> out(memories.size());
    topology.inform(std::span<const Merit<double>>(memories), std::span(out), state);
    return out;
}

// Whoever has the only good memory is followed by all that it informs.
Links links(const RandomInformants& topology, std::size_t count, const SwarmState& state) {
    Links out(count, std::vector<bool>(count, false));
    for (std::size_t j = 0; j < count; ++j) {
        std::vector<Merit<double>> memories(count, Merit<double>{1, 0});
        memories[j].value = 0;
        const std::vector<std::size_t> followed = informants(topology, memories, state);
        for (std::size_t i = 0; i < count; ++i) {
            out[j][i] = followed[i] == j;
        }
    }
    return out;
}

// Writes down the states that a swarm shows to its topology.
struct WatchedTopology : RandomInformants {
    std::vector<SwarmState>* states = nullptr;

    template <Real R>
    void inform(std::span<const Merit<R>> memories, std::span<std::size_t> followed,
                const SwarmState& state) const {
        states->push_back(state);
        RandomInformants::inform(memories, followed, state);
    }
};

}  // namespace

TEST_CASE("each particle informs itself and as many as it draws, with replacement") {
    // Of N particles K draws find another given one with probability p = 1 - (1 - 1 / N)^K. The
    // number of different ones among them has mean N p and variance N q + N (N - 1) (1 - 2 / N)^K -
    // N^2 q^2, q = 1 - p.
    constexpr std::size_t count = 12;
    constexpr double n = count;
    for (const std::size_t informed : {1U, 3U, 7U}) {
        CAPTURE(informed);
        const RandomInformants topology{informed};
        const double k = static_cast<double>(informed);
        const double q = std::pow(1 - 1 / n, k);
        Mean others;  // number that are informed besides oneself
        Mean given;   // whether particle 3 informs particle 7
        Mean square;  // of the number of different ones
        std::vector<Mean> targets(count);
        for (std::size_t failures = 0; failures < 3000; ++failures) {
            const Links made = links(topology, count, {.seed = 5, .failures = failures});
            for (std::size_t j = 0; j < count; ++j) {
                REQUIRE(made[j][j]);
                const auto number = static_cast<std::size_t>(std::ranges::count(made[j], true)) - 1;
                REQUIRE(number <= informed);
                others.add(static_cast<double>(number));
            }
            given.add(made[3][7] ? 1 : 0);
            for (std::size_t i = 1; i < count; ++i) {
                targets[i].add(made[0][i] ? 1 : 0);
            }
            // The number of different ones, oneself among them or not, cannot be seen; that of the
            // others has the second moment of N - 1 cells.
            square.add(std::pow(static_cast<double>(std::ranges::count(made[2], true)) - 1, 2));
        }
        CHECK_MEAN(others, (n - 1) * (1 - q), 0.02);
        CHECK_MEAN(given, 1 - q, 0.01);
        for (std::size_t i = 1; i < count; ++i) {
            CHECK_MEAN(targets[i], 1 - q, 0.01);
        }
        // E(number^2) = (N - 1) p + (N - 1)(N - 2) P(both of two given ones are found).
        const double both = 1 - 2 * q + std::pow(1 - 2 / n, k);
        CHECK_MEAN(square, (n - 1) * (1 - q) + (n - 1) * (n - 2) * both, 0.05 * k * k);
    }
    // Nobody informs anybody.
    const Links none = links(RandomInformants{0}, 5, {.seed = 1});
    for (std::size_t j = 0; j < 5; ++j) {
        CHECK(std::ranges::count(none[j], true) == 1);
        CHECK(none[j][j]);
    }
}

TEST_CASE("everybody follows the best of those that inform it") {
    constexpr std::size_t count = 15;
    RandomStream stream(2);
    for (std::size_t failures = 0; failures < 50; ++failures) {
        const SwarmState state{.seed = 9, .failures = failures};
        const RandomInformants topology;
        const Links made = links(topology, count, state);
        std::vector<Merit<double>> memories(count);
        for (Merit<double>& memory : memories) {
            memory = {stream.uniform(), stream.uniform() < 0.3 ? stream.uniform() : 0.0};
        }
        const std::vector<std::size_t> followed = informants(topology, memories, state);
        for (std::size_t i = 0; i < count; ++i) {
            REQUIRE(made[followed[i]][i]);
            for (std::size_t j = 0; j < count; ++j) {
                REQUIRE((!made[j][i] || !memories[j].better_than(memories[followed[i]])));
            }
        }
    }
}

TEST_CASE("on a ring everybody follows the best within reach, to either side") {
    constexpr std::size_t count = 9;
    RandomStream stream(4);
    for (const std::size_t reach : {0U, 1U, 3U, 4U, 20U}) {
        CAPTURE(reach);
        for (int trial = 0; trial < 20; ++trial) {
            std::vector<Merit<double>> memories(count);
            for (Merit<double>& memory : memories) {
                memory = {stream.uniform(), 0};
            }
            std::vector<std::size_t> followed(count);
            Ring{reach}.inform(std::span<const Merit<double>>(memories), std::span(followed), {});
            for (std::size_t i = 0; i < count; ++i) {
                std::size_t best = i;
                for (std::size_t j = 0; j < count; ++j) {
                    const std::size_t apart = i < j ? j - i : i - j;
                    if (std::min(apart, count - apart) <= reach &&
                        memories[j].better_than(memories[best])) {
                        best = j;
                    }
                }
                CHECK(followed[i] == best);
            }
        }
    }
}

TEST_CASE("links stay as they are until a failure, and are then drawn anew") {
    constexpr std::size_t count = 20;
    const RandomInformants topology;
    const auto at = [&](std::uint64_t seed, std::size_t failures) {
        return links(topology, count, {.seed = seed, .failures = failures});
    };
    CHECK(at(1, 4) == at(1, 4));
    CHECK(at(1, 4) != at(1, 5));
    CHECK(at(1, 4) != at(2, 4));
    // One draw knows nothing of the one before: both have a given link with probability p^2.
    const double p = 1 - std::pow(1 - 1.0 / count, 3);
    Mean both;
    Links before = at(3, 0);
    for (std::size_t failures = 1; failures < 2000; ++failures) {
        Links now = at(3, failures);
        for (std::size_t j = 0; j < count; j += 2) {  // of different particles, so independent
            both.add(before[j][j + 1] && now[j][j + 1] ? 1 : 0);
        }
        before = std::move(now);
    }
    CHECK_MEAN(both, p * p, 0.1 * p * p);
}

TEST_CASE("a swarm counts as failures the iterations that found no better point") {
    const Box<double> box({-1}, {1});
    constexpr std::size_t particles = 5;
    // By iteration, the start first: better, better, not, not, better, not, better, better.
    const std::vector<double> values = {9, 8, 8, 8.5, 7, 7, 6, 5};
    const std::vector<std::size_t> failures = {0, 0, 1, 2, 2, 3, 3};  // seen by iterations 1 to 7
    std::size_t calls = 0;
    const auto course = [&](std::span<const double>) { return values[calls++ / particles]; };
    std::vector<SwarmState> states;
    ParticleSwarm<WatchedTopology, BouncingBounds, SphericalMove> swarm{.particles = particles,
                                                                        .iterations = 7};
    swarm.topology.states = &states;
    static_cast<void>(minimise(course, box, swarm, 77));
    REQUIRE(states.size() == failures.size());
    for (std::size_t t = 0; t < states.size(); ++t) {
        CAPTURE(t);
        CHECK(states[t].seed == 77);
        CHECK(states[t].failures == failures[t]);
    }
}
