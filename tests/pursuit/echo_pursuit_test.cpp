// Pursuits of echoes: synthetic echoes found again, alone, side by side, overlapping and in noise.
#include <algorithm>
#include <cmath>
#include <complex>
#include <limits>
#include <numeric>
#include <vector>

#include "echosieve/atoms/inner_product.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "support/check.hpp"
#include "support/pursuit.hpp"

using namespace echosieve;
using namespace echosieve::test;
using Complex = std::complex<double>;

namespace {

// Complex samples: baseband at 4 MHz; real ones: as recorded, at 125 MHz.
template <Sample T>
SamplingGrid grid_of(double duration) {
    return is_complex<T>
               ? SamplingGrid{20e-6, 4e6, static_cast<std::size_t>(duration * 4e6), 4e6}
               : SamplingGrid{20e-6, 125e6, static_cast<std::size_t>(duration * 125e6), 0};
}

template <Sample T>
std::vector<T> render(const std::vector<Echo<Gabor<double>>>& echoes, const SamplingGrid& grid,
                      double noise = 0, std::uint64_t seed = 0) {
    using Wide = std::conditional_t<is_complex<T>, Complex, double>;
    std::vector<Wide> sum(grid.count);
    for (const auto& echo : echoes) {
        add(echo, grid, std::span<Wide>(sum));
    }
    RandomStream stream(seed);
    std::vector<T> out;
    for (const Wide& x : sum) {
        out.push_back(static_cast<T>(noise > 0 ? x + noise * random_sample<Wide>(stream) : x));
    }
    return out;
}

// `count` echoes of random frequency, bandwidth and phase, `spacing` apart, loudest last.
std::vector<Echo<Gabor<double>>> make_echoes(int count, double spacing, std::uint64_t seed) {
    RandomStream stream(seed);
    std::vector<Echo<Gabor<double>>> out;
    for (int k = 0; k < count; ++k) {
        out.push_back({{22e-6 + k * spacing + stream.uniform(0.0, 50e-9),
                        stream.uniform(3.7e6, 4.3e6), stream.uniform(0.92e6, 1.08e6)},
                       std::polar(1 + 0.2 * k, stream.uniform(-3.0, 3.0))});
    }
    return out;
}

template <Real R>
void sort_by_arrival(std::vector<Echo<Gabor<R>>>& echoes) {
    std::ranges::sort(echoes, {}, [](const auto& echo) { return echo.atom.arrival; });
}

GaborBox box_for(const SamplingGrid& grid) {
    return GaborBox::around({4e6, 1e6}, 0.10, {grid.start_time, grid.end_time()});
}

// A pattern search, written for this test.
struct Halving {
    template <class F, class Watch>
    OptimiseResult<double> minimise(F& objective, const Box<double>& box, std::uint64_t,
                                    std::span<const double> start, Watch&) const {
        OptimiseResult<double> out;
        out.x.assign(start.begin(), start.end());
        out.value = objective(std::span<const double>(out.x));
        for (double step = 0.1; step > 1e-7; step /= 2) {
            for (int sweep = 0; sweep < 20; ++sweep) {
                for (std::size_t k = 0; k < out.x.size(); ++k) {
                    for (const double sign : {-1.0, 1.0}) {
                        auto trial = out.x;
                        trial[k] = std::clamp(trial[k] + sign * step, box.lower(k), box.upper(k));
                        const double value = objective(std::span<const double>(trial));
                        if (value < out.value) {
                            out.value = value;
                            out.x = trial;
                        }
                    }
                }
            }
        }
        out.status = OptimiseStatus::iteration_limit;
        return out;
    }
};

}  // namespace

