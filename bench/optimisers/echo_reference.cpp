#include "echo_reference.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <limits>
#include <span>

#include "echosieve/core/random.hpp"

namespace bench {
namespace {

using namespace echosieve;

constexpr int most_iterations = 300;
constexpr double least_fall = 1e-13;
constexpr double same_value = 1e-6;

// One echo after another, each put where a value drawn between the least and the median of some
// trials lies: good places, and not the same ones each time.
void place_echoes(const EchoFit& fit, RandomStream& stream, std::vector<double>& x) {
    constexpr std::size_t trials = 8;
    const std::size_t n = fit.dimension();
    for (std::size_t k = 0; k < n; k += EchoFit::block) {
        std::vector<double> best;
        double least = std::numeric_limits<double>::infinity();
        for (std::size_t trial = 0; trial < trials; ++trial) {
            for (std::size_t j = 0; j < EchoFit::block; ++j) {
                x[k + j] = stream.uniform();
            }
            // Those to come lie on the one placed last, where they explain nothing.
            for (std::size_t rest = k + EchoFit::block; rest < n; ++rest) {
                x[rest] = x[rest - EchoFit::block];
            }
            const double value = fit(x);
            if (value < least) {
                least = value;
                best = x;
            }
        }
        x = best;
    }
}

}  // namespace

double fit_locally(const EchoFit& fit, std::vector<double>& x) {
    const std::size_t size = fit.dimension();
    const auto n = static_cast<Eigen::Index>(size);
    Eigen::MatrixXd gram(n, n);
    Eigen::VectorXd gradient(n);
    Eigen::MatrixXd matrix(n, n);
    Eigen::VectorXd step(n);
    std::vector<double> trial(size);
    const auto span = [&](auto& m) {
        return std::span<double>(m.data(), static_cast<std::size_t>(m.size()));
    };
    double value = fit.normal_equations(x, span(gram), span(gradient));
    double damping = 1e-3;
    int small = 0;
    for (int k = 0; k < most_iterations && small < 3 && damping < 1e12; ++k) {
        matrix = gram;
        step = -gradient;
        for (Eigen::Index i = 0; i < n; ++i) {
            const double at = x[static_cast<std::size_t>(i)];
            if ((at <= 0 && gradient[i] > 0) || (at >= 1 && gradient[i] < 0)) {
                matrix.row(i).setZero();
                matrix.col(i).setZero();
                matrix(i, i) = 1;
                step[i] = 0;
            } else {
                matrix(i, i) += damping * gram(i, i) + 1e-300;
            }
        }
        step = matrix.ldlt().solve(step).eval();
        for (std::size_t i = 0; i < size; ++i) {
            const double by = step[static_cast<Eigen::Index>(i)];
            trial[i] = std::isfinite(by) ? std::clamp(x[i] + by, 0.0, 1.0) : x[i];
        }
        const double there = fit(trial);
        if (there < value) {
            small = value - there < least_fall * value ? small + 1 : 0;
            x = trial;
            value = fit.normal_equations(x, span(gram), span(gradient));
            damping = std::max(damping / 5, 1e-15);
        } else {
            damping *= 4;
        }
    }
    return value;
}

EchoReference find_reference(const EchoFit& fit, std::size_t starts, std::uint64_t seed) {
    EchoReference out;
    out.x = fit.truth();
    out.from_truth = fit_locally(fit, out.x);
    out.value = out.from_truth;
    out.starts = starts;
    std::vector<double> values;
    std::vector<double> x(fit.dimension());
    for (std::size_t i = 0; i < starts; ++i) {
        RandomStream stream(seed, i);
        if (i % 2 == 0) {
            std::ranges::generate(x, [&] { return stream.uniform(); });
        } else {
            place_echoes(fit, stream, x);
        }
        values.push_back(fit_locally(fit, x));
        if (values.back() < out.value) {
            out.value = values.back();
            out.x = x;
        }
    }
    out.hits = static_cast<std::size_t>(std::ranges::count_if(
        values, [&](double value) { return value <= out.value * (1 + same_value); }));
    return out;
}

}  // namespace bench
