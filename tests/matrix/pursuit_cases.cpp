// pursuit: signals, boxes and options of every pursuit and fit.
#include <Eigen/Core>
#include <complex>
#include <cstddef>
#include <limits>
#include <span>
#include <vector>

#include "bad_input.hpp"
#include "echosieve/pursuit/echo_count.hpp"
#include "echosieve/pursuit/echo_covariance.hpp"
#include "echosieve/pursuit/fast_pursuit.hpp"
#include "echosieve/pursuit/gram_pursuit.hpp"
#include "echosieve/pursuit/joint_fit.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "echosieve/pursuit/shared_shape_fit.hpp"
#include "echosieve/pursuit/stop.hpp"
#include "echosieve/pursuit/swarm_pursuit.hpp"

namespace echosieve::test {
namespace {

using Complex = std::complex<double>;
using Samples = std::vector<Complex>;
using Plain = Gabor<double>;

const SamplingGrid good_grid{20e-6, 4e6, 44, 4e6};
const GaborBox good_box{{20e-6, 30e-6}, {3.6e6, 4.4e6}, {0.9e6, 1.1e6}};
const Plain good_atom{25e-6, 4e6, 1e6};
// More than any of the options below may be.
constexpr std::size_t huge = std::numeric_limits<std::size_t>::max();

void pursue_cases(BadInputs& out) {
    const auto with = [](const Samples& samples, const SamplingGrid& grid, const GaborBox& box) {
        return [=] {
            static_cast<void>(pursue(Signal<Complex>{samples, grid}, box, Orthogonal{.atoms = 2}));
        };
    };
    const Samples good(44, 1.0);
    out.add("pursue", "number of samples", 43, with(Samples(43, 1.0), good_grid, good_box));
    Samples spoilt = good;
    spoilt[3] = {0, not_a_number};
    out.add("pursue", "sample 3", spoilt[3], with(spoilt, good_grid, good_box));
    out.add("pursue", "sampling_rate", 0, with(good, {20e-6, 0, 44, 4e6}, good_box));
    GaborBox box = good_box;
    box.bandwidth.lower = 0;
    out.add("pursue", "bandwidth.lower", 0, with(good, good_grid, box));
    out.add("pursue", "signal energy", infinite, with(Samples(44, 1e200), good_grid, good_box));
    const auto stopped = [=](const Stop& stop) {
        static_cast<void>(pursue(Signal<Complex>{good, good_grid}, good_box, Orthogonal{.atoms = 2},
                                 GaussNewton{}, 0, stop));
    };
    out.vary("pursue", "residual_fraction", Stop{}, &Stop::residual_fraction,
             {-0.1, 1.0, not_a_number}, stopped);
    for (const double bad : {0.0, -1.0, not_a_number, infinite}) {
        out.add("pursue", "noise_variance", bad, [=] {
            stopped(Stop{.false_alarm = FalseAlarm{bad, 0.01}});
        });
    }
    for (const double bad : {0.0, 1.0, not_a_number}) {
        out.add("pursue", "probability", bad, [=] {
            stopped(Stop{.false_alarm = FalseAlarm{1, bad}});
        });
        out.add("false_alarm_threshold", "probability", bad,
                [=] { static_cast<void>(false_alarm_threshold(good_box, bad)); });
    }
    const auto refined = [=](const GaussNewton& refinement) {
        static_cast<void>(
            pursue(Signal<Complex>{good, good_grid}, good_box, Orthogonal{.atoms = 2}, refinement));
    };
    out.vary("pursue", "iterations", GaussNewton{}, &GaussNewton::iterations, {-1}, refined);
    out.vary("pursue", "tolerance", GaussNewton{}, &GaussNewton::tolerance, {-1.0, not_a_number},
             refined);
}

void fast_cases(BadInputs& out) {
    const auto use = [](const FastOptions& options) {
        static_cast<void>(FastPursuit<float>(good_grid, good_box, options));
    };
    out.vary("FastPursuit", "atoms", FastOptions{}, &FastOptions::atoms,
             {std::size_t{0}, std::size_t{65}, huge}, use);
    out.vary("FastPursuit", "sweeps", FastOptions{}, &FastOptions::sweeps, {-1}, use);
    const auto polish = [=](const PolishOptions& options) {
        FastOptions changed;
        changed.polish = options;
        use(changed);
    };
    using P = PolishOptions;
    out.vary("FastPursuit", "evaluations", P{}, &P::evaluations, {0, -1}, polish);
    out.vary("FastPursuit", "tolerance", P{}, &P::tolerance, {-1.0, not_a_number, infinite},
             polish);
    const auto on = [](const SamplingGrid& grid) {
        static_cast<void>(FastPursuit<double>(grid, good_box));
    };
    out.vary("FastPursuit", "count", good_grid, &SamplingGrid::count,
             {std::size_t{0}, std::size_t{1025}, huge}, on);
    out.vary("FastPursuit", "sampling_rate", good_grid, &SamplingGrid::sampling_rate,
             {0.0, 1e6, not_a_number}, on);
    out.vary("FastPursuit", "start_time", good_grid, &SamplingGrid::start_time, {infinite}, on);
    const auto weighted = [](std::vector<double> weights) {
        return [=] { static_cast<void>(FastPursuit<float>(good_grid, good_box, {}, weights)); };
    };
    out.add("FastPursuit", "number of weights", 3, weighted({1, 1, 1}));
    for (const double bad : {0.0, 1.1, not_a_number}) {
        out.add("FastPursuit", "weight 0", bad, weighted(std::vector<double>(44, bad)));
    }
    const auto run = [](const Samples& samples) {
        return [=] {
            FastPursuit<double> pursuit(good_grid, good_box);
            static_cast<void>(pursuit.run(samples));
        };
    };
    out.add("FastPursuit::run", "number of samples", 45, run(Samples(45)));
    out.add("FastPursuit::run", "signal energy", infinite, run(Samples(44, 1e200)));
    out.add("pursue_frames", "threads", 0, [] {
        static_cast<void>(pursue_frames(FrameMatrix<Complex>(2, 44).view(),
                                        FastPursuit<double>(good_grid, good_box), 0));
    });
    out.add("pursue_frames", "number of samples", 43, [] {
        static_cast<void>(pursue_frames(FrameMatrix<Complex>(2, 43).view(),
                                        FastPursuit<double>(good_grid, good_box)));
    });
}

void swarm_cases(BadInputs& out) {
    const auto use = [](const SwarmPursuitOptions& options) {
        static_cast<void>(SwarmPursuit<float>(good_grid, good_box, options));
    };
    using O = SwarmPursuitOptions;
    out.vary("SwarmPursuit", "atoms", O{}, &O::atoms, {std::size_t{0}, std::size_t{65}}, use);
    for (const std::size_t bad : {std::size_t{0}, std::size_t{1025}}) {
        out.add("SwarmPursuit", "particles", bad, [=] { use(O{10, {.particles = bad}, {}}); });
    }
    for (const double bad : {-0.1, 1.0, not_a_number}) {
        out.add("SwarmPursuit", "inertia", bad, [=] { use(O{10, {.inertia = bad}, {}}); });
    }
    out.add("SwarmPursuit", "weight 0", 2, [] {
        static_cast<void>(
            SwarmPursuit<float>(good_grid, good_box, {}, std::vector<double>(44, 2.0)));
    });
    out.add("SwarmPursuit::run", "number of samples", 3, [] {
        SwarmPursuit<double> pursuit(good_grid, good_box);
        static_cast<void>(pursuit.run(Samples(3), 1));
    });
}

void matrix_cases(BadInputs& out) {
    using Matrix = Eigen::MatrixXd;
    const auto run = [](const Matrix& signals, const Stop& stop) {
        return [=] {
            GramPursuit<double> pursuit(Matrix::Identity(4, 4), 2);
            GramPursuitResult<double> found;
            pursuit.run(signals, stop, found);
        };
    };
    out.add("GramPursuit", "atoms", 0,
            [] { static_cast<void>(GramPursuit<double>(Matrix::Identity(4, 4), 0)); });
    out.add("GramPursuit", "rows of the dictionary", 0,
            [] { static_cast<void>(GramPursuit<double>(Matrix(0, 0), 1)); });
    out.add("GramPursuit", "norm of column 0", 2,
            [] { static_cast<void>(GramPursuit<double>(2 * Matrix::Identity(4, 4), 1)); });
    out.add("GramPursuit::run", "rows of the signals", 3, run(Matrix::Ones(3, 2), {}));
    out.add("GramPursuit::run", "signals", "NaN or infinity",
            run(Matrix::Constant(4, 2, not_a_number), {}));
    out.add("GramPursuit::run", "signal energy", "infinity",
            run(Matrix::Constant(4, 2, 1e200), {}));
    for (const double bad : {-0.1, 1.0, not_a_number}) {
        out.add("GramPursuit::run", "residual_fraction", bad, run(Matrix::Ones(4, 2), {bad, {}}));
    }
}

void fit_cases(BadInputs& out) {
    using Boxes = std::vector<GaborBox>;
    const auto fit = [](const Samples& samples, std::vector<Plain> start, Boxes boxes,
                        const FitOptions& options) {
        static_cast<void>(fit_echoes(samples, good_grid, start, boxes, options));
    };
    const Samples good(44, 1.0);
    const auto use = [=](const FitOptions& options) {
        fit(good, {good_atom}, {good_box}, options);
    };
    using O = FitOptions;
    out.vary("fit_echoes", "iterations", O{}, &O::iterations, {-1}, use);
    out.vary("fit_echoes", "step_tolerance", O{}, &O::step_tolerance, {-1.0, not_a_number}, use);
    out.vary("fit_echoes", "gain_tolerance", O{}, &O::gain_tolerance, {-1.0, not_a_number}, use);
    out.vary("fit_echoes", "resolvable_fraction", O{}, &O::resolvable_fraction, {0.0, not_a_number},
             use);
    for (const double bad : {0.0, -1.0, not_a_number, infinite}) {
        out.add("fit_echoes", "noise_variance", bad, [=] { use(O{.noise_variance = bad}); });
    }
    out.add("fit_echoes", "number of echoes", 0, [=] { fit(good, {}, {}, {}); });
    out.add("fit_echoes", "number of boxes", 0, [=] { fit(good, {good_atom}, {}, {}); });
    out.add("fit_echoes", "number of samples", 43,
            [=] { fit(Samples(43), {good_atom}, {good_box}, {}); });
    out.add("fit_echoes", "sample 0", Complex(infinite, 0),
            [=] { fit(Samples(44, infinite), {good_atom}, {good_box}, {}); });
    out.add("fit_echoes", "number of real samples", 88,
            [=] { fit(good, std::vector<Plain>(20, good_atom), Boxes(20, good_box), {}); });
    for (const double bad : {0.0, not_a_number}) {
        out.add("fit_echoes", "bandwidth", bad, [=] {
            fit(good, {{25e-6, 4e6, bad}}, {good_box}, {});
        });
    }
    for (const double bad : {-1.0, not_a_number, infinite}) {
        out.add("echo_covariance", "noise_variance", bad, [=] {
            static_cast<void>(
                echo_covariance<Complex, Plain>({{good_atom, 1.0}}, good_grid, {good_box}, bad));
        });
    }
    out.add("echo_covariance", "number of echoes", 0,
            [] { static_cast<void>(echo_covariance<Complex, Plain>({}, good_grid, {}, 1)); });
}

void shared_fit_cases(BadInputs& out) {
    using Boxes = std::vector<GaborBox>;
    const auto fit = [](const FrameMatrix<Complex>& frames, const Eigen::MatrixXd& arrivals,
                        const SharedShapeOptions& options) {
        static_cast<void>(fit_shared_shape(frames.view(), good_grid, std::vector<Plain>{good_atom},
                                           arrivals, Boxes{good_box}, options));
    };
    const FrameMatrix<Complex> two(2, 44);
    const Eigen::MatrixXd good = Eigen::MatrixXd::Constant(2, 1, 25e-6);
    const auto use = [=](const SharedShapeOptions& options) { fit(two, good, options); };
    using O = SharedShapeOptions;
    out.vary("fit_shared_shape", "arrival_reach", O{}, &O::arrival_reach, {-1e-6, not_a_number},
             use);
    out.add("fit_shared_shape", "iterations", -1, [=] { use(O{.fit = {.iterations = -1}}); });
    out.add("fit_shared_shape", "number of frames", 0,
            [=] { fit(FrameMatrix<Complex>(0, 44), good, {}); });
    out.add("fit_shared_shape", "rows of the arrivals", 2,
            [=] { fit(FrameMatrix<Complex>(3, 44), good, {}); });
    out.add("fit_shared_shape", "columns of the arrivals", 3,
            [=] { fit(two, Eigen::MatrixXd::Constant(2, 3, 25e-6), {}); });
    out.add("fit_shared_shape", "number of samples", 40,
            [=] { fit(FrameMatrix<Complex>(2, 40), good, {}); });
    for (const double bad : {not_a_number, infinite}) {
        out.add("fit_shared_shape", "arrivals", bad,
                [=] { fit(two, Eigen::MatrixXd::Constant(2, 1, bad), {}); });
    }
}

void count_cases(BadInputs& out) {
    const auto information = [](std::vector<double> energies, std::size_t values, double per) {
        return [=] { static_cast<void>(count_by_information(energies, values, per)); };
    };
    out.add("count_by_information", "number of energies", 0, information({}, 100, 5));
    out.add("count_by_information", "values", 1, information({1}, 1, 5));
    for (const double bad : {-1.0, not_a_number}) {
        out.add("count_by_information", "parameters", bad, information({1}, 100, bad));
        out.add("count_by_information", "energy", bad, information({1, bad}, 100, 5));
    }
    const auto evidence = [](std::size_t energies, double range) {
        return [=] {
            const std::vector<double> left(energies, 1.0);
            const std::vector<Echo<Plain>> echoes{{good_atom, 1.0}};
            static_cast<void>(count_by_evidence(std::span<const double>(left),
                                                std::span<const Echo<Plain>>(echoes),
                                                EchoPrior{good_box, range}, SampledNoise{}));
        };
    };
    out.add("count_by_evidence", "number of energies", 3, evidence(3, 1000));
    for (const double bad : {1.0, not_a_number, infinite}) {
        out.add("count_by_evidence", "amplitude_range", bad, evidence(2, bad));
    }
}

}  // namespace

BadInputs pursuit_cases() {
    BadInputs out;
    pursue_cases(out);
    fast_cases(out);
    swarm_cases(out);
    matrix_cases(out);
    fit_cases(out);
    shared_fit_cases(out);
    count_cases(out);
    return out;
}

}  // namespace echosieve::test
