// The parts of the fast path, each against sums written out.
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <functional>
#include <numbers>
#include <optional>
#include <vector>

#include "echosieve/core/detail/lanes.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/pursuit/detail/lane_array.hpp"
#include "echosieve/pursuit/detail/lane_atom.hpp"
#include "echosieve/pursuit/detail/lane_basis.hpp"
#include "echosieve/pursuit/detail/lane_polish.hpp"
#include "echosieve/pursuit/detail/lane_scan.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;
using namespace echosieve::detail;
using Complex = std::complex<double>;

namespace {

constexpr std::size_t count = 44;
constexpr double pi = std::numbers::pi;

// 10 % about 1 MHz and 4 MHz at 8.33 MHz; arrivals beyond both ends.
constexpr GridBounds bounds{{-2, 46}, {-0.3, 0.3}, {0.042, 0.062}};

template <class R>
std::vector<R> uneven_factors() {
    std::vector<R> out(count, R{1});
    out[0] = R{0.25};
    out[1] = R{0.75};
    out[count - 1] = R{0.5};
    return out;
}

Complex atom_at(const LanePoint& p, double n) {
    const double u = n - p.arrival;
    return std::exp(Complex(-p.decay * u * u, p.rotation * u));
}

LanePoint random_point(RandomStream& stream) {
    const auto in = [&](const Interval& range) {
        return range.lower + range.width() * stream.uniform();
    };
    return {in(bounds.arrival), in(bounds.rotation), in(bounds.decay)};
}

template <class R>
LaneArray<R> random_array(const LaneGrid<R>& grid, RandomStream& stream) {
    LaneArray<R> out(grid.stored());
    for (std::size_t n = 0; n < count; ++n) {
        out.real()[n] = static_cast<R>(stream.normal());
        out.imag()[n] = static_cast<R>(stream.normal());
    }
    return out;
}

template <class R>
Complex at(const LaneArray<R>& array, std::size_t n) {
    return {array.real()[n], array.imag()[n]};
}

template <class R>
LaneMoments slow_moments(const LanePoint& p, const std::vector<R>& factors,
                         const LaneArray<R>& residual) {
    LaneMoments out;
    for (std::size_t n = 0; n < count; ++n) {
        const double u = static_cast<double>(n) - p.arrival;
        const Complex g = static_cast<double>(factors[n]) * atom_at(p, static_cast<double>(n));
        for (std::size_t k = 0; k < 5; ++k) {
            const double power = std::pow(u, static_cast<double>(k));
            out.m[k] += power * std::norm(g);
            if (k < 3) {
                out.c[k] += power * std::conj(g) * at(residual, n);
            }
        }
    }
    return out;
}

template <class R>
LaneMoments moments_of(const LaneGrid<R>& grid, const LanePoint& p, const LaneArray<R>& residual) {
    LaneArray<R> samples(grid.stored());
    return grid.moments(p, residual, samples);
}

// The atom's samples alone.
template <class R>
void write(const LaneGrid<R>& grid, const LanePoint& p, LaneArray<R>& out) {
    static_cast<void>(grid.moments(p, LaneArray<R>(grid.stored()), out));
}

}  // namespace

TEST_CASE_TEMPLATE("lanes hold neighbours, and add up", R, float, double) {
    std::array<R, Lanes<R>::size> numbers{};
    Lanes<R>::count().store(numbers.data());
    R sum = 0;
    for (std::size_t k = 0; k < numbers.size(); ++k) {
        CHECK(numbers[k] == static_cast<R>(k));
        sum += static_cast<R>(k);
    }
    CHECK(Lanes<R>::count().sum() == sum);
    CHECK(Lanes<R>::count().largest() == static_cast<R>(numbers.size() - 1));
    CHECK(Lanes<R>().sum() == 0);
    CHECK(multiply_add(Lanes<R>(2), Lanes<R>(3), Lanes<R>(1)).largest() == 7);
    CHECK_WITHIN_RELATIVE(exponential(Lanes<R>(R{-3})).largest(), std::exp(R{-3}), 4 * epsilon<R>);
    CHECK(whole_lanes<R>(0) == 0);
    CHECK(whole_lanes<R>(1) == Lanes<R>::size);
}

