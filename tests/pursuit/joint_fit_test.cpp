// Joint fits against SciPy's, against the truth, and against the bound in noise.
#include "echosieve/pursuit/joint_fit.hpp"

#include <cmath>
#include <complex>
#include <limits>
#include <string>

#include "pursuit/reference/scipy_joint_fit.hpp"
#include "support/check.hpp"
#include "support/echoes.hpp"

using namespace echosieve;
using namespace echosieve::test;
using Complex = std::complex<double>;
using Plain = Gabor<double>;
using Chirped = ChirpedGabor<double>;

namespace {

const SamplingGrid raw{20e-6, 125e6, 650, 0};
const SamplingGrid base{20e-6, 8e6, 60, 4e6};

std::vector<Plain> plain_atoms() {
    return {{22.1e-6, 4e6, 1e6}, {23.2e-6, 3.9e6, 1.05e6}};
}
std::vector<GaborBox> plain_boxes() {
    return {{{21e-6, 23e-6}, {3.5e6, 4.5e6}, {0.7e6, 1.4e6}},
            {{22e-6, 24e-6}, {3.5e6, 4.5e6}, {0.7e6, 1.4e6}}};
}
std::vector<double> plain_signal(double noise, std::uint64_t seed) {
    RandomStream stream(seed);
    const std::vector<Echo<Plain>> echoes{{plain_atoms()[0], {0.9, -0.4}},
                                          {plain_atoms()[1], {-0.3, 0.6}}};
    return noisy_echoes<double>(echoes, raw, noise, stream);
}

// One of the fits by SciPy, in the library's units.
template <FittedAtom A>
void compare_with_scipy(int number) {
    CAPTURE(number);
    std::vector<A> start;
    std::vector<AtomBox<A>> boxes;
    std::vector<FitEchoRow> expected;
    for (const FitEchoRow& row : joint_fit_echoes) {
        if (static_cast<int>(row.fit) != number) {
            continue;
        }
        A atom;
        atom.arrival = row.start_arrival * 1e-6;
        atom.centre_frequency = row.start_frequency * 1e6;
        atom.bandwidth = row.start_bandwidth * 1e6;
        start.push_back(atom);
        boxes.push_back(box_about(atom, row.reach_arrival * 1e-6, row.reach_frequency * 1e6,
                                  row.reach_bandwidth * 1e6, row.reach_chirp * 1e12));
        expected.push_back(row);
    }
    std::vector<double> values;
    for (const FitSampleRow& row : joint_fit_samples) {
        if (static_cast<int>(row.fit) == number) {
            values.insert(values.end(), {row.a, row.b, row.c, row.d, row.e});
        }
    }
    const FitRow& fit = joint_fits[number];
    const SamplingGrid grid{20e-6, 40e6, 200, fit.mixing * 1e6};
    const FitOptions options{.iterations = 200, .step_tolerance = 1e-11, .gain_tolerance = 0};
    JointFit<A> found;
    if (fit.complex_samples > 0) {
        std::vector<Complex> samples;
        for (std::size_t i = 0; i < grid.count; ++i) {
            samples.emplace_back(values[i], values[grid.count + i]);
        }
        found = fit_echoes(samples, grid, start, boxes, options);
    } else {
        found = fit_echoes(values, grid, start, boxes, options);
    }
    CHECK(converged(found.status));
    CHECK_WITHIN_RELATIVE(found.residual_energy, fit.residual_energy, 1e-12);
    const double tolerance = 1e-7;  // where SciPy's search and ours end, in parts of a unit
    for (std::size_t k = 0; k < expected.size(); ++k) {
        const A& atom = found.echoes[k].atom;
        CHECK_WITHIN(atom.arrival * 1e6, expected[k].arrival, tolerance);
        CHECK_WITHIN(atom.centre_frequency * 1e-6, expected[k].frequency, tolerance);
        CHECK_WITHIN(atom.bandwidth * 1e-6, expected[k].bandwidth, tolerance);
        CHECK_WITHIN(static_cast<double>(atom.chirp_rate) * 1e-12, expected[k].chirp, tolerance);
        CHECK_WITHIN(found.echoes[k].amplitude, Complex(expected[k].re, expected[k].im),
                     20 * tolerance);  // the phase at the arrival: 2 pi f
        CHECK(boxes[k].contains(atom));
    }
}

}  // namespace

