#include "echosieve/kernels/detail/echo_swarm.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <iterator>
#include <limits>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;
using Complex = std::complex<double>;

namespace {

// 10 % about 1 MHz and 4 MHz at 8.33 MHz, arrivals a little beyond both ends.
constexpr EchoSwarmBounds bounds{{-1, 44}, {-0.3, 0.3}, {0.204, 0.25}};
constexpr std::size_t count = 44;

std::vector<double> uneven_weights(std::size_t samples = count) {
    std::vector<double> out(samples, 0.9);
    out.front() = 0.3;
    out.back() = 0.55;
    out[1] = 1;
    return out;
}

struct Signal {
    std::vector<double> real, imag;
};

// Times the weights, as the swarm takes it.
void add_echo(Signal& signal, const std::vector<double>& weights, const EchoSwarmPoint& p,
              Complex amplitude) {
    for (std::size_t n = 0; n < weights.size(); ++n) {
        const double u = static_cast<double>(n) - p.arrival;
        const Complex g = std::exp(Complex(-p.root_decay * p.root_decay * u * u, p.rotation * u));
        signal.real[n] += weights[n] * (amplitude * g).real();
        signal.imag[n] += weights[n] * (amplitude * g).imag();
    }
}

Signal noise(std::size_t samples, std::uint64_t seed, double deviation) {
    RandomStream stream(seed);
    Signal out{std::vector<double>(samples), std::vector<double>(samples)};
    for (std::size_t n = 0; n < samples; ++n) {
        out.real[n] = deviation * stream.normal();
        out.imag[n] = deviation * stream.normal();
    }
    return out;
}

double energy(const Signal& signal) {
    double sum = 0;
    for (std::size_t n = 0; n < signal.real.size(); ++n) {
        sum += signal.real[n] * signal.real[n] + signal.imag[n] * signal.imag[n];
    }
    return sum;
}

// The definition, over all samples.
double slowly_explained(const Signal& signal, const std::vector<double>& weights,
                        const EchoSwarmPoint& p) {
    Complex sum = 0;
    double size = 0;
    for (std::size_t n = 0; n < weights.size(); ++n) {
        const double u = static_cast<double>(n) - p.arrival;
        const Complex g = std::exp(Complex(-p.root_decay * p.root_decay * u * u, p.rotation * u));
        sum += Complex(signal.real[n], signal.imag[n]) * std::conj(g);
        size += weights[n] * std::norm(g);
    }
    return std::norm(sum) / size;
}

EchoSwarmPoint random_point(RandomStream& stream, const EchoSwarmBounds& within) {
    const auto in = [&](const EchoSwarmBounds::Range& r) {
        return r.lower + (r.upper - r.lower) * stream.uniform();
    };
    EchoSwarmPoint out;
    out.arrival = in(within.arrival);
    out.rotation = in(within.rotation);
    out.root_decay = in(within.root_decay);
    return out;
}

bool inside(const EchoSwarmBounds::Range& r, double x) {
    return x >= r.lower && x <= r.upper;
}
bool same(const EchoSwarmPoint& a, const EchoSwarmPoint& b) {
    return a.arrival == b.arrival && a.rotation == b.rotation && a.root_decay == b.root_decay &&
           a.explained == b.explained;
}

std::vector<InstructionSet> available_sets() {
    std::vector<InstructionSet> out;
    std::ranges::copy_if(all_instruction_sets, std::back_inserter(out), available);
    return out;
}

}  // namespace