TEST_CASE_TEMPLATE("the exponential of lanes is the standard library's, and held beyond its range",
                   R, float, double) {
    constexpr R far = std::same_as<R, float> ? 87 : 708;
    constexpr int steps = 40'000;
    std::array<R, Lanes<R>::size> numbers{};
    for (int k = -steps; k <= steps; ++k) {
        const R x = far * (static_cast<R>(k) / steps);
        numbers.fill(x);
        exponential(Lanes<R>::load(numbers.data())).store(numbers.data());
        const auto exact = static_cast<double>(std::exp(static_cast<long double>(x)));
        // Two units in the last place, as lane_functions.hpp has it.
        REQUIRE(std::abs(static_cast<double>(numbers.back()) / exact - 1) <= 2 * epsilon<R>);
    }
    for (const R x : {R{-1}, R{1}}) {
        CHECK(exponential(Lanes<R>(2 * far * x)).largest() ==
              exponential(Lanes<R>(far * x)).largest());
    }
}

TEST_CASE_TEMPLATE("sums over arrays are those written out, whatever room there is about them", R,
                   float, double) {
    const LaneGrid<R> grid(std::vector<R>(count, R{1}));
    RandomStream stream(4);
    const LaneArray<R> x = random_array(grid, stream);
    LaneArray<R> y(grid.stored(), 3, 5);
    Complex product = 0;
    double size = 0;
    for (std::size_t n = 0; n < count; ++n) {
        y.real()[n] = static_cast<R>(stream.normal());
        y.imag()[n] = static_cast<R>(stream.normal());
        product += std::conj(at(x, n)) * at(y, n);
        size += std::norm(at(y, n));
    }
    const double tolerance = 2 * count * epsilon<R> * size;  // roundings of so many sums
    CHECK_WITHIN(static_cast<Complex>(dot(x, y)), product, tolerance);
    CHECK_WITHIN(energy(y), size, tolerance);
    const LaneArray<R> before(y);
    const Complex factor(0.5, -2);
    subtract(static_cast<std::complex<R>>(factor), x, y);
    scale(R{4}, y);
    for (std::size_t n = 0; n < count; ++n) {
        CHECK_WITHIN(at(y, n), 4.0 * (at(before, n) - factor * at(x, n)), 100 * epsilon<R>);
    }
}

TEST_CASE_TEMPLATE("the samples and sums of an atom are those written out", R, float, double) {
    const std::vector<R> factors = uneven_factors<R>();
    const LaneGrid<R> grid(factors);
    RandomStream stream(5);
    const LaneArray<R> residual = random_array(grid, stream);
    LaneArray<R> written(grid.stored());
    // Phasors by recurrence over 48 samples, and the tails that are cut: exp(-16) in float.
    const double tolerance = 100 * epsilon<R>;
    for (int trial = 0; trial < 200; ++trial) {
        const LanePoint p = random_point(stream);
        write(grid, p, written);
        for (std::size_t n = 0; n < grid.stored(); ++n) {
            const Complex expected =
                n < count ? static_cast<double>(factors[n]) * atom_at(p, static_cast<double>(n))
                          : Complex{};
            CHECK(std::abs(at(written, n) - expected) <= tolerance);
        }
        const LaneMoments fast = moments_of(grid, p, residual);
        const LaneMoments slow = slow_moments(p, factors, residual);
        for (std::size_t k = 0; k < 5; ++k) {
            // The pulse is some 4 samples long to each side.
            const double size = 20 * tolerance * std::pow(5.0, static_cast<double>(k));
            CHECK_WITHIN(fast.m[k], slow.m[k], size);
            if (k < 3) {
                CHECK_WITHIN(fast.c[k], slow.c[k], size);
            }
        }
    }
}