TEST_CASE_TEMPLATE("echoes well apart are found again", T, float, double, std::complex<float>,
                   Complex) {
    using R = RealOf<T>;
    constexpr bool wide = std::same_as<R, double>;
    // The search ends when a step gains 1e-9 of the energy, quadratic in the errors; float samples
    // and a float arrival (1.8e-12 s at 40 us) add the rest.
    const double arrival_tolerance = wide ? 2e-12 : 2e-11;  // [s]
    const double frequency_tolerance = wide ? 40 : 200;     // [Hz]
    const double bandwidth_tolerance = wide ? 100 : 600;    // [Hz]
    const double amplitude_tolerance = wide ? 2e-4 : 1e-3;  // of some 1 to 3
    for (const int count : {1, 3, 10}) {
        const double spacing = 5e-6;  // 25 nepers down halfway: no overlap to speak of
        const auto truth = make_echoes(count, spacing, 3);
        const SamplingGrid grid = grid_of<T>(4e-6 + count * spacing);
        const auto samples = render<T>(truth, grid);
        auto result = pursue(Signal<T>{samples, grid}, box_for(grid),
                             Orthogonal{static_cast<std::size_t>(count)});
        CHECK(result.usable());
        REQUIRE(result.atoms.size() == static_cast<std::size_t>(count));
        CHECK(result.explained() > 1 - 1e-6);
        sort_by_arrival(result.atoms);
        for (std::size_t k = 0; k < result.atoms.size(); ++k) {
            const auto& found = result.atoms[k];
            const auto& echo = truth[k];
            CHECK_WITHIN(static_cast<double>(found.atom.arrival), echo.atom.arrival,
                         arrival_tolerance);
            CHECK_WITHIN(static_cast<double>(found.atom.centre_frequency),
                         echo.atom.centre_frequency, frequency_tolerance);
            CHECK_WITHIN(static_cast<double>(found.atom.bandwidth), echo.atom.bandwidth,
                         bandwidth_tolerance);
            CHECK_WITHIN(static_cast<Complex>(found.amplitude), echo.amplitude,
                         amplitude_tolerance);
        }
    }
}

TEST_CASE_TEMPLATE("an echo that the gate cuts is proposed", T, double, Complex) {
    const SamplingGrid grid = grid_of<T>(8e-6);
    const GaborBox box =
        GaborBox::around({4e6, 1e6}, 0.05, {grid.start_time - 2e-6, grid.end_time()});
    const Gabor<double> truth{grid.start_time - 0.23e-6, 4e6, 1e6};  // a ninth of it lies inside
    const auto samples = render<T>({{truth, {1, 0}}}, grid);
    const auto result = pursue(Signal<T>{samples, grid}, box, Orthogonal{1}, NoRefinement{});
    REQUIRE(result.atoms.size() == 1);
    constexpr double step = 0.15e-6;  // between the grid's arrivals, at least
    CHECK_WITHIN(result.atoms[0].atom.arrival, truth.arrival, step);
}

TEST_CASE_TEMPLATE("the echoes of the result add up to what the residual says", T, float, double,
                   std::complex<float>, Complex) {
    using R = RealOf<T>;
    const SamplingGrid grid = grid_of<T>(10e-6);
    const auto samples = render<T>(make_echoes(4, 1e-6, 9), grid, 0.05, 1);
    const auto check = [&](const auto& strategy) {
        EchoSource<T, GaussNewton> source(grid, box_for(grid), GaussNewton{}, 0);
        PursuitEngine<EchoSource<T, GaussNewton>> engine;
        EchoPursuit<R> result;
        engine.run(samples, source, strategy, Stop{}, result);
        std::vector<T> left = samples;
        for (const auto& echo : result.atoms) {
            add(echo, grid, std::span<T>(left), R{-1});
        }
        // Echoes of size 1 to 10 (opposed ones are larger than their sum), rounded once each.
        const double tolerance = 200 * epsilon<R>;
        for (std::size_t i = 0; i < left.size(); ++i) {
            CHECK_WITHIN(left[i], engine.residual()[i], tolerance);
        }
        CHECK(std::ranges::is_sorted(result.residual_energy, std::greater<>{}));
    };
    check(Orthogonal{6});
    check(Greedy{6});
}

