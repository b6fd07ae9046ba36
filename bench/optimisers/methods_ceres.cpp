// Methods of Ceres Solver.
#include "method.hpp"

#if defined(BENCH_HAS_CERES)
#include <ceres/ceres.h>

#include <algorithm>
#include <cmath>

#include "echo_fit.hpp"

namespace bench {
namespace {

using namespace echosieve;

// The residuals of a fit, one block of all unknowns: x as it is, or t with x = (1 + sin t) / 2.
class Residuals : public ceres::CostFunction {
public:
    Residuals(Run& run, bool transformed)
        : run_(run), transformed_(transformed), x_(run.dimension()) {
        set_num_residuals(static_cast<int>(run.problem().fit->rows()));
        mutable_parameter_block_sizes()->push_back(static_cast<int>(run.dimension()));
    }
    bool Evaluate(const double* const* parameters, double* residuals,
                  double** jacobians) const override {
        const std::size_t n = run_.dimension();
        const std::size_t rows = run_.problem().fit->rows();
        double* jacobian = jacobians == nullptr ? nullptr : jacobians[0];
        for (std::size_t k = 0; k < n; ++k) {
            const double at = parameters[0][k];
            x_[k] = transformed_ ? std::clamp((1 + std::sin(at)) / 2, 0.0, 1.0) : at;
        }
        static_cast<void>(
            run_.residuals(x_, {residuals, rows}, {jacobian, jacobian == nullptr ? 0 : rows * n}));
        if (transformed_ && jacobian != nullptr) {
            for (std::size_t k = 0; k < n; ++k) {
                const double slope = std::cos(parameters[0][k]) / 2;
                for (std::size_t i = 0; i < rows; ++i) {
                    jacobian[i * n + k] *= slope;
                }
            }
        }
        return true;
    }

private:
    Run& run_;
    bool transformed_;
    mutable std::vector<double> x_;
};

class StopWhenOver : public ceres::IterationCallback {
public:
    explicit StopWhenOver(const Run& run) : run_(run) {}
    ceres::CallbackReturnType operator()(const ceres::IterationSummary&) override {
        return run_.over() ? ceres::SOLVER_TERMINATE_SUCCESSFULLY : ceres::SOLVER_CONTINUE;
    }

private:
    const Run& run_;
};

Method from_random_points(const char* name, ceres::LinearSolverType solver,
                          ceres::TrustRegionStrategyType strategy, bool transformed,
                          const char* settings) {
    return {name, "Ceres", settings,
            [solver, strategy, transformed](Run& run, std::uint64_t seed) {
                RandomStream stream(seed);
                std::vector<double> x(run.dimension());
                ceres::Problem problem;
                problem.AddResidualBlock(new Residuals(run, transformed), nullptr, x.data());
                for (std::size_t k = 0; k < (transformed ? 0 : x.size()); ++k) {
                    problem.SetParameterLowerBound(x.data(), static_cast<int>(k), run.lower(k));
                    problem.SetParameterUpperBound(x.data(), static_cast<int>(k), run.upper(k));
                }
                StopWhenOver stop(run);
                ceres::Solver::Options options;
                options.linear_solver_type = solver;
                options.trust_region_strategy_type = strategy;
                options.logging_type = ceres::SILENT;
                options.num_threads = 1;
                options.max_num_iterations = 200;
                options.function_tolerance = 1e-9;
                options.gradient_tolerance = 1e-12;
                options.parameter_tolerance = 1e-9;
                options.callbacks.push_back(&stop);
                while (!run.over()) {
                    run.draw(stream, x);
                    if (transformed) {
                        std::ranges::transform(x, x.begin(),
                                               [](double at) { return std::asin(2 * at - 1); });
                    }
                    ceres::Solver::Summary summary;
                    ceres::Solve(options, &problem, &summary);
                }
            },
            sums_of_squares};
}

}  // namespace

std::vector<Method> ceres_methods() {
    return {
        from_random_points("LM, bounded", ceres::DENSE_QR, ceres::LEVENBERG_MARQUARDT, false,
                           "Levenberg-Marquardt with bounds from random points, dense QR; function "
                           "and parameter tolerance 1e-9, one thread, no logging"),
        from_random_points("dogleg, bounded", ceres::DENSE_NORMAL_CHOLESKY, ceres::DOGLEG, false,
                           "dogleg with bounds from random points, normal equations; as above"),
        from_random_points("LM, transformed", ceres::DENSE_QR, ceres::LEVENBERG_MARQUARDT, true,
                           "Levenberg-Marquardt without bounds, x = (1 + sin t) / 2, from random "
                           "points, dense QR; as above"),
    };
}

}  // namespace bench
#else
namespace bench {

std::vector<Method> ceres_methods() {
    return {};
}

}  // namespace bench
#endif
