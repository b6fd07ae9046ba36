#include "motion/line/gate_spectrum.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "support/check.hpp"

using namespace echosieve;

namespace {

constexpr double rest_depth = 11.3e-3;
constexpr double half_gate = 1.2e-3;

// One echo that moves along `path` [m].
LineHistory moving_echo(const Eigen::ArrayXd& path) {
    LineHistory line;
    line.settings = {125e6, 1000, 10e-6, {4e6, 1e6}, 1540};
    line.grid = {10e-6, 4e6, 44, 4e6};
    line.samples.resize(path.size(), 44);
    line.usable.assign(static_cast<std::size_t>(path.size()), true);
    for (Eigen::Index i = 0; i < path.size(); ++i) {
        const double arrival = line.settings.arrival(rest_depth + path[i]);
        for (Eigen::Index k = 0; k < 44; ++k) {
            const double time = line.grid.time(static_cast<double>(k));
            const double u = (time - arrival) * 1e6;
            line.samples(i, k) =
                std::exp(-3.572 * u * u) * std::polar(1.0, -2 * std::numbers::pi * 4e6 * arrival);
        }
    }
    return line;
}

Eigen::ArrayXd swing(Eigen::Index frames, double size) {
    Eigen::ArrayXd path(frames);
    for (Eigen::Index i = 0; i < frames; ++i) {
        path[i] = size * std::sin(2 * std::numbers::pi * static_cast<double>(i) / 97);
    }
    return path;
}

double window(double x, double taper) {
    const double edge = std::min(x, 1 - x) / (taper / 2);
    return edge <= 0 ? 0 : edge >= 1 ? 1 : std::pow(std::sin(std::numbers::pi / 2 * edge), 2);
}

}  // namespace

TEST_CASE("an echo that moves along the path keeps its spectrum's modulus and turns by its delay") {
    const Eigen::ArrayXd path = swing(200, 400e-6);
    const LineHistory line = moving_echo(path);
    const GateSpectrum followed = gate_spectrum(line, rest_depth, half_gate, path);
    const GateSpectrum fixed = gate_spectrum(line, rest_depth, half_gate);
    // The window is sampled as coarsely as the line: a moving echo meets it at fractions of a
    // sample.
    constexpr double sampled_window = 2e-3;
    double followed_error = 0;
    double fixed_error = 0;
    const double largest = followed.values.abs().maxCoeff();
    for (Eigen::Index j = 0; j < followed.bins(); ++j) {
        for (Eigen::Index i = 0; i < path.size(); ++i) {
            const double delay = line.settings.arrival(path[i]);
            const std::complex<double> turn =
                std::polar(1.0, -2 * std::numbers::pi * followed.frequencies[j] * delay);
            const auto error = [&](const GateSpectrum& g) {
                return std::abs(g.values(i, j) - turn * g.values(0, j)) / largest;
            };
            followed_error = std::max(followed_error, error(followed));
            fixed_error = std::max(fixed_error, error(fixed));
        }
    }
    CHECK_WITHIN(followed_error, 0.0, sampled_window);
    CHECK(fixed_error > 10 * sampled_window);
}

TEST_CASE("spectra are the direct sum over the windowed samples") {
    const Eigen::ArrayXd path = swing(30, 300e-6);
    const LineHistory line = moving_echo(0.5 * path);
    for (const double taper : {0.6, 1.0}) {
        const GateSpectrum gate =
            gate_spectrum(line, rest_depth, half_gate, path, GateWindow{.taper = taper});
        const double count = static_cast<double>(gate.grid.count);
        double largest = 0;
        for (Eigen::Index i = 0; i < path.size(); ++i) {
            for (Eigen::Index j = 0; j < gate.bins(); ++j) {
                std::complex<double> sum = 0;
                for (Eigen::Index k = 0; k < line.samples.cols(); ++k) {
                    const double time =
                        line.grid.time(static_cast<double>(k)) - gate.grid.start_time;
                    const double place =
                        (time - line.settings.arrival(path[i])) * gate.grid.sampling_rate;
                    sum +=
                        line.samples(i, k) * window((place + 0.5) / count, taper) *
                        std::polar(1.0, -2 * std::numbers::pi * (gate.frequencies[j] - 4e6) * time);
                }
                largest = std::max(largest, std::abs(gate.values(i, j) - sum / std::sqrt(count)));
            }
        }
        constexpr double rounding = 1e-12;  // of sums of 40 samples of order one
        CHECK_WITHIN(largest, 0.0, rounding);
    }
}

TEST_CASE("samples come back from all bins, and a short gate or path is refused") {
    const LineHistory line = moving_echo(swing(5, 100e-6));
    // Wide enough to keep all bins of 4 MHz.
    const GateSpectrum gate = gate_spectrum(line, rest_depth, half_gate, GateWindow{1, 2.1});
    REQUIRE(gate.bins() == static_cast<Eigen::Index>(gate.grid.count));
    const Eigen::ArrayXXcd samples = gate_samples(gate, gate.values);
    const auto first =
        static_cast<Eigen::Index>(std::lround(line.grid.index(gate.grid.start_time)));
    const double count = static_cast<double>(gate.grid.count);
    double largest = 0;
    for (Eigen::Index k = 0; k < samples.cols(); ++k) {
        const double weight = window((static_cast<double>(k) + 0.5) / count, 1.0);
        largest = std::max(
            largest, (samples.col(k) - weight * line.samples.col(first + k)).abs().maxCoeff());
    }
    constexpr double rounding = 1e-12;
    CHECK_WITHIN(largest, 0.0, rounding);
    CHECK_THROWS_AS(static_cast<void>(gate_spectrum(line, rest_depth, 0.1e-3)), InvalidInput);
    CHECK_THROWS_AS(static_cast<void>(gate_spectrum(line, 1.0, half_gate)), InvalidInput);
    CHECK_THROWS_AS(
        static_cast<void>(gate_spectrum(line, rest_depth, half_gate, Eigen::ArrayXd::Zero(4))),
        InvalidInput);
}
