#include "echosieve/atoms/echo_limits.hpp"

#include <Eigen/Dense>
#include <cmath>
#include <complex>
#include <limits>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/correlate/bound.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr double printed = 5e-6;  // the tables give six figures or more
using Plain = Echo<Gabor<double>>;
using Chirped = Echo<ChirpedGabor<double>>;

SampledNoise at_decibels(double decibels) {
    return {.deviation = std::pow(10.0, -decibels / 20)};
}

std::vector<Plain> two(double separation, double phase = 0, double amplitude = 1) {
    // The phase of an echo is that at its own peak.
    return {{{8e-6, 4e6, 1e6}, {1, 0}},
            {{8e-6 + separation, 4e6, 1e6}, std::polar(amplitude, phase)}};
}

template <Atom A>
std::vector<EchoLimit> limits(const std::vector<Echo<A>>& echoes, const FreeParameters& free,
                              const SampledNoise& noise) {
    return echo_limits(std::span<const Echo<A>>(echoes), free, noise);
}

Chirped random_echo(RandomStream& stream) {
    return {{stream.uniform(5e-6, 7e-6), stream.uniform(1e6, 5e6), stream.uniform(0.6e6, 2e6),
             stream.uniform(-4e11, 4e11)},
            std::polar(stream.uniform(0.2, 2.0), stream.uniform(-3.0, 3.0))};
}

// An echo with one parameter moved; amplitude as its logarithm.
Chirped moved(Chirped echo, std::size_t parameter, double by) {
    if (parameter < 4) {
        atom_parameter(echo.atom, static_cast<Eigen::Index>(parameter)) += by;
    } else if (parameter == 4) {
        echo.amplitude *= std::exp(by);
    } else {
        echo.amplitude *= std::polar(1.0, by);
    }
    return echo;
}

}  // namespace

// Derived for this table and checked with numerical Fisher matrices; SNR of the peak 20 dB, 125
// MHz.
TEST_CASE("two overlapping echoes at 20 dB, all free, shape known, amplitude and arrival free") {
    struct Row {
        double separation, all_ns, shape_ns, amplitude_ns;
    };
    constexpr Row rows[] = {{0.3e-6, 472.670, 22.0372, 1.165290},
                            {0.5e-6, 326.171, 26.1147, .800582},
                            {1.0e-6, 19.57480, 10.0225, .624967},
                            {2.0e-6, 8.221992, 8.2192, .616299}};
    const SampledNoise noise = at_decibels(20);
    FreeParameters amplitude = shape_known;
    amplitude.phase = false;
    for (const Row& row : rows) {
        const auto echoes = two(row.separation);
        CHECK_WITHIN_RELATIVE(1e9 * limits(echoes, {}, noise)[0].arrival, row.all_ns, printed);
        CHECK_WITHIN_RELATIVE(1e9 * limits(echoes, shape_known, noise)[0].arrival, row.shape_ns,
                              printed);
        CHECK_WITHIN_RELATIVE(1e9 * limits(echoes, amplitude, noise)[0].arrival, row.amplitude_ns,
                              printed);
    }
}

TEST_CASE("the range over the relative phase, all free") {
    struct Row {
        double separation, least_ns, most_ns;
    };
    constexpr Row rows[] = {
        {0.3e-6, 426.15, 2555.6}, {0.5e-6, 86.57, 326.17}, {1.0e-6, 11.49, 19.57}};
    constexpr double steps =
        1e-2;  // the printed ranges come from fewer phases: they lie inside ours
    for (const Row& row : rows) {
        double least = std::numeric_limits<double>::infinity();
        double most = 0;
        for (int k = 0; k < 720; ++k) {
            const double phase = std::numbers::pi * k / 360;
            const double ns =
                1e9 * limits(two(row.separation, phase), {}, at_decibels(20))[0].arrival;
            least = std::min(least, ns);
            most = std::max(most, ns);
        }
        CHECK(least <= row.least_ns * (1 + 1e-3));
        CHECK(most >= row.most_ns * (1 - 1e-3));
        CHECK_WITHIN_RELATIVE(least, row.least_ns, steps);
        CHECK_WITHIN_RELATIVE(most, row.most_ns, steps);
    }
}