TEST_CASE("joint fits end where SciPy's least_squares ends") {
    compare_with_scipy<Plain>(0);
    compare_with_scipy<Plain>(1);
    compare_with_scipy<Plain>(2);  // one frequency ends on its bound
    compare_with_scipy<Chirped>(3);
}

TEST_CASE_TEMPLATE("without noise the fit finds the truth", T, float, double, std::complex<float>,
                   Complex) {
    const SamplingGrid& grid = is_complex<T> ? base : raw;
    const bool narrow = std::same_as<RealOf<T>, float>;
    const double tolerance =
        narrow ? 1e-5 : 1e-9;  // of a parameter's unit: rounding of the samples
    const auto check = [&](const auto& truth, const auto& start, const auto& boxes) {
        RandomStream stream(1);
        const auto samples = noisy_echoes<T>(truth, grid, 0, stream);
        const auto fit = fit_echoes(samples, grid, start, boxes);
        CHECK(converged(fit.status));
        for (std::size_t k = 0; k < truth.size(); ++k) {
            const auto& atom = truth[k].atom;
            for (Eigen::Index j = 0; j < fit.covariance.parameters - 2; ++j) {
                CHECK_WITHIN(atom_parameter(fit.echoes[k].atom, j), atom_parameter(atom, j),
                             tolerance * parameter_unit(atom, j));
            }
            CHECK_WITHIN(fit.echoes[k].amplitude, truth[k].amplitude, 20 * tolerance);
            CHECK(fit.resolvable[k]);
        }
    };
    const std::vector<Echo<Plain>> plain{{{22.05e-6, 4.1e6, 1.1e6}, {1, 0.3}},
                                         {{23.25e-6, 3.95e6, 0.95e6}, {-0.2, 0.7}}};
    check(plain, plain_atoms(), plain_boxes());
    const std::vector<Echo<Chirped>> bent{{{22.05e-6, 4.1e6, 1.1e6, 3e11}, {1, 0.3}},
                                          {{23.35e-6, 3.95e6, 0.95e6, -2e11}, {-0.2, 0.7}}};
    std::vector<Chirped> start;
    std::vector<ChirpedGaborBox> boxes;
    for (const Plain& atom : plain_atoms()) {
        start.push_back({atom.arrival, atom.centre_frequency, atom.bandwidth, 0});
        boxes.push_back(box_about(start.back(), 5e-7, 5e5, 3e5, 1e12));
    }
    check(bent, start, boxes);
}

// Shapes known, 30 dB: the error over the bound at the truth.
TEST_CASE("in noise two echoes of known shape reach the bound") {
    const SamplingGrid grid{20e-6, 125e6, 1000, 0};
    const int runs = 300;
    const double noise = std::pow(10.0, -1.5);
    const double three_errors = 3 / std::sqrt(2.0 * runs);  // of an rms of so many
    for (const double separation : {0.5e-6, 1e-6, 2e-6}) {
        CAPTURE(separation);
        const std::vector<Echo<Plain>> truth{{{23e-6, 4e6, 1e6}, 1},
                                             {{23e-6 + separation, 4e6, 1e6}, 1}};
        std::vector<Plain> start;
        std::vector<GaborBox> boxes;
        for (const Echo<Plain>& echo : truth) {
            start.push_back(echo.atom);
            start.back().arrival += start.size() % 2 ? 4e-8 : -3e-8;
            boxes.push_back(box_about(echo.atom, 2e-7, 0, 0));
        }
        const double bound = echo_covariance<double>(truth, grid, boxes, noise * noise).arrival(0);
        double squares = 0;
        double normal = 0;
        double variance = 0;
        for (int run = 0; run < runs; ++run) {
            RandomStream stream(11, static_cast<std::uint64_t>(run));
            const auto fit =
                fit_echoes(noisy_echoes<double>(truth, grid, noise, stream), grid, start, boxes);
            REQUIRE(converged(fit.status));
            const double error = fit.echoes[0].atom.arrival - truth[0].atom.arrival;
            squares += error * error;
            normal += error * error / std::pow(fit.covariance.arrival(0), 2);
            variance += fit.noise_variance;
        }
        CHECK_WITHIN(std::sqrt(squares / runs) / bound, 1.0, three_errors);
        CHECK_WITHIN(std::sqrt(normal / runs), 1.0, three_errors);  // what each fit says of itself
        CHECK_WITHIN(variance / runs / (noise * noise), 1.0, 3 * std::sqrt(2.0 / 994 / runs));
    }
}

