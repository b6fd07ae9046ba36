// Fits of many frames against a dense information matrix of all unknowns, against the joint fit of
// one frame, and against the bound in noise.
#include "echosieve/pursuit/shared_shape_fit.hpp"

#include <Eigen/Dense>
#include <cmath>
#include <complex>
#include <limits>

#include "echosieve/pursuit/joint_fit.hpp"
#include "support/check.hpp"
#include "support/echoes.hpp"

using namespace echosieve;
using namespace echosieve::test;
using Complex = std::complex<double>;
using Plain = Gabor<double>;
using Chirped = ChirpedGabor<double>;

namespace {

const SamplingGrid raw{20e-6, 125e6, 800, 0};
const SamplingGrid base{20e-6, 8e6, 56, 4e6};

// Frames of echoes whose shapes stay and whose arrivals and phases move.
template <Sample T, FittedAtom A>
struct Frames {
    FrameMatrix<T> samples;
    std::vector<std::vector<Echo<A>>> truth;
    Eigen::MatrixXd arrivals;  // [frames x echoes]

    Frames(const std::vector<A>& atoms, std::size_t count, const SamplingGrid& grid, double noise,
           std::uint64_t seed, double phases = 6.28)
        : samples(count, grid.count),
          arrivals(static_cast<Eigen::Index>(count), static_cast<Eigen::Index>(atoms.size())) {
        for (std::size_t i = 0; i < count; ++i) {
            RandomStream stream(seed, i);
            std::vector<Echo<A>> echoes;
            for (std::size_t k = 0; k < atoms.size(); ++k) {
                A atom = atoms[k];
                atom.arrival += stream.uniform(-2e-8, 2e-8);
                arrivals(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(k)) = atom.arrival;
                echoes.push_back({atom, std::polar(1.0, stream.uniform(0.0, phases))});
            }
            const auto row = noisy_echoes<T>(echoes, grid, noise, stream);
            std::copy(row.begin(), row.end(), samples[i].begin());
            truth.push_back(echoes);
        }
    }
};

std::vector<Plain> pair_apart(double separation) {
    return {{23e-6, 4e6, 1e6}, {23e-6 + separation, 4e6, 1e6}};
}

template <FittedAtom A>
std::vector<AtomBox<A>> free_boxes(const std::vector<A>& atoms) {
    std::vector<AtomBox<A>> out;
    for (const A& atom : atoms) {
        out.push_back(box_about(atom, 3e-7, 5e5, 3e5, 1e12));
    }
    return out;
}

// Standard deviations of the arrivals [frames x echoes] and covariance of the shapes, from one
// dense matrix of all unknowns, its columns made by differences. Held: parameters of a box of no
// width.
template <Sample T, FittedAtom A>
struct DenseInformation {
    Eigen::MatrixXd arrivals, shapes;