TEST_CASE("the energy explained is that of the sums written out, in every instruction set") {
    struct Case {
        std::size_t samples;
        EchoSwarmBounds within;
    };
    // A short gate; one longer than a walk can be, so that particles are walked for in parts; wide
    // bandwidths and every rotation there is; few samples, one.
    const std::array<Case, 5> cases{
        {{count, bounds},
         {300, {{-3, 302}, {-0.3, 0.3}, {0.2, 0.25}}},
         {64, {{-5, 68}, {-std::numbers::pi, std::numbers::pi}, {0.25, 1}}},
         {3, {{-1, 3}, {-0.5, 0.5}, {0.2, 0.3}}},
         {1, {{0, 0}, {-0.5, 0.5}, {0.2, 0.3}}}}};
    for (const Case& c : cases) {
        CAPTURE(c.samples);
        std::vector<double> weights(c.samples, 0.9);
        weights.front() = 0.4;
        weights.back() = 0.7;
        const Signal signal = noise(c.samples, 1, 1);
        // Atoms are cut at 3e-4 of their peak. Of noise, the cut part adds as much as an atom of
        // that size explains beside sqrt(energy explained): 2 sqrt(E) 3e-4 |r_n|.
        const double cut = 3e-3;
        for (const std::size_t particles : {1U, 3U, 16U, 50U, 57U}) {
            RandomStream stream(particles);
            std::vector<EchoSwarmPoint> points(particles);
            for (EchoSwarmPoint& p : points) {
                p = random_point(stream, c.within);
            }
            std::vector<double> first;
            for (const InstructionSet set : available_sets()) {
                EchoSwarm swarm(weights, c.within, {.particles = particles}, set);
                std::vector<double> out(particles, -1);
                swarm.explained(signal.real, signal.imag, points, out);
                for (std::size_t i = 0; i < particles; ++i) {
                    const double slow = slowly_explained(signal, weights, points[i]);
                    CHECK_WITHIN(out[i], slow, cut * std::sqrt(slow) + 2e-5 * slow);
                }
                first = first.empty() ? out : first;
                CHECK(out == first);
            }
        }
    }
}

TEST_CASE("rounding takes 2e-5 of an echo's energy at most, 4e-6 where particles are together") {
    const std::vector<double> weights(count, 0.9);
    RandomStream stream(3);
    const auto worst_within = [&](double spread) {
        double worst = 0;
        for (int trial = 0; trial < 300; ++trial) {
            const double middle = spread / 2 + (43 - spread) * stream.uniform();
            const EchoSwarmBounds near{
                {middle - spread / 2, middle + spread / 2}, bounds.rotation, bounds.root_decay};
            std::vector<EchoSwarmPoint> points(50);
            for (EchoSwarmPoint& p : points) {
                p = random_point(stream, near);
            }
            Signal signal{std::vector<double>(count), std::vector<double>(count)};
            add_echo(signal, weights, points[0], 1);
            EchoSwarm swarm(weights, near);
            std::vector<double> out(50);
            swarm.explained(signal.real, signal.imag, points, out);
            const double most = slowly_explained(signal, weights, points[0]);
            for (std::size_t i = 0; i < points.size(); ++i) {
                const double slow = slowly_explained(signal, weights, points[i]);
                worst = std::max(worst, std::abs(out[i] - slow) / most);
            }
        }
        return worst;
    };
    CHECK(worst_within(43) <= 2e-5);
    CHECK(worst_within(1) <= 4e-6);
}

TEST_CASE("a lone echo is found, its energy explained but for rounding") {
    const std::vector<double> weights = uneven_weights();
    RandomStream stream(2);
    for (int trial = 0; trial < 50; ++trial) {
        const EchoSwarmPoint truth = random_point(stream, bounds);
        Signal signal{std::vector<double>(count), std::vector<double>(count)};
        add_echo(signal, weights, truth, std::polar(1.0, 6 * stream.uniform()));
        EchoSwarm swarm(weights, bounds);
        swarm.seed(static_cast<std::uint64_t>(trial));
        const EchoSwarmPoint found = swarm.search(signal.real, signal.imag);
        const double most = slowly_explained(signal, weights, truth);
        CHECK(slowly_explained(signal, weights, found) >= (1 - 1e-5) * most);
        CHECK_WITHIN_RELATIVE(found.explained, most, 2e-5);
    }
}