TEST_CASE("energy balances after each greedy step of echoes, real and complex") {
    const auto check = [](auto sample) {
        using T = decltype(sample);
        const SamplingGrid grid = grid_of<T>(10e-6);
        auto left = render<T>(make_echoes(5, 0.8e-6, 4), grid, 0.05, 2);
        const auto result = pursue(Signal<T>{left, grid}, box_for(grid), Greedy{10});
        REQUIRE(result.atoms.size() == 10);
        double before = result.signal_energy;
        for (std::size_t n = 0; n < result.atoms.size(); ++n) {
            const auto& echo = result.atoms[n];
            std::vector<T> alone(grid.count);
            add(echo, grid, std::span<T>(alone));
            add(echo, grid, std::span<T>(left), -1.0);
            const auto energy = [](const std::vector<T>& x) {
                return std::accumulate(x.begin(), x.end(), 0.0,
                                       [](double sum, T v) { return sum + std::norm(v); });
            };
            const double tolerance = 1e-12 * result.signal_energy;  // sums of a thousand roundings
            CHECK_WITHIN(energy(alone) + energy(left), before, tolerance);
            CHECK_WITHIN(energy(left), result.residual_energy[n], tolerance);
            before = result.residual_energy[n];
        }
    };
    check(double{});
    check(Complex{});
}

TEST_CASE("a real signal and its baseband give the same echoes") {
    const auto truth = make_echoes(3, 2.2e-6, 21);
    const SamplingGrid raw = grid_of<double>(12e-6);
    const SamplingGrid base = grid_of<Complex>(12e-6);
    const auto real = render<double>(truth, raw);
    const auto complex = render<Complex>(truth, base);
    const GaborBox box = box_for(base);
    auto a = pursue(Signal<double>{real, raw}, box, Orthogonal{3});
    auto b = pursue(Signal<Complex>{complex, base}, box, Orthogonal{3});
    REQUIRE(a.atoms.size() == 3);
    REQUIRE(b.atoms.size() == 3);
    for (std::size_t k = 0; k < 3; ++k) {
        // The conjugate of a 4 MHz echo of 1 MHz is 1e-9 and less in its band; what remains is
        // where the two searches stop.
        CHECK_WITHIN(a.atoms[k].atom.arrival, b.atoms[k].atom.arrival, 1e-11);
        CHECK_WITHIN(a.atoms[k].amplitude, b.atoms[k].amplitude, 1e-3);
    }
}

TEST_CASE("overlapping echoes: orthogonal pursuit explains them, and more than greedy does") {
    int orthogonal_ahead = 0;
    const int runs = 20;
    for (std::uint64_t run = 0; run < runs; ++run) {
        const SamplingGrid grid = grid_of<Complex>(8e-6);
        const auto samples = render<Complex>(make_echoes(4, 0.5e-6, 50 + run), grid);
        const Signal<Complex> signal{samples, grid};
        const auto orthogonal = pursue(signal, box_for(grid), Orthogonal{8});
        const auto greedy = pursue(signal, box_for(grid), Greedy{8});
        INFO("left by orthogonal ", 1 - orthogonal.explained(), ", greedy ",
             1 - greedy.explained());
        CHECK(orthogonal.explained() > 0.98);
        orthogonal_ahead += orthogonal.explained() >= greedy.explained();
    }
    CHECK(orthogonal_ahead >= runs * 3 / 4);
}