// The same with all free, where the bound lets the echoes be told apart; complex samples.
TEST_CASE("in noise two free echoes of a baseband signal reach the bound") {
    const int runs = 400;
    const double noise = 0.01;
    const std::vector<Echo<Chirped>> truth{{{22.5e-6, 4e6, 1e6, 2e11}, 1},
                                           {{24.2e-6, 4.1e6, 1.1e6, -1e11}, Complex(0, 1)}};
    std::vector<Chirped> start;
    std::vector<ChirpedGaborBox> boxes;
    for (const auto& echo : truth) {
        start.push_back({echo.atom.arrival + 5e-8, 4.05e6, 1.05e6, 0});
        boxes.push_back(box_about(echo.atom, 4e-7, 4e5, 4e5, 1e12));
    }
    const auto bound = echo_covariance<Complex>(truth, base, boxes, noise * noise);
    Eigen::VectorXd squares = Eigen::VectorXd::Zero(8);
    for (int run = 0; run < runs; ++run) {
        RandomStream stream(12, static_cast<std::uint64_t>(run));
        const auto fit =
            fit_echoes(noisy_echoes<Complex>(truth, base, noise, stream), base, start, boxes);
        REQUIRE(converged(fit.status));
        for (Eigen::Index i = 0; i < 8; ++i) {
            const auto k = static_cast<std::size_t>(i / 4);
            squares[i] += std::pow(
                (atom_parameter(fit.echoes[k].atom, i % 4) - atom_parameter(truth[k].atom, i % 4)) /
                    bound.deviation(k, i % 4),
                2);
        }
    }
    for (Eigen::Index i = 0; i < 8; ++i) {
        CHECK_WITHIN(std::sqrt(squares[i] / runs), 1.0, 3 / std::sqrt(2.0 * runs));
    }
}

TEST_CASE("no fit leaves its boxes or loses to its start") {
    for (std::uint64_t run = 0; run < 50; ++run) {
        RandomStream stream(20, run);
        std::vector<double> samples(raw.count);
        for (double& x : samples) {
            x = stream.normal();
        }
        std::vector<Plain> start;
        std::vector<GaborBox> boxes;
        for (int k = 0; k < 3; ++k) {
            start.push_back({stream.uniform(21e-6, 24e-6), 4e6, 1e6});
            boxes.push_back(box_about(start.back(), k == 1 ? 0 : 2e-7, 3e5, k == 2 ? 0 : 2e5));
        }
        const auto at = fit_echoes(samples, raw, start, boxes, {.iterations = 0});
        CHECK(at.status == FitStatus::iteration_limit);
        CHECK(at.echoes[0].atom == start[0]);
        const auto fit = fit_echoes(samples, raw, start, boxes);
        CHECK(fit.residual_energy <= at.residual_energy);
        for (std::size_t k = 0; k < 3; ++k) {
            CHECK(boxes[k].contains(fit.echoes[k].atom));
        }
        CHECK(fit.covariance.arrival(1) == 0);
        CHECK(fit.covariance.bandwidth(2) == 0);
        CHECK(fit.covariance.bandwidth(1) > 0);
    }
}