TEST_CASE("among several echoes and noise the swarm finds what a fine grid finds") {
    const std::vector<double> weights = uneven_weights();
    int below = 0;
    for (std::uint64_t trial = 0; trial < 40; ++trial) {
        Signal signal = noise(count, 100 + trial, 0.1);
        RandomStream stream(trial);
        for (int k = 0; k < 6; ++k) {
            const EchoSwarmPoint place = random_point(stream, bounds);
            const double size = 0.3 + 0.7 * stream.uniform();
            add_echo(signal, weights, place, std::polar(size, 6.3 * stream.uniform()));
        }
        double most = 0;
        for (double nu = bounds.arrival.lower; nu <= bounds.arrival.upper; nu += 0.25) {
            for (double phi = -0.3; phi <= 0.3001; phi += 0.05) {
                for (const double root : {0.204, 0.219, 0.235, 0.25}) {
                    most = std::max(most, slowly_explained(signal, weights, {nu, phi, root, 0}));
                }
            }
        }
        EchoSwarm swarm(weights, bounds);
        swarm.seed(trial);
        const EchoSwarmPoint found = swarm.search(signal.real, signal.imag);
        below += slowly_explained(signal, weights, found) < most ? 1 : 0;
    }
    // The grid's best is below the optimum: a swarm in the right place is above it.
    CHECK(below == 0);
}

TEST_CASE("the same seed gives the same bits, in all instruction sets") {
    const std::vector<double> weights = uneven_weights();
    for (const std::size_t particles : {1U, 7U, 40U, 50U, 64U}) {
        // Few iterations: after many, all seeds end in the same place.
        const EchoSwarmOptions options{.particles = particles, .iterations = 8};
        EchoSwarm reference(weights, bounds, options, InstructionSet::baseline);
        for (const InstructionSet set : available_sets()) {
            EchoSwarm swarm(weights, bounds, options, set);
            CHECK(swarm.instruction_set() == set);
            for (std::uint64_t k = 0; k < 5; ++k) {
                Signal signal = noise(count, k, 0.3);
                // Inside the bounds: in a corner, all seeds would end.
                add_echo(signal, weights, {22.3, 0.1, 0.225, 0}, 3);
                reference.seed(k, 3);
                swarm.seed(k, 3);
                const EchoSwarmPoint expected = reference.search(signal.real, signal.imag);
                CHECK(same(swarm.search(signal.real, signal.imag), expected));
                // It goes on with other random numbers, and starts again with the seed.
                const EchoSwarmPoint next = swarm.search(signal.real, signal.imag);
                CHECK(!same(next, expected));
                swarm.seed(k, 3);
                CHECK(same(swarm.search(signal.real, signal.imag), expected));
                swarm.seed(k, 4);
                CHECK(!same(swarm.search(signal.real, signal.imag), expected));
            }
        }
    }
}

TEST_CASE("what a swarm finds lies within the bounds, also where they leave no room") {
    const std::vector<double> weights = uneven_weights();
    const std::array<EchoSwarmBounds, 5> boxes{{
        bounds,
        {{20, 20}, {-0.3, 0.3}, {0.21, 0.25}},
        {{0, 43}, {0.1, 0.1}, {0.23, 0.23}},
        {{7, 7}, {0, 0}, {0.22, 0.22}},
        {{-20, -19}, {-0.3, 0.3}, {0.204, 0.25}},  // nearly nothing of the atoms is inside
    }};
    for (const EchoSwarmBounds& box : boxes) {
        for (std::uint64_t trial = 0; trial < 10; ++trial) {
            const Signal signal = noise(count, trial, 1);
            EchoSwarm swarm(weights, box, {.iterations = 30});
            swarm.seed(trial);
            const EchoSwarmPoint found = swarm.search(signal.real, signal.imag);
            CHECK(inside(box.arrival, found.arrival));
            CHECK(inside(box.rotation, found.rotation));
            CHECK(inside(box.root_decay, found.root_decay));
            CHECK(found.explained >= 0);
            CHECK(found.explained <= (1 + 1e-5) * energy(signal) / 0.3);  // the least weight
        }
    }
}