// Standard deviation of the arrival of a single echo, all parameters unknown: Cramer and Rao's
// bound for complex noise of variance v, by the Fisher information of the sampled model.
TEST_CASE("in noise the arrival scatters as the Cramer-Rao bound says") {
    const SamplingGrid grid = grid_of<Complex>(8e-6);
    const Echo<Gabor<double>> truth{{24.03e-6, 4.02e6, 0.98e6}, {1, 0}};
    const double sigma = 0.02;
    const double alpha = decay(truth.atom);
    // Arrival, bandwidth and modulus separate from frequency and phase (parity and i): the arrival
    // against the real derivative 2 alpha u g alone. With phase known to the model, i omega g of
    // the arrival is taken by the free phase, and 2 alpha u by nothing else.
    const double energy = grid.sampling_rate * ::echosieve::energy(truth.atom);
    const double information = 2 / (sigma * sigma) * 4 * alpha * alpha * energy / (4 * alpha);
    const double bound = 1 / std::sqrt(information);
    double sum = 0;
    double square = 0;
    const int runs = 1000;
    for (int run = 0; run < runs; ++run) {
        const auto samples =
            render<Complex>({truth}, grid, sigma, static_cast<std::uint64_t>(1000 + run));
        const auto result =
            pursue(Signal<Complex>{samples, grid},
                   GaborBox::around({4e6, 1e6}, 0.25, {21e-6, 27e-6}), Orthogonal{1});
        REQUIRE(result.atoms.size() == 1);
        const double error = result.atoms[0].atom.arrival - truth.atom.arrival;
        sum += error;
        square += error * error;
    }
    const double deviation = std::sqrt(square / runs - sum * sum / runs / runs);
    INFO("deviation ", deviation, " s, bound ", bound, " s");
    // A deviation of 1000 runs is known to 2.2 %; four times that.
    CHECK_WITHIN_RELATIVE(deviation, bound, 0.09);
    CHECK(std::abs(sum / runs) < 4 * bound / std::sqrt(static_cast<double>(runs)));
}

TEST_CASE("a swarm or an optimiser of one's own refines as Gauss-Newton does") {
    static_assert(Optimiser<Halving, double>);
    const auto truth = make_echoes(2, 5e-6, 30);
    const SamplingGrid grid = grid_of<Complex>(14e-6);
    const auto samples = render<Complex>(truth, grid);
    const Signal<Complex> signal{samples, grid};
    const GaborBox box = box_for(grid);
    const auto check = [&](auto result, double tolerance) {
        REQUIRE(result.atoms.size() == 2);
        sort_by_arrival(result.atoms);
        for (std::size_t k = 0; k < 2; ++k) {
            CHECK_WITHIN(result.atoms[k].atom.arrival, truth[k].atom.arrival, tolerance);
        }
    };
    check(pursue(signal, box, Orthogonal{2}, Halving{}, 1), 1e-11);
    const Swarm swarm{.particles = 50, .iterations = 100};
    const auto first = pursue(signal, box, Orthogonal{2}, swarm, 1);
    check(first, 1e-9);
    CHECK(pursue(signal, box, Orthogonal{2}, swarm, 1).atoms == first.atoms);  // the same bits
    CHECK(pursue(signal, box, Orthogonal{2}, swarm, 2).atoms != first.atoms);
    // Unrefined: half a grid step, a quarter of a microsecond, is as near as it gets.
    check(pursue(signal, box, Orthogonal{2}, NoRefinement{}), 0.15e-6);
}