TEST_CASE("the edges of a fit") {
    const auto samples = plain_signal(0.05, 1);
    const auto usual = fit_echoes(samples, raw, plain_atoms(), plain_boxes());
    REQUIRE(converged(usual.status));
    SUBCASE("a start outside its box is moved there") {
        auto start = plain_atoms();
        start[0].arrival = 1;
        start[1].bandwidth = 9e9;
        const auto fit = fit_echoes(samples, raw, start, plain_boxes(), {.iterations = 0});
        CHECK(fit.echoes[0].atom.arrival == 23e-6);
        CHECK(fit.echoes[1].atom.bandwidth == 1.4e6);
    }
    SUBCASE("equal start atoms end in a minimum, if not the lowest, and are told of") {
        const std::vector<Plain> start(2, Plain{22.4e-6, 4e6, 1e6});
        const auto first = fit_echoes(samples, raw, start, plain_boxes(), {.iterations = 0});
        const auto fit = fit_echoes(samples, raw, start, plain_boxes());
        CHECK(converged(fit.status));
        CHECK(fit.residual_energy < first.residual_energy);
        CHECK(fit.residual_energy >= usual.residual_energy * (1 - 1e-9));
        // They stay close together, as an echo and its derivative, and have large amplitudes.
        CHECK(std::abs(fit.echoes[0].amplitude) < 1e6);
        CHECK_FALSE(fit.resolvable[0]);
        CHECK_FALSE(fit.resolvable[1]);
    }
    SUBCASE("equal atoms that nothing may move are told from each other by nothing") {
        const std::vector<Plain> start(2, plain_atoms()[0]);
        const std::vector<GaborBox> boxes(2, box_about(start[0], 0, 0, 0));
        const auto fit = fit_echoes(samples, raw, start, boxes);
        CHECK(fit.status == FitStatus::converged_step);
        CHECK_FALSE(fit.resolvable[0]);
        CHECK_FALSE(fit.resolvable[1]);
        CHECK(std::abs(fit.echoes[0].amplitude) < 2);
        CHECK(std::abs(fit.echoes[1].amplitude) < 2);
    }
    SUBCASE("all parameters held: amplitudes alone") {
        std::vector<GaborBox> boxes;
        for (const Plain& atom : plain_atoms()) {
            boxes.push_back(box_about(atom, 0, 0, 0));
        }
        const auto fit = fit_echoes(samples, raw, plain_atoms(), boxes);
        CHECK(fit.status == FitStatus::converged_step);
        CHECK(fit.iterations == 0);
        CHECK(fit.echoes[1].atom == plain_atoms()[1]);
        CHECK_WITHIN(fit.echoes[0].amplitude, Complex(0.9, -0.4), 0.03);  // five deviations
        CHECK(fit.covariance.arrival(0) == 0);
        CHECK(fit.covariance.phase(0) > 0);
        CHECK(fit.resolvable[0]);
        CHECK_WITHIN_RELATIVE(fit.noise_variance, fit.residual_energy / 646, 1e-12);
    }
    SUBCASE("a silent signal") {
        const std::vector<double> silent(raw.count, 0.0);
        const auto fit = fit_echoes(silent, raw, plain_atoms(), plain_boxes());
        CHECK(converged(fit.status));
        CHECK(fit.echoes[0].amplitude == Complex{});
        CHECK(fit.residual_energy == 0);
        CHECK_FALSE(fit.resolvable[0]);
    }
    SUBCASE("an echo outside the grid has no amplitude and isn't resolvable") {
        auto start = plain_atoms();
        auto boxes = plain_boxes();
        start.push_back({70e-6, 4e6, 1e6});
        boxes.push_back(box_about(start[2], 1e-6, 1e5, 1e5));
        const auto fit = fit_echoes(samples, raw, start, boxes);
        CHECK(converged(fit.status));
        CHECK(fit.echoes[2].amplitude == Complex{});
        CHECK_FALSE(fit.resolvable[2]);
        CHECK(fit.resolvable[0]);
        CHECK_WITHIN(fit.echoes[0].atom.arrival, usual.echoes[0].atom.arrival, 1e-12);
    }
    SUBCASE("loud and quiet signals fit alike") {
        for (const double scale : {1e-140, 1e140}) {
            std::vector<double> scaled(samples);
            for (double& x : scaled) {
                x *= scale;
            }
            const auto fit = fit_echoes(scaled, raw, plain_atoms(), plain_boxes());
            CHECK_WITHIN(fit.echoes[1].atom.arrival, usual.echoes[1].atom.arrival, 1e-15);
            CHECK_WITHIN_RELATIVE(fit.echoes[1].amplitude, scale * usual.echoes[1].amplitude, 1e-8);
            CHECK_WITHIN_RELATIVE(fit.covariance.arrival(1), usual.covariance.arrival(1), 1e-8);
        }
    }
    SUBCASE("a given variance is taken as it is") {
        const FitOptions options{.noise_variance = 4 * usual.noise_variance};
        const auto fit = fit_echoes(samples, raw, plain_atoms(), plain_boxes(), options);
        CHECK(fit.noise_variance == 4 * usual.noise_variance);
        CHECK_WITHIN_RELATIVE(fit.covariance.arrival(0), 2 * usual.covariance.arrival(0), 1e-9);
    }
    SUBCASE("the resolvable part of a pulse is an option") {
        const FitOptions strict{.resolvable_fraction = 1e-4};
        CHECK(usual.resolvable[0]);
        CHECK_FALSE(fit_echoes(samples, raw, plain_atoms(), plain_boxes(), strict).resolvable[0]);
    }
}