TEST_CASE("the step's slopes are those of the captured energy, and it stays within the bounds") {
    const std::vector<double> factors = uneven_factors<double>();
    const LaneGrid<double> grid(factors);
    RandomStream stream(6);
    for (int trial = 0; trial < 100; ++trial) {
        const LaneArray<double> residual = random_array(grid, stream);
        LanePoint p = random_point(stream);
        p.arrival = 4 + 0.8 * p.arrival;  // with enough samples to tell
        const auto captured = [&](const LanePoint& q) {
            return slow_moments(q, factors, residual).captured();
        };
        // A narrow box about p: the step goes to its corner uphill, and promises the slopes' gain.
        const double small = 1e-6;
        const auto around = [&](double x) { return Interval{x - small, x + small}; };
        const GridBounds narrow{around(p.arrival), around(p.rotation), around(p.decay)};
        const AtomStep step = bounded_newton(p, moments_of(grid, p, residual), narrow, 0);
        CHECK(narrow.clamped(step.to) == step.to);
        // Curvature over 1e-6, and the differences' rounding, of a captured energy of some 10.
        CHECK_WITHIN(step.gain, captured(step.to) - captured(p), 1e-8);
    }
}

TEST_CASE_TEMPLATE("polishing finds a lone atom from its neighbour in the dictionary", R, float,
                   double) {
    const LaneGrid<R> grid(std::vector<R>(count, R{1}));
    RandomStream stream(7);
    LaneScan<R> scan(grid, bounds);
    LaneArray<R> residual(grid.stored());
    for (int trial = 0; trial < 100; ++trial) {
        LanePoint truth = random_point(stream);
        truth.arrival = std::clamp(truth.arrival, 3.0, 40.0);
        write(grid, truth, residual);
        const std::optional<LanePoint> start = scan.best(grid, residual);
        REQUIRE(start.has_value());
        // The nearest arrival or, since another rotation and decay fit it, the next.
        CHECK(std::abs(start->arrival - truth.arrival) <= 1);
        if (std::abs(truth.rotation) > 0.1) {
            CHECK(start->rotation * truth.rotation > 0);
        }
        LaneArray<R> samples(grid.stored());
        LaneArray<R> trial_samples(samples);
        const Polished found = polish<R>(bounds.clamped(*start), grid, {bounds, 19},
                                         {residual, samples, trial_samples});
        // Where the energy is flat to rounding: the square root of it.
        const double tolerance = 10 * std::sqrt(epsilon<R>);
        CHECK_WITHIN(found.point.arrival, truth.arrival, tolerance);
        CHECK_WITHIN(found.point.rotation, truth.rotation, tolerance);
        CHECK_WITHIN(found.point.decay, truth.decay, tolerance);
    }
}

TEST_CASE("polishing never loses energy, nor leaves the bounds") {
    const LaneGrid<double> grid(std::vector<double>(count, 1));
    RandomStream stream(8);
    for (int trial = 0; trial < 200; ++trial) {
        const LaneArray<double> residual = random_array(grid, stream);
        const LanePoint start = random_point(stream);
        LaneArray<double> samples(grid.stored());
        LaneArray<double> trial_samples(samples);
        const Polished found =
            polish<double>(start, grid, {bounds, 7}, {residual, samples, trial_samples});
        // Seven steps, each within rounding of the one before.
        const double before = moments_of(grid, start, residual).captured();
        CHECK(found.sums.captured() >= (1 - 112 * epsilon<double>)*before);
        CHECK(bounds.clamped(found.point) == found.point);
    }
}