    DenseInformation(const std::vector<std::vector<Echo<A>>>& frames, const SamplingGrid& grid,
                     double variance, bool one_shape) {
        constexpr Eigen::Index p = atom_parameters<A>;
        constexpr Eigen::Index q = p - 1;
        const auto echoes = static_cast<Eigen::Index>(frames[0].size());
        const auto count = static_cast<Eigen::Index>(frames.size());
        const Eigen::Index common = one_shape ? q : q * echoes;
        const Eigen::Index rows = real_rows<T>(grid.count);
        Eigen::MatrixXd j = Eigen::MatrixXd::Zero(rows * count, common + 3 * echoes * count);
        for (Eigen::Index i = 0; i < count; ++i) {
            for (Eigen::Index k = 0; k < echoes; ++k) {
                const auto column = [&](Eigen::Index parameter) {
                    return slow_derivative<T>(frames[static_cast<std::size_t>(i)], grid,
                                              static_cast<std::size_t>(k), parameter);
                };
                const Eigen::Index own = common + 3 * (echoes * i + k);
                auto block = j.middleRows(rows * i, rows);
                block.col(own) = column(0);
                block.col(own + 1) = column(p);
                block.col(own + 2) = column(p + 1);
                for (Eigen::Index s = 0; s < q; ++s) {
                    block.col((one_shape ? 0 : q * k) + s) += column(1 + s);
                }
            }
        }
        const Eigen::VectorXd scale = j.colwise().norm().cwiseInverse();
        const Eigen::MatrixXd unit = j * scale.asDiagonal();
        const Eigen::MatrixXd inverse = variance * scale.asDiagonal() *
                                        (unit.transpose() * unit).inverse() * scale.asDiagonal();
        shapes = inverse.topLeftCorner(common, common);
        arrivals.resize(count, echoes);
        for (Eigen::Index i = 0; i < count; ++i) {
            for (Eigen::Index k = 0; k < echoes; ++k) {
                const Eigen::Index own = common + 3 * (echoes * i + k);
                arrivals(i, k) = std::sqrt(inverse(own, own));
            }
        }
    }
};

template <Sample T, FittedAtom A>
void compare_with_dense(const std::vector<A>& atoms, const SamplingGrid& grid, bool one_shape) {
    const Frames<T, A> frames(atoms, 4, grid, 0.0, 3);
    SharedShapeOptions options{.one_shape = one_shape};
    options.fit.noise_variance = 0.0025;
    const auto fit = fit_shared_shape(frames.samples.view(), grid, atoms, frames.arrivals,
                                      free_boxes(atoms), options);
    REQUIRE(converged(fit.status));
    const DenseInformation<T, A> dense(frames.truth, grid, 0.0025, one_shape);
    const double tolerance = 1e-5;  // the differences' 1e-10 times the condition, up to 1e5
    REQUIRE(fit.shape_covariance.rows() == dense.shapes.rows());
    for (Eigen::Index i = 0; i < dense.shapes.rows(); ++i) {
        for (Eigen::Index j = 0; j < dense.shapes.rows(); ++j) {
            CHECK_WITHIN(fit.shape_covariance(i, j), dense.shapes(i, j),
                         tolerance * std::sqrt(dense.shapes(i, i) * dense.shapes(j, j)));
        }
    }
    for (Eigen::Index i = 0; i < dense.arrivals.rows(); ++i) {
        for (Eigen::Index k = 0; k < dense.arrivals.cols(); ++k) {
            CHECK_WITHIN_RELATIVE(fit.arrival_deviations(i, k), dense.arrivals(i, k), tolerance);
        }
    }
}

double rms(const Eigen::MatrixXd& x) {
    return x.norm() / std::sqrt(static_cast<double>(x.size()));
}

}  // namespace

TEST_CASE("deviations and covariance against one dense matrix of all unknowns") {
    compare_with_dense<double>(pair_apart(0.9e-6), {20e-6, 40e6, 260, 0}, false);
    compare_with_dense<double>(pair_apart(0.5e-6), {20e-6, 40e6, 260, 0}, true);
    const std::vector<Chirped> bent{{22.5e-6, 4e6, 1e6, 3e11}, {23.5e-6, 4.1e6, 1.1e6, -2e11}};
    compare_with_dense<Complex>(bent, base, false);
    const std::vector<Chirped> alike{{22.5e-6, 4e6, 1e6, 3e11}, {23.5e-6, 4e6, 1e6, 3e11}};
    compare_with_dense<Complex>(alike, base, true);
}

TEST_CASE("of one frame the fit is the joint fit") {
    const auto atoms = pair_apart(1.1e-6);
    const Frames<double, Plain> frames(atoms, 1, raw, 0.05, 4);
    std::vector<Plain> start(atoms);
    start[0].centre_frequency = 4.1e6;
    SharedShapeOptions options;
    options.fit.gain_tolerance = 0;
    const Eigen::MatrixXd arrivals = Eigen::RowVector2d(23.03e-6, 24.05e-6);
    const auto shared =
        fit_shared_shape(frames.samples.view(), raw, start, arrivals, free_boxes(atoms), options);
    start[0].arrival = arrivals(0, 0);
    start[1].arrival = arrivals(0, 1);
    const auto joint = fit_echoes(frames.samples[0], raw, start, free_boxes(atoms), options.fit);
    REQUIRE(converged(shared.status));
    const double tolerance = 1e-7;  // in units: where the residual's fall drowns in rounding
    for (std::size_t k = 0; k < 2; ++k) {
        const Echo<Plain> echo = shared.echo(0, k);
        for (Eigen::Index j = 0; j < 3; ++j) {
            CHECK_WITHIN(atom_parameter(echo.atom, j), atom_parameter(joint.echoes[k].atom, j),
                         tolerance * parameter_unit(echo.atom, j));
        }
        CHECK_WITHIN(echo.amplitude, joint.echoes[k].amplitude, 20 * tolerance);
        CHECK_WITHIN_RELATIVE(shared.arrival_deviations(0, static_cast<Eigen::Index>(k)),
                              joint.covariance.arrival(k), 1e-5);
    }
    CHECK_WITHIN_RELATIVE(shared.residual_energies[0], joint.residual_energy, 1e-12);
    CHECK_WITHIN_RELATIVE(shared.noise_variance, joint.noise_variance, 1e-12);
    CHECK_WITHIN_RELATIVE(std::sqrt(shared.shape_covariance(1, 1)), joint.covariance.bandwidth(0),
                          1e-5);
}