TEST_CASE("edges: no samples, one sample, silence, NaN, a gate elsewhere, no atoms") {
    const GaborBox box = GaborBox::around({4e6, 1e6}, 0.10, {20e-6, 30e-6});
    const auto run = [&](const std::vector<Complex>& samples, const GaborBox& where,
                         std::size_t atoms) {
        const SamplingGrid grid{20e-6, 4e6, samples.size(), 4e6};
        return pursue(Signal<Complex>{samples, grid}, where, Orthogonal{atoms});
    };
    CHECK(run({}, box, 10).status == PursuitStatus::silent);
    CHECK(run(std::vector<Complex>(40), box, 10).status == PursuitStatus::silent);
    const auto one = run({Complex{2, 1}}, box, 10);
    CHECK((one.status == PursuitStatus::exhausted || one.status == PursuitStatus::residual_small));
    CHECK(one.atoms.size() <= 1);
    const std::vector<Complex> flat(40, Complex{1, 0});
    const auto elsewhere = run(flat, GaborBox::around({4e6, 1e6}, 0.10, {80e-6, 90e-6}), 10);
    CHECK(elsewhere.status == PursuitStatus::exhausted);
    CHECK_FALSE(elsewhere.usable());
    CHECK(run(flat, box, 0).status == PursuitStatus::atom_count);
    // Fixed parameters: one shape at one place, taken once.
    const auto fixed = run(flat, GaborBox::around({4e6, 1e6}, 0, {25e-6, 25e-6}), 10);
    CHECK(fixed.atoms.size() == 1);
    CHECK(fixed.status == PursuitStatus::exhausted);
    const double nan = std::numeric_limits<double>::quiet_NaN();
    for (const Complex bad :
         {Complex{nan, 0}, Complex{0, std::numeric_limits<double>::infinity()}}) {
        auto samples = flat;
        samples[7] = bad;
        CHECK_THROWS_AS(run(samples, box, 10), InvalidInput);
    }
    // A real signal has no mixing frequency; sizes must agree; options are checked.
    const std::vector<double> real(40, 1.0);
    CHECK_THROWS_AS(
        static_cast<void>(pursue(Signal<double>{real, {20e-6, 25e6, 40, 4e6}}, box, Greedy{1})),
        InvalidInput);
    CHECK_THROWS_AS(
        static_cast<void>(pursue(Signal<double>{real, {20e-6, 25e6, 41, 0}}, box, Greedy{1})),
        InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(pursue(Signal<double>{real, {20e-6, 25e6, 40, 0}}, box,
                                             Greedy{1}, GaussNewton{.iterations = -3})),
                    InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(pursue(Signal<double>{real, {20e-6, 25e6, 40, 0}}, box,
                                             Greedy{1}, Swarm{.particles = 0})),
                    InvalidInput);
}

TEST_CASE_TEMPLATE("results scale with the signal, tiny or huge", R, float, double) {
    using T = std::complex<R>;
    const SamplingGrid grid = grid_of<T>(12e-6);
    const auto truth = make_echoes(3, 2.5e-6, 14);
    const auto unit = render<T>(truth, grid);
    const auto expected = pursue(Signal<T>{unit, grid}, box_for(grid), Orthogonal{3});
    // Powers of two change no bit, as long as squares of samples neither overflow nor underflow.
    const int exponent = std::same_as<R, float> ? 40 : 400;
    for (const R scale : {std::ldexp(R{1}, exponent), std::ldexp(R{1}, -exponent)}) {
        auto samples = unit;
        for (T& sample : samples) {
            sample *= scale;
        }
        const auto result = pursue(Signal<T>{samples, grid}, box_for(grid), Orthogonal{3});
        REQUIRE(result.atoms.size() == expected.atoms.size());
        for (std::size_t k = 0; k < result.atoms.size(); ++k) {
            CHECK(result.atoms[k].atom == expected.atoms[k].atom);
            CHECK_WITHIN(result.atoms[k].amplitude / scale, expected.atoms[k].amplitude,
                         4 * epsilon<R>);
        }
    }
}

// What is a source of atoms, a strategy, and what is not.
static_assert(AtomSource<MatrixDictionary<double>>);
static_assert(AtomSource<MatrixDictionary<std::complex<float>>>);
static_assert(AtomSource<EchoSource<double, GaussNewton>>);
static_assert(AtomSource<EchoSource<Complex, Swarm>>);
static_assert(!AtomSource<GaborBox>);
static_assert(!AtomSource<Eigen::MatrixXd>);
static_assert(PursuitStrategy<Greedy>);
static_assert(PursuitStrategy<Orthogonal>);
static_assert(!PursuitStrategy<Stop>);
static_assert(!PursuitStrategy<int>);