TEST_CASE("the scan's pick captures what the best atom of its grid does") {
    const std::vector<double> factors = uneven_factors<double>();
    const LaneGrid<double> grid(factors);
    LaneScan<double> scan(grid, bounds);
    CHECK(scan.atoms() == 96);  // 48 arrivals, two rotations
    const double decay = std::sqrt(bounds.decay.lower * bounds.decay.upper);
    RandomStream stream(9);
    for (int trial = 0; trial < 100; ++trial) {
        const LaneArray<double> residual = random_array(grid, stream);
        double most = 0;
        for (int k = 0; k < 48; ++k) {
            for (const double rotation : {-0.15, 0.15}) {
                const LanePoint p{-1.5 + k, rotation, decay};
                const LaneMoments sums = slow_moments(p, factors, residual);
                if (sums.m[0] > 0.05 * std::sqrt(pi / (2 * decay))) {
                    most = std::max(most, sums.captured());
                }
            }
        }
        const std::optional<LanePoint> best = scan.best(grid, residual);
        REQUIRE(best.has_value());
        // The taps end at 2 % of the peak.
        CHECK(slow_moments(*best, factors, residual).captured() >= 0.9 * most);
    }
    const LaneArray<double> nothing(grid.stored());
    CHECK(!scan.best(grid, nothing).has_value());
    LaneScan<double> outside(grid, {{500, 600}, {-0.3, 0.3}, {0.042, 0.062}});
    CHECK(outside.atoms() == 0);
    CHECK(!outside.best(grid, random_array(grid, stream)).has_value());
}

TEST_CASE_TEMPLATE("amplitudes of all atoms together are those that the signal was made of", R,
                   float, double) {
    const LaneGrid<R> grid(std::vector<R>(count, R{1}));
    const std::array<LanePoint, 3> points{{{12, 0.1, 0.05}, {15.5, -0.1, 0.05}, {17, 0.05, 0.045}}};
    const std::array<Complex, 3> amplitudes{{{1, 0.5}, {-0.7, 0.2}, {0.3, -0.4}}};
    LaneBasis<R> basis(grid.stored(), 3);
    LaneArray<R> atom(grid.stored());
    LaneArray<R> residual(grid.stored());
    for (std::size_t k = 0; k < 3; ++k) {
        write(grid, points[k], atom);
        subtract(-static_cast<std::complex<R>>(amplitudes[k]), atom, residual);
    }
    const R whole = energy(residual);
    R left = whole;
    basis.start(residual);
    for (std::size_t k = 0; k < 3; ++k) {
        write(grid, points[k], atom);
        REQUIRE(basis.admit(atom).has_value());
        left = basis.take();
    }
    // Neighbours with correlations of 0.9 lose a digit or two.
    CHECK(left <= 1000 * epsilon<R> * epsilon<R> * whole);
    basis.solve();
    for (std::size_t k = 0; k < 3; ++k) {
        CHECK_WITHIN(basis.coefficient(k), amplitudes[k], 200 * epsilon<R>);
    }
    LaneBasis<R> twice(grid.stored(), 2);
    twice.start(residual);
    REQUIRE(twice.admit(atom).has_value());
    twice.take();
    CHECK(!twice.admit(atom).has_value());
}

TEST_CASE_TEMPLATE("what is left is orthogonal to atoms that are nearly the same", R, float,
                   double) {
    // Made orthogonal once, the second would keep a 20,000th of the first.
    const R apart = R{2e4} * epsilon<R>;
    const LaneGrid<R> grid(uneven_factors<R>());
    RandomStream stream(41);
    for (int trial = 0; trial < 10; ++trial) {
        CAPTURE(trial);
        const LaneArray<R> first = random_array(grid, stream);
        LaneArray<R> second = random_array(grid, stream);
        LaneArray<R> residual = random_array(grid, stream);
        for (std::size_t n = 0; n < count; ++n) {
            second.real()[n] = first.real()[n] + apart * second.real()[n];
            second.imag()[n] = first.imag()[n] + apart * second.imag()[n];
        }
        const R size = std::sqrt(energy(first) * energy(residual));
        LaneBasis<R> basis(grid.stored(), 2);
        basis.start(residual);
        for (const LaneArray<R>& atom : {std::cref(first), std::cref(second)}) {
            REQUIRE(basis.admit(atom).has_value());
            basis.take();
        }
        CHECK(std::abs(dot(first, basis.residual())) <= 20 * epsilon<R> * size);
    }
}