// The figures of one frame, 20 dB and half a microsecond apart: 326 ns all free, 26 ns of known
// shape. A hundred frames settle the shape.
TEST_CASE("overlapping echoes that no frame resolves alone are resolved together") {
    const auto atoms = pair_apart(0.5e-6);
    const Frames<double, Plain> frames(atoms, 100, raw, 0.1, 5, 0);
    std::vector<Plain> start(atoms);
    for (Plain& atom : start) {
        atom.centre_frequency = 4.1e6;
        atom.bandwidth = 1.1e6;
    }
    Eigen::MatrixXd first(frames.arrivals);
    first.col(0).array() += 3e-8;
    first.col(1).array() -= 2e-8;
    const auto fit = fit_shared_shape(frames.samples.view(), raw, start, first, free_boxes(atoms));
    REQUIRE(converged(fit.status));
    const double shared = rms(fit.arrivals - frames.arrivals);
    double known = 0;
    double alone = 0;
    double free_bound = 0;
    int resolvable = 0;
    for (std::size_t i = 0; i < 100; ++i) {
        std::vector<GaborBox> held;
        std::vector<Plain> own_start(start);
        for (std::size_t k = 0; k < 2; ++k) {
            own_start[k].arrival =
                first(static_cast<Eigen::Index>(i), static_cast<Eigen::Index>(k));
            held.push_back(box_about(frames.truth[i][k].atom, 1e-7, 0, 0));
        }
        known += std::pow(echo_covariance<double>(frames.truth[i], raw, held, 0.01).arrival(0), 2);
        const auto bound = echo_covariance<double>(frames.truth[i], raw, free_boxes(atoms), 0.01);
        free_bound += std::pow(bound.arrival(0), 2);
        resolvable += bound.resolvable(0, 0.25 * pulse_length(decay(atoms[0]))) ? 1 : 0;
        const auto joint = fit_echoes(frames.samples[i], raw, own_start, free_boxes(atoms));
        alone +=
            std::pow(joint.echoes[0].atom.arrival - frames.arrivals(static_cast<int>(i), 0), 2);
    }
    known = std::sqrt(known / 100);
    alone = std::sqrt(alone / 100);
    free_bound = std::sqrt(free_bound / 100);
    INFO("rms error [ns]: shared ", shared * 1e9, ", each frame alone ", alone * 1e9,
         "; bound of known shape ", known * 1e9, ", all free ", free_bound * 1e9,
         "; frames resolvable alone ", resolvable);
    const double own = rms(fit.arrival_deviations);
    CHECK(own > known);
    CHECK(own < 1.1 * known);  // what the uncertainty of the shape adds
    CHECK(free_bound > 10 * known);
    CHECK(alone > 3 * shared);
    CHECK(resolvable < 50);
    CHECK(fit.resolvable.all());
    CHECK_WITHIN(shared / own, 1.0, 3 / std::sqrt(400.0));  // an rms of 200
    CHECK_WITHIN(fit.noise_variance / 0.01, 1.0, 3 * std::sqrt(2.0 / 80000));
    CHECK_WITHIN(fit.shapes[0].bandwidth, 1e6, 4 * std::sqrt(fit.shape_covariance(1, 1)));
}

