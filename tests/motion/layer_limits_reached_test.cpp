// Maximum likelihood reaches the bound where layers are separable.
#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/QR>
#include <cmath>
#include <complex>

#include "echosieve/core/random.hpp"
#include "echosieve/motion/layer_limits.hpp"
#include "motion/layers/layer_information.hpp"
#include "support/check.hpp"
#include "support/moving_layers.hpp"

using namespace echosieve;

namespace {

using Frames = std::vector<Eigen::MatrixXcd>;  // per bin, [frames x 1]

Frames drawn_frames(const LayeredBins& bins, RandomStream& random) {
    Frames out;
    for (Eigen::Index f = 0; f < bins.bins(); ++f) {
        Eigen::MatrixXcd y = bins.phasors(f) * bins.spectra.col(f).matrix();
        for (std::complex<double>& one : y.reshaped()) {
            const double real = random.normal<double>(), imaginary = random.normal<double>();
            one += std::sqrt(bins.noise / 2) * std::complex<double>(real, imaginary);
        }
        out.push_back(y);
    }
    return out;
}

// One step of Gauss and Newton on the displacements, spectra eliminated (Kaufman 1975).
void improve(LayeredBins& bins, const Frames& frames) {
    const Eigen::Index count = bins.frames(), layers = bins.layers();
    Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(layers * count, layers * count);
    Eigen::VectorXd slope = Eigen::VectorXd::Zero(layers * count);
    for (Eigen::Index f = 0; f < bins.bins(); ++f) {
        const auto at = static_cast<std::size_t>(f);
        const Eigen::MatrixXcd turns = bins.phasors(f);
        const Eigen::VectorXcd spectra = turns.householderQr().solve(frames[at]);
        const Eigen::VectorXcd rest = frames[at] - turns * spectra;
        Eigen::MatrixXcd change = Eigen::MatrixXcd::Zero(count, layers * count);
        for (Eigen::Index l = 0; l < layers; ++l) {
            change.middleCols(l * count, count).diagonal() =
                std::complex<double>(0, -bins.wave_numbers[f]) * spectra[l] * turns.col(l);
        }
        change -= (turns * turns.householderQr().solve(change)).eval();
        normal += (change.adjoint() * change).real();
        slope += (change.adjoint() * rest).real();
    }
    for (Eigen::Index l = 0; l < layers; ++l) {  // origins stay where they are
        normal.block(l * count, l * count, count, count).array() += normal.trace();
    }
    bins.displacement.reshaped() += normal.ldlt().solve(slope).array();
}

}  // namespace

TEST_CASE("maximum likelihood reaches the bound where layers are separable") {
    constexpr int trials = 200;
    constexpr int steps = 4;  // from the truth: further ones move it by less than a thousandth
    LayerSetting setting = test::gate_of_two(16, 55e-6);
    setting.noise = 1e-3;
    const LayerLimit limit = layer_limits(setting)[0];
    CHECK(limit.angle > 1.1);
    const LayeredBins truth = test::layered_bins(setting);
    RandomStream random(19);
    double squares = 0, gains = 0;
    const Eigen::ArrayXd course = truth.displacement.col(0) - truth.displacement.col(0).mean();
    for (int trial = 0; trial < trials; ++trial) {
        const Frames frames = drawn_frames(truth, random);
        LayeredBins found = truth;
        for (int step = 0; step < steps; ++step) {
            improve(found, frames);
        }
        Eigen::ArrayXd error = found.displacement.col(0) - truth.displacement.col(0);
        error -= error.mean();
        squares += error.square().mean();
        gains += std::pow((error * course).sum() / course.square().sum(), 2);
    }
    // 3000 errors: 1.5 %; 200 gains: 5 %, and three times that is allowed.
    CHECK_WITHIN_RELATIVE(std::sqrt(squares / trials), limit.rms, 0.1);
    CHECK_WITHIN_RELATIVE(std::sqrt(gains / trials), limit.gain_std, 0.15);
}