TEST_CASE("one echo alone has the closed bounds, plain and chirped") {
    const Plain plain{{8e-6, 4e6, 1e6}, std::polar(0.7, 0.4)};
    const SampledNoise noise = at_decibels(14);
    const double eta = energy_to_noise(plain.atom, 0.7, noise.deviation, noise.sampling_rate);
    const EchoBound bound = echo_bound(plain.atom, eta);
    const EchoLimit limit = limits<Gabor<double>>({plain}, {}, noise)[0];
    constexpr double rounding = 1e-9;  // the information's condition is 1e4, mirrored terms 1e-16
    CHECK_WITHIN_RELATIVE(limit.arrival, bound.arrival, rounding);
    CHECK_WITHIN_RELATIVE(limit.centre_frequency, bound.centre_frequency, rounding);
    CHECK_WITHIN_RELATIVE(limit.relative_bandwidth, bound.relative_bandwidth, rounding);
    CHECK_WITHIN_RELATIVE(limit.relative_amplitude, bound.relative_amplitude, rounding);
    CHECK_WITHIN_RELATIVE(limit.phase, bound.phase, rounding);
    CHECK(limit.chirp_rate == 0);
    CHECK(limit.resolvable);
    const Chirped chirped{{8e-6, 4e6, 1e6, 3e11}, std::polar(0.7, 0.4)};
    const EchoBound wide = echo_bound(chirped.atom, eta);
    const EchoLimit of = limits<ChirpedGabor<double>>({chirped}, {.chirp_rate = true}, noise)[0];
    CHECK_WITHIN_RELATIVE(of.arrival, wide.arrival, rounding);
    CHECK_WITHIN_RELATIVE(of.centre_frequency, wide.centre_frequency, rounding);
    CHECK_WITHIN_RELATIVE(of.chirp_rate, wide.chirp_rate, rounding);
    CHECK_WITHIN_RELATIVE(of.phase, wide.phase, rounding);
}

TEST_CASE("the information is the sum over samples of products of difference quotients") {
    RandomStream stream(5);
    const SamplingGrid grid{0, 125e6, 1600, 0};
    const FreeParameters free{.chirp_rate = true};
    const double steps[] = {1e-12, 10, 10, 1e6, 1e-6, 1e-6};
    constexpr double tolerance = 2e-6;  // of the diagonal: truncation and rounding of the quotients
    for (const bool complex_samples : {false, true}) {
        for (int trial = 0; trial < 5; ++trial) {
            std::vector<Chirped> echoes;
            for (int k = 0; k < 3; ++k) {
                echoes.push_back(random_echo(stream));
            }
            Eigen::MatrixXcd slopes(1600, 18);
            for (std::size_t k = 0; k < 18; ++k) {
                const double h = steps[k % 6];
                for (Eigen::Index i = 0; i < 1600; ++i) {
                    const double t = grid.time(static_cast<double>(i));
                    slopes(i, static_cast<Eigen::Index>(k)) =
                        (value(moved(echoes[k / 6], k % 6, h), t) -
                         value(moved(echoes[k / 6], k % 6, -h), t)) /
                        (2 * h);
                }
            }
            const double sigma = 0.3;
            const Eigen::MatrixXd expected =
                complex_samples
                    ? Eigen::MatrixXd((slopes.adjoint() * slopes).real() * 2 / (sigma * sigma))
                    : Eigen::MatrixXd(slopes.real().transpose() * slopes.real() / (sigma * sigma));
            const Eigen::MatrixXd computed =
                fisher_information(std::span<const Chirped>(echoes), free,
                                   {.deviation = sigma, .complex_samples = complex_samples});
            const Eigen::VectorXd scale = expected.diagonal().cwiseSqrt().cwiseInverse();
            CHECK((scale.asDiagonal() * (computed - expected) * scale.asDiagonal())
                      .cwiseAbs()
                      .maxCoeff() <= tolerance);
        }
    }
}