// Many recordings of few frames: arrivals and shapes over what the fit says of itself.
TEST_CASE("in noise the errors are as large as the fit says") {
    const std::vector<Chirped> atoms{{22.5e-6, 4e6, 1e6, 2e11}, {23.6e-6, 4.1e6, 1.1e6, 0}};
    const int runs = 60;
    double arrivals = 0;
    Eigen::VectorXd shapes = Eigen::VectorXd::Zero(6);
    for (int run = 0; run < runs; ++run) {
        const Frames<Complex, Chirped> frames(atoms, 8, base, 0.02,
                                              100 + static_cast<std::uint64_t>(run));
        const auto fit = fit_shared_shape(frames.samples.view(), base, atoms, frames.arrivals,
                                          free_boxes(atoms));
        REQUIRE(converged(fit.status));
        arrivals +=
            (fit.arrivals - frames.arrivals).cwiseQuotient(fit.arrival_deviations).squaredNorm();
        for (Eigen::Index i = 0; i < 6; ++i) {
            const auto k = static_cast<std::size_t>(i / 3);
            const double error =
                atom_parameter(fit.shapes[k], 1 + i % 3) - atom_parameter(atoms[k], 1 + i % 3);
            shapes[i] += error * error / fit.shape_covariance(i, i);
        }
    }
    CHECK_WITHIN(std::sqrt(arrivals / (16 * runs)), 1.0, 3 / std::sqrt(2.0 * 16 * runs));
    for (Eigen::Index i = 0; i < 6; ++i) {
        CHECK_WITHIN(std::sqrt(shapes[i] / runs), 1.0, 3 / std::sqrt(2.0 * runs));
    }
}

TEST_CASE("bounds hold: boxes, reach, held shapes, one shape") {
    const auto atoms = pair_apart(0.8e-6);
    const Frames<double, Plain> frames(atoms, 10, raw, 0.3, 6);
    auto boxes = free_boxes(atoms);
    boxes[0].centre_frequency = {3.9e6, 3.99e6};  // the truth lies outside
    boxes[1].bandwidth = {1e6, 1e6};
    Eigen::MatrixXd first(frames.arrivals);
    first.array() += 3e-8;
    const auto fit =
        fit_shared_shape(frames.samples.view(), raw, atoms, first, boxes, {.arrival_reach = 2e-8});
    CHECK(converged(fit.status));
    CHECK(fit.shapes[0].centre_frequency >= 3.9e6);
    CHECK(fit.shapes[0].centre_frequency <= 3.99e6);
    CHECK(fit.shapes[1].bandwidth == 1e6);
    CHECK(fit.shape_covariance.row(3).isZero(0));
    CHECK((fit.arrivals - first).cwiseAbs().maxCoeff() <= 2e-8 * (1 + 1e-9));
    CHECK((fit.arrivals.array() <= first.array() - 1.9e-8).any());  // some lie at the end

    SharedShapeOptions one{.one_shape = true};
    const auto same =
        fit_shared_shape(frames.samples.view(), raw, atoms, first, free_boxes(atoms), one);
    CHECK(same.shapes[0] == same.shapes[1]);
    CHECK(same.shape_covariance.rows() == 2);
    boxes[1].centre_frequency = {4.1e6, 4.2e6};
    CHECK_THROWS_AS(
        static_cast<void>(fit_shared_shape(frames.samples.view(), raw, atoms, first, boxes, one)),
        InvalidInput);
}