TEST_CASE("fits of what makes no sense are refused") {
    const auto samples = plain_signal(0.05, 1);
    const auto fit = [](const std::vector<double>& s, const SamplingGrid& grid,
                        const std::vector<Plain>& start, const std::vector<GaborBox>& boxes,
                        const FitOptions& options = {}) {
        static_cast<void>(fit_echoes(s, grid, start, boxes, options));
    };
    const auto start = plain_atoms();
    const auto boxes = plain_boxes();
    CHECK_THROWS_AS(fit(samples, raw, {}, {}), InvalidInput);
    CHECK_THROWS_AS(fit(samples, raw, start, {boxes[0]}), InvalidInput);
    CHECK_THROWS_AS(fit(std::vector<double>(649), raw, start, boxes), InvalidInput);
    auto broken = samples;
    broken[17] = std::numeric_limits<double>::quiet_NaN();
    CHECK_THROWS_WITH_AS(fit(broken, raw, start, boxes), "sample 17 = nan: must be finite",
                         InvalidInput);
    CHECK_THROWS_AS(fit(samples, {20e-6, 125e6, 650, 4e6}, start, boxes), InvalidInput);
    const std::vector<double> few(samples.begin(), samples.begin() + 10);
    CHECK_THROWS_WITH_AS(fit(few, {22e-6, 125e6, 10, 0}, start, boxes),
                         "number of real samples = 10: must exceed the number of unknowns, 10",
                         InvalidInput);
    auto backwards = boxes;
    backwards[1].bandwidth = {1e6, 0.9e6};
    CHECK_THROWS_AS(fit(samples, raw, start, backwards), InvalidInput);
    auto nowhere = start;
    nowhere[0].arrival = std::nan("");
    CHECK_THROWS_AS(fit(samples, raw, nowhere, boxes), InvalidInput);
    CHECK_THROWS_AS(fit(samples, raw, start, boxes, {.iterations = -1}), InvalidInput);
    CHECK_THROWS_AS(fit(samples, raw, start, boxes, {.step_tolerance = -1}), InvalidInput);
    CHECK_THROWS_AS(fit(samples, raw, start, boxes, {.gain_tolerance = std::nan("")}),
                    InvalidInput);
    CHECK_THROWS_AS(fit(samples, raw, start, boxes, {.noise_variance = 0}), InvalidInput);
    CHECK_THROWS_AS(fit(samples, raw, start, boxes, {.resolvable_fraction = 0}), InvalidInput);
    ChirpedGaborBox box = box_about(Chirped{22e-6, 4e6, 1e6, 0}, 1e-6, 1e5, 1e5, 1e11);
    validate(box);
    box.chirp_rate = {1, 0};
    CHECK_THROWS_AS(validate(box), InvalidInput);
}

TEST_CASE("each status has its words") {
    for (const FitStatus status : {FitStatus::not_run, FitStatus::converged_step,
                                   FitStatus::converged_gain, FitStatus::iteration_limit}) {
        CHECK(describe(status) != "unknown");
    }
    CHECK_FALSE(converged(FitStatus::not_run));
    CHECK_FALSE(converged(FitStatus::iteration_limit));
}