TEST_CASE(
    "scaling the samples scales the energy, from 1e-150 to 1e150, and silence explains nothing") {
    const std::vector<double> weights = uneven_weights();
    const Signal signal = noise(count, 9, 1);
    EchoSwarm swarm(weights, bounds);
    const EchoSwarmPoint expected = swarm.search(signal.real, signal.imag);
    for (const double scale : {0x1p-498, 0x1p-20, 0x1p498}) {  // powers of two: the same digits
        Signal scaled = signal;
        for (std::size_t n = 0; n < count; ++n) {
            scaled.real[n] *= scale;
            scaled.imag[n] *= scale;
        }
        swarm.seed(0);
        const EchoSwarmPoint found = swarm.search(scaled.real, scaled.imag);
        CHECK(found.arrival == expected.arrival);
        CHECK(found.explained == scale * scale * expected.explained);
    }
    const std::vector<double> nothing(count, 0);
    const EchoSwarmPoint silent = swarm.search(nothing, nothing);
    CHECK(silent.explained == 0);
    CHECK(inside(bounds.arrival, silent.arrival));
}

TEST_CASE("samples, weights, bounds and options that can't be are refused") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double infinity = std::numeric_limits<double>::infinity();
    const std::vector<double> weights = uneven_weights();
    const Signal good = noise(count, 1, 1);
    EchoSwarm swarm(weights, bounds);
    for (const double bad : {nan, infinity, -infinity, 1e200}) {
        Signal signal = good;
        signal.imag[11] = bad;
        CHECK_THROWS_AS(static_cast<void>(swarm.search(signal.real, signal.imag)), InvalidInput);
    }
    const std::vector<double> shorter(count - 1, 1);
    CHECK_THROWS_AS(static_cast<void>(swarm.search(shorter, good.imag)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(swarm.search(good.real, shorter)), InvalidInput);
    std::vector<EchoSwarmPoint> points(51);
    std::vector<double> out(51);
    CHECK_THROWS_AS(swarm.explained(good.real, good.imag, points, out), InvalidInput);
    CHECK_THROWS_AS(swarm.explained(good.real, good.imag, {}, {}), InvalidInput);
    for (const EchoSwarmPoint& bad :
         {EchoSwarmPoint{nan, 0, 0.22, 0}, {20, nan, 0.22, 0}, {20, 0, nan, 0}}) {
        CHECK_THROWS_AS(
            swarm.explained(good.real, good.imag, std::span(&bad, 1), std::span(out).first(1)),
            InvalidInput);
    }
    CHECK_THROWS_AS(
        swarm.explained(good.real, good.imag, std::span(points).first(2), std::span(out).first(3)),
        InvalidInput);

    const auto refused = [&](const std::vector<double>& w, const EchoSwarmBounds& b,
                             const EchoSwarmOptions& o) {
        CHECK_THROWS_AS(EchoSwarm(w, b, o), InvalidInput);
    };
    refused({}, bounds, {});
    refused(std::vector<double>(EchoSwarm::most_samples + 1, 1), bounds, {});
    for (const double bad : {nan, infinity, -1e-3, 1.001}) {
        std::vector<double> w = weights;
        w[5] = bad;
        refused(w, bounds, {});
    }
    for (const EchoSwarmBounds::Range& bad :
         {EchoSwarmBounds::Range{2, 1}, {nan, 1}, {0, nan}, {-40, 1}, {0, 90}, {0, infinity}}) {
        refused(weights, {bad, bounds.rotation, bounds.root_decay}, {});
        refused(weights, {bounds.arrival, bad, {bounds.root_decay.upper, bounds.root_decay.lower}},
                {});
    }
    refused(weights, {bounds.arrival, {-4, 0}, bounds.root_decay}, {});
    for (const EchoSwarmBounds::Range& bad :
         {EchoSwarmBounds::Range{0, 0.2}, {0.005, 0.006}, {0.9, 1.1}, {0.1, 0.5}, {nan, 0.2}}) {
        refused(weights, {bounds.arrival, bounds.rotation, bad}, {});
    }
    refused(weights, bounds, {.particles = 0});
    refused(weights, bounds, {.particles = 1025});
    refused(weights, bounds, {.iterations = 0});
    for (const double bad : {nan, -0.1, 4.0}) {
        refused(weights, bounds, {.inertia = bad});
        refused(weights, bounds, {.own_pull = bad});
        refused(weights, bounds, {.best_pull = bad});
        refused(weights, bounds, {.local_part = bad});
    }
    CHECK_THROWS_AS(EchoSwarm(weights, bounds, {}, static_cast<InstructionSet>(9)), InvalidInput);
}