TEST_CASE("the edges of a shared fit") {
    const auto atoms = pair_apart(1.2e-6);
    const Frames<float, Plain> frames(atoms, 6, raw, 0.05, 7);
    const auto boxes = free_boxes(atoms);
    const auto usual = fit_shared_shape(frames.samples.view(), raw, atoms, frames.arrivals, boxes);
    REQUIRE(converged(usual.status));
    SUBCASE("a silent frame changes nothing for the others") {
        FrameMatrix<float> samples(7, raw.count);
        std::copy(frames.samples.values().begin(), frames.samples.values().end(),
                  samples[0].begin());
        Eigen::MatrixXd arrivals(7, 2);
        arrivals << frames.arrivals, frames.arrivals.row(0);
        SharedShapeOptions options;
        options.fit.noise_variance = 0.0025;
        const auto fit = fit_shared_shape(samples.view(), raw, atoms, arrivals, boxes, options);
        CHECK(converged(fit.status));
        CHECK_WITHIN(fit.arrivals(3, 1), usual.arrivals(3, 1), 1e-12);
        CHECK(fit.amplitudes(6, 0) == Complex{});
        CHECK(fit.arrival_deviations(6, 0) == std::numeric_limits<double>::infinity());
        CHECK_FALSE(fit.resolvable(6, 0));
        CHECK(fit.resolvable(5, 0));
    }
    SUBCASE("all silent") {
        const FrameMatrix<float> silent(3, raw.count);
        const auto fit =
            fit_shared_shape(silent.view(), raw, atoms, frames.arrivals.topRows(3).eval(), boxes);
        CHECK(converged(fit.status));
        CHECK_FALSE(fit.resolvable.any());
        CHECK(fit.shape_covariance(0, 0) == std::numeric_limits<double>::infinity());
    }
    SUBCASE("equal atoms") {
        Eigen::MatrixXd arrivals(frames.arrivals);
        arrivals.col(1) = arrivals.col(0);
        const std::vector<Plain> start(2, atoms[0]);
        const std::vector<GaborBox> same(2, box_about(atoms[0], 0, 5e5, 3e5));
        const auto fit = fit_shared_shape(frames.samples.view(), raw, start, arrivals, same);
        CHECK(fit.arrivals.allFinite());
        CHECK(fit.amplitudes.allFinite());
    }
    SUBCASE("everything held") {
        std::vector<GaborBox> held;
        for (const Plain& atom : atoms) {
            held.push_back(box_about(atom, 0, 0, 0));
        }
        const auto fit = fit_shared_shape(frames.samples.view(), raw, atoms, frames.arrivals, held);
        CHECK(fit.status == FitStatus::converged_step);
        CHECK((fit.arrivals.col(0).array() == atoms[0].arrival).all());
        CHECK(fit.arrival_deviations.isZero(0));
        CHECK(fit.shape_covariance.isZero(0));
    }
    SUBCASE("a start outside the gate is moved there") {
        Eigen::MatrixXd arrivals(frames.arrivals);
        arrivals(2, 1) = 1;
        SharedShapeOptions options;
        options.fit.iterations = 0;
        const auto fit =
            fit_shared_shape(frames.samples.view(), raw, atoms, arrivals, boxes, options);
        CHECK(fit.status == FitStatus::iteration_limit);
        CHECK(fit.arrivals(2, 1) == boxes[1].arrival.end);
    }
    SUBCASE("refused") {
        const auto fit = [&](const FrameView<float>& view, const std::vector<Plain>& start,
                             const Eigen::MatrixXd& arrivals, const std::vector<GaborBox>& b,
                             const SharedShapeOptions& options = {}) {
            static_cast<void>(fit_shared_shape(view, raw, start, arrivals, b, options));
        };
        const auto view = frames.samples.view();
        CHECK_THROWS_AS(fit({}, atoms, frames.arrivals, boxes), InvalidInput);
        CHECK_THROWS_AS(fit(view, {}, Eigen::MatrixXd(6, 0), {}), InvalidInput);
        CHECK_THROWS_AS(fit(view, atoms, frames.arrivals, {boxes[0]}), InvalidInput);
        CHECK_THROWS_AS(fit(view, atoms, frames.arrivals.topRows(5), boxes), InvalidInput);
        CHECK_THROWS_AS(fit(view, atoms, frames.arrivals.leftCols(1), boxes), InvalidInput);
        CHECK_THROWS_AS(fit(view, atoms, frames.arrivals, boxes, {.arrival_reach = -1}),
                        InvalidInput);
        Eigen::MatrixXd nowhere(frames.arrivals);
        nowhere(1, 1) = std::nan("");
        CHECK_THROWS_AS(fit(view, atoms, nowhere, boxes), InvalidInput);
        FrameMatrix<float> broken(frames.samples);
        broken[4][9] = std::numeric_limits<float>::infinity();
        CHECK_THROWS_WITH_AS(fit(broken.view(), atoms, frames.arrivals, boxes),
                             "frame 4: sample 9 = inf: must be finite", InvalidInput);
        const SamplingGrid few{22e-6, 125e6, 5, 0};
        const FrameMatrix<float> tiny(6, 5);
        CHECK_THROWS_AS(
            static_cast<void>(fit_shared_shape(tiny.view(), few, atoms, frames.arrivals, boxes)),
            InvalidInput);
    }
}