// Zeira and Schultheiss 1990 (ICASSP) state the same of delays; exact.
TEST_CASE("an echo's limits don't change with the other's amplitude") {
    const SampledNoise noise = at_decibels(20);
    for (const double separation : {0.4e-6, 0.8e-6}) {
        const EchoLimit alike = limits(two(separation, 0.3, 1), {}, noise)[0];
        for (const double amplitude : {0.01, 5.0, 300.0}) {
            const EchoLimit other = limits(two(separation, 0.3, amplitude), {}, noise)[0];
            CHECK_WITHIN_RELATIVE(other.arrival, alike.arrival, 1e-7);
            CHECK_WITHIN_RELATIVE(other.phase, alike.phase, 1e-7);
        }
    }
}

TEST_CASE("shapes shared over frames: the block elimination is the inverse of the whole") {
    RandomStream stream(8);
    const SampledNoise noise = at_decibels(25);
    std::vector<std::vector<Plain>> frames;
    for (int i = 0; i < 4; ++i) {
        auto frame = two(0.6e-6, stream.uniform(-3.0, 3.0), stream.uniform(0.5, 2.0));
        frame[1].atom.arrival += stream.uniform(-0.1e-6, 0.1e-6);
        frames.push_back(frame);
    }
    // The whole: arrival, amplitude, phase of 2 echoes in 4 frames, then 4 shape parameters.
    Eigen::MatrixXd whole = Eigen::MatrixXd::Zero(28, 28);
    for (std::size_t i = 0; i < 4; ++i) {
        const Eigen::MatrixXd f = fisher_information(std::span<const Plain>(frames[i]), {}, noise);
        std::vector<Eigen::Index> place;
        const auto own = static_cast<Eigen::Index>(6 * i);
        for (const Eigen::Index e : {0, 1}) {
            for (const Eigen::Index k :
                 {own + 3 * e, 24 + 2 * e, 25 + 2 * e, own + 3 * e + 1, own + 3 * e + 2}) {
                place.push_back(k);
            }
        }
        whole(place, place) += f;
    }
    const Eigen::VectorXd scale = whole.diagonal().cwiseSqrt().cwiseInverse();
    const Eigen::MatrixXd inverse =
        scale.asDiagonal() *
        Eigen::MatrixXd(scale.asDiagonal() * whole * scale.asDiagonal()).fullPivLu().inverse() *
        scale.asDiagonal();
    const auto shared = shared_shape_limits(std::span<const std::vector<Plain>>(frames), {}, noise);
    for (std::size_t i = 0; i < 4; ++i) {
        for (std::size_t e = 0; e < 2; ++e) {
            const auto row = static_cast<Eigen::Index>(6 * i + 3 * e);
            CHECK_WITHIN_RELATIVE(shared[i][e].arrival, std::sqrt(inverse(row, row)), 1e-6);
            const auto shape = static_cast<Eigen::Index>(24 + 2 * e);
            CHECK_WITHIN_RELATIVE(shared[i][e].centre_frequency, std::sqrt(inverse(shape, shape)),
                                  1e-6);
        }
    }
}

TEST_CASE("a shape shared over many frames is nearly a known one, and resolves what is hidden") {
    const SampledNoise noise = at_decibels(20);
    RandomStream stream(2);
    std::vector<std::vector<Plain>> frames;
    for (int i = 0; i < 100; ++i) {
        frames.push_back(two(0.5e-6, stream.uniform(-3.0, 3.0)));
    }
    const auto shared = shared_shape_limits(std::span<const std::vector<Plain>>(frames), {}, noise);
    double ratio = 0, hidden = 0;
    for (std::size_t i = 0; i < frames.size(); ++i) {
        const double known = limits(frames[i], shape_known, noise)[0].arrival;
        CHECK(shared[i][0].arrival >= known);
        ratio += shared[i][0].arrival / known / 100;
        hidden += limits(frames[i], {}, noise)[0].arrival / known / 100;
        CHECK(shared[i][0].resolvable);
    }
    CHECK(ratio < 1.2);
    CHECK(hidden > 5);
    // The same frames over and over tell no more of the shape than one: all phases alike.
    CHECK_FALSE(limits(two(0.5e-6), {}, noise)[0].resolvable);
}

