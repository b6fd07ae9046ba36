#include "echosieve/correlate/bound.hpp"

#include <Eigen/Dense>
#include <cmath>
#include <limits>
#include <numbers>

#include "support/check.hpp"

using namespace echosieve;
using echosieve::test::epsilon;

namespace {

constexpr double sampling_rate = 125e6;
constexpr double printed = 5e-6;  // the tables give six figures
const Gabor<double> atom{8e-6, 4e6, 1e6};

using Matrix = Eigen::Matrix<double, 6, 6>;

// The Fisher matrix of (A, alpha, tau, f, phase, gamma) by sums over the samples, noise 1, written
// in microseconds so that its entries are of one size.
Matrix fisher(double amplitude, double alpha, double arrival, double f, double phase, double chirp,
              double rate) {
    Matrix sum = Matrix::Zero();
    const double pi = std::numbers::pi;
    for (double n = 0; n < 16 * rate; ++n) {
        const double u = n / rate - arrival;
        const double angle = 2 * pi * f * u + pi * chirp * u * u + phase;
        const double even = std::exp(-alpha * u * u) * std::cos(angle);
        const double odd = amplitude * std::exp(-alpha * u * u) * std::sin(angle);
        Eigen::Matrix<double, 6, 1> slope;
        slope << even, -u * u * amplitude * even,
            2 * alpha * u * amplitude * even + (2 * pi * f + 2 * pi * chirp * u) * odd,
            -2 * pi * u * odd, -odd, -pi * u * u * odd;
        sum += slope * slope.transpose();
    }
    return sum;
}

}  // namespace

// Values of the closed forms in the literature's units, printed to six figures; eta from the
// integral, not the sum.
TEST_CASE("the table of bounds, 0 to 40 dB of peak signal to noise") {
    struct Row {
        double decibels, eta, arrival_ns, phase_ns, frequency_khz, phase, amplitude, decay;
    };
    constexpr Row rows[] = {
        {0, 41.4466, 82.1872, 6.16299, 93.4453, 2.07142, .190240, .43934},
        {10, 414.466, 25.9899, 1.94891, 29.5500, .655041, .0601591, .138932},
        {20, 4144.66, 8.21872, .616299, 9.34453, .207142, .0190240, .0439340},
        {30, 41446.6, 2.59899, .194891, 2.95500, .0655041, .00601591, .0138932},
        {40, 414466, .821872, .0616299, .934453, .0207142, .00190240, .00439340},
    };
    for (const Row& row : rows) {
        const double eta =
            energy_to_noise(atom, std::pow(10.0, row.decibels / 20), 1, sampling_rate);
        CHECK_WITHIN_RELATIVE(eta, row.eta, printed);
        const EchoBound bound = echo_bound(atom, eta);
        CHECK_WITHIN_RELATIVE(bound.arrival * 1e9, row.arrival_ns, printed);
        CHECK_WITHIN_RELATIVE(bound.arrival_from_phase * 1e9, row.phase_ns, printed);
        CHECK_WITHIN_RELATIVE(bound.centre_frequency / 1e3, row.frequency_khz, printed);
        CHECK_WITHIN_RELATIVE(bound.phase, row.phase, printed);
        CHECK_WITHIN_RELATIVE(bound.relative_amplitude, row.amplitude, printed);
        CHECK_WITHIN_RELATIVE(2 * bound.relative_bandwidth, row.decay, 2e-5);
        CHECK(bound.chirp_rate == 0);
    }
}

TEST_CASE("what the phase is worth, in time and in displacement") {
    const double eta = energy_to_noise(atom, 10, 1, sampling_rate);
    const EchoBound bound = echo_bound(atom, eta);
    CHECK_WITHIN_RELATIVE(bound.arrival / bound.arrival_from_phase, 13.335612, 1e-7);
    CHECK_WITHIN_RELATIVE(displacement(bound.arrival, 1540), 6.32842e-6, printed);
    CHECK_WITHIN_RELATIVE(displacement(delay_bound(bound), 1540), .671115e-6, printed);
    CHECK_WITHIN_RELATIVE(displacement(std::numbers::sqrt2 * bound.arrival, 1540), 8.949732e-6,
                          printed);
    const double phase = phase_delay_deviation(4e6, eta);
    CHECK_WITHIN_RELATIVE(displacement(phase, 1540), .673010e-6, printed);
    CHECK_WITHIN_RELATIVE(2 * std::numbers::pi * 4e6 * phase, .021967, 5e-5);
    CHECK(phase > delay_bound(bound));
}