TEST_CASE("an information that is singular to the pivot knows nothing, whatever its units") {
    // Pivots of a matrix of ones beside 1 - e: 1 and e (2 - e).
    const auto covariance = [](double e, const LimitOptions& options) {
        Eigen::MatrixXd information(2, 2);
        information << 1e12, (1 - e) * 1e-3, (1 - e) * 1e-3, 1e-18;
        return least_covariance(information, options);
    };
    const LimitOptions usual;
    for (const double e : {1e-13, 2e-12, 4e-12}) {  // rounding alone makes these no better than 0
        CAPTURE(e);
        CHECK((covariance(e, usual).array() == std::numeric_limits<double>::infinity()).all());
    }
    for (const double e : {1e-10, 1e-3}) {
        CAPTURE(e);
        const Eigen::MatrixXd known = covariance(e, usual);
        CHECK_WITHIN_RELATIVE(known(0, 0), 1e-12 / (e * (2 - e)), 1e-5);
        CHECK_WITHIN_RELATIVE(known(1, 1), 1e18 / (e * (2 - e)), 1e-5);
    }
    LimitOptions strict;
    strict.least_pivot = 0.01;
    CHECK((covariance(1e-3, strict).array() == std::numeric_limits<double>::infinity()).all());
    CHECK(covariance(0.1, strict).allFinite());
    // Two echoes 2 fs apart are one to double precision.
    CHECK(std::isinf(limits(two(2e-15), {}, at_decibels(20))[0].arrival));
    for (const double bad : {0.0, 1.0, -1e-3}) {
        strict.least_pivot = bad;
        CHECK_THROWS_AS((void)least_covariance(Eigen::MatrixXd::Identity(2, 2), strict),
                        InvalidInput);
    }
}

TEST_CASE("equal echoes, silence and nothing") {
    const SampledNoise noise = at_decibels(20);
    const auto equal = limits(two(0), {}, noise);
    CHECK(std::isinf(equal[0].arrival));
    CHECK_FALSE(equal[0].resolvable);
    const std::vector<Plain> silent = {{{8e-6, 4e6, 1e6}, {0, 0}}};
    CHECK(std::isinf(limits(silent, {}, noise)[0].arrival));
    CHECK(limits<Gabor<double>>({}, {}, noise).empty());
    CHECK(shared_shape_limits(std::span<const std::vector<Plain>>(), {}, noise).empty());
    // Nothing unknown: nothing to know.
    const FreeParameters none{false, false, false, false, false, false};
    CHECK(limits(two(0.5e-6), none, noise)[0].arrival == 0);
    const std::vector<std::vector<Plain>> uneven = {two(1e-6), silent};
    CHECK_THROWS_AS(
        (void)shared_shape_limits(std::span<const std::vector<Plain>>(uneven), {}, noise),
        InvalidInput);
    CHECK_THROWS_AS((void)limits(two(1e-6), {}, {.deviation = 0}), InvalidInput);
    CHECK_THROWS_AS((void)limits(two(1e-6), {}, {.sampling_rate = -1}), InvalidInput);
    CHECK_THROWS_AS((void)limits<Gabor<double>>({{{0, 4e6, 1e6}, {std::nan(""), 0}}}, {}, noise),
                    InvalidInput);
    CHECK_THROWS_AS((void)least_covariance(Eigen::MatrixXd::Zero(2, 3)), InvalidInput);
}