TEST_CASE("the closed forms are the inverse of the sampled Fisher matrix") {
    // 16 samples a period of 4 MHz: the sums are the integrals to far below this.
    constexpr double sums_are_integrals = 1e-7;
    for (double phase : {0.0, 0.9, 2.5}) {
        for (double chirp : {0.0, 0.7, -1.5}) {
            const double amplitude = 3;
            const ChirpedGabor<double> chirped{8e-6, 4e6, 1e6, chirp * 1e12};
            const double alpha = decay_from_bandwidth(1.0);
            const Matrix information = fisher(amplitude, alpha, 8, 4, phase, chirp, 125);
            const double eta = energy_to_noise(chirped, amplitude, 1, sampling_rate);
            const auto deviation = [](const auto& matrix, int k) {
                return std::sqrt(matrix.inverse()(k, k));
            };
            const EchoBound all = echo_bound(chirped, eta);
            CHECK_WITHIN_RELATIVE(all.relative_amplitude, deviation(information, 0) / amplitude,
                                  sums_are_integrals);
            CHECK_WITHIN_RELATIVE(2 * all.relative_bandwidth, deviation(information, 1) / alpha,
                                  sums_are_integrals);
            CHECK_WITHIN_RELATIVE(all.arrival * 1e6, deviation(information, 2), sums_are_integrals);
            CHECK_WITHIN_RELATIVE(all.centre_frequency / 1e6, deviation(information, 3),
                                  sums_are_integrals);
            CHECK_WITHIN_RELATIVE(all.phase, deviation(information, 4), sums_are_integrals);
            CHECK_WITHIN_RELATIVE(all.chirp_rate / 1e12, deviation(information, 5),
                                  sums_are_integrals);
            CHECK_WITHIN_RELATIVE(all.arrival_from_phase * 1e6, 1 / std::sqrt(information(2, 2)),
                                  sums_are_integrals);
            if (chirp == 0) {
                const Eigen::Matrix<double, 5, 5> five = information.topLeftCorner<5, 5>();
                const EchoBound plain = echo_bound(Gabor<double>{8e-6, 4e6, 1e6}, eta);
                CHECK_WITHIN_RELATIVE(plain.arrival * 1e6, deviation(five, 2), sums_are_integrals);
                CHECK_WITHIN_RELATIVE(plain.centre_frequency / 1e6, deviation(five, 3),
                                      sums_are_integrals);
                CHECK_WITHIN_RELATIVE(plain.phase, deviation(five, 4), sums_are_integrals);
                // Knowing the phase alone is as good as knowing all but the arrival.
                const Eigen::Matrix<double, 4, 4> four = five.topLeftCorner<4, 4>();
                CHECK_WITHIN_RELATIVE(plain.arrival_from_phase * 1e6, deviation(four, 2),
                                      sums_are_integrals);
            }
        }
    }
}

// f0 = 4 MHz, B = 0.25, T = 1 us; Walker and Trahey's equation evaluated and printed to 1e-4 ns.
TEST_CASE("the jitter between windows of speckle") {
    constexpr double correlations[] = {1, .999, .99, .95, .9};
    constexpr double infinity = std::numeric_limits<double>::infinity();
    struct Row {
        double decibels;
        double nanoseconds[5];
    };
    constexpr Row rows[] = {
        {0, {48.6046, 48.6695, 49.2582, 51.9875, 55.6891}},
        {10, {12.8596, 12.9336, 13.5910, 16.3801, 19.7199}},
        {20, {3.9785, 4.1758, 5.6691, 10.1297, 14.2918}},
        {30, {1.2553, 1.7766, 4.1948, 9.3177, 13.6624}},
        {40, {.3969, 1.3172, 4.0186, 9.2330, 13.5982}},
        {infinity, {0, 1.2559, 3.9986, 9.2235, 13.5910}},
    };
    constexpr double half_of_the_last_place = 5.1e-5;
    for (const Row& row : rows) {
        for (int k = 0; k < 5; ++k) {
            SpeckleJitter jitter{4e6, .25, 1e-6, correlations[k], std::pow(10, row.decibels / 20)};
            const double bound = jitter_bound(jitter);
            CHECK_WITHIN(bound * 1e9, row.nanoseconds[k], half_of_the_last_place);
            jitter.window *= 2;
            CHECK_WITHIN_RELATIVE(jitter_bound(jitter), bound / std::numbers::sqrt2,
                                  4 * epsilon<double>);
        }
    }
}

// The equation is [2 T integral (2 pi f)^2 C / (1 - C) df]^(-1/2) over the flat band.
TEST_CASE("the jitter is the integral that it comes from") {
    const SpeckleJitter jitter{5e6, .6, 1.5e-6, .97, 12};
    const double c = std::pow(.97 / (1 + 1 / 144.0), 2);
    double integral = 0;
    constexpr int steps = 20000;
    const double width = 5e6 * .6 / steps;
    for (int k = 0; k < steps; ++k) {
        const double f = 5e6 * (1 - .3) + (k + .5) * width;
        integral += std::pow(2 * std::numbers::pi * f, 2) * c / (1 - c) * width;
    }
    // The midpoint rule leaves (width / band)^2 / 12 and less.
    CHECK_WITHIN_RELATIVE(jitter_bound(jitter), 1 / std::sqrt(2 * 1.5e-6 * integral), 1e-8);
}

TEST_CASE("bounds refuse what has none") {
    constexpr double bad = std::numeric_limits<double>::quiet_NaN();
    for (double eta : {0.0, -1.0, bad, std::numeric_limits<double>::infinity()}) {
        CHECK_THROWS_AS(static_cast<void>(echo_bound(atom, eta)), InvalidInput);
        CHECK_THROWS_AS(static_cast<void>(phase_delay_deviation(4e6, eta)), InvalidInput);
    }
    CHECK_THROWS_AS(static_cast<void>(echo_bound(Gabor<float>{0, 4e6F, 0}, 10)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(energy_to_noise(atom, 1, 0, 125e6)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(energy_to_noise(atom, bad, 1, 125e6)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(energy_to_noise(atom, 1, 1, -125e6)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(phase_delay_deviation(0, 10)), InvalidInput);
    const SpeckleJitter good{4e6, .25, 1e-6, .99, 10};
    const auto refused = [&](auto change) {
        SpeckleJitter jitter = good;
        change(jitter);
        CHECK_THROWS_AS(static_cast<void>(jitter_bound(jitter)), InvalidInput);
    };
    refused([](SpeckleJitter& j) { j.centre_frequency = 0; });
    refused([](SpeckleJitter& j) { j.fractional_bandwidth = 2.1; });
    refused([](SpeckleJitter& j) { j.window = 0; });
    refused([](SpeckleJitter& j) { j.correlation = 0; });
    refused([](SpeckleJitter& j) { j.correlation = 1.01; });
    refused([](SpeckleJitter& j) { j.signal_to_noise = 0; });
    refused([](SpeckleJitter& j) { j.signal_to_noise = bad; });
}
