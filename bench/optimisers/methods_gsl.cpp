// Methods of the GNU Scientific Library. It knows no bounds: x = lower + width (1 + sin t) / 2
// takes the box to all of space.
#include "method.hpp"

#if defined(BENCH_HAS_GSL)
#include <gsl/gsl_errno.h>
#include <gsl/gsl_multifit_nlinear.h>
#include <gsl/gsl_multimin.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>

#include "echo_fit.hpp"

namespace bench {
namespace {

using namespace echosieve;

constexpr int most_iterations = 200;

// A run in the unknowns t.
class Unbounded {
public:
    explicit Unbounded(Run& run) : run_(run), x_(run.dimension()), slope_(run.dimension()) {}

    [[nodiscard]] Run& run() const noexcept { return run_; }
    std::span<const double> bounded(const gsl_vector* t) {
        for (std::size_t k = 0; k < x_.size(); ++k) {
            const double half = run_.problem().box.width(k) / 2;
            const double at = gsl_vector_get(t, k);
            x_[k] =
                std::clamp(run_.lower(k) + half * (1 + std::sin(at)), run_.lower(k), run_.upper(k));
            slope_[k] = half * std::cos(at);
        }
        return x_;
    }
    // dx/dt of the point last bounded.
    [[nodiscard]] double slope(std::size_t k) const noexcept { return slope_[k]; }
    // Uniform in x.
    void draw(RandomStream& stream, gsl_vector* t) const {
        for (std::size_t k = 0; k < x_.size(); ++k) {
            gsl_vector_set(t, k, std::asin(2 * stream.uniform() - 1));
        }
    }

private:
    Run& run_;
    std::vector<double> x_;
    std::vector<double> slope_;
};

using Vector = std::unique_ptr<gsl_vector, decltype(&gsl_vector_free)>;

Vector vector(std::size_t n) {
    return {gsl_vector_alloc(n), gsl_vector_free};
}

int residuals(const gsl_vector* t, void* data, gsl_vector* r) {
    Unbounded& at = *static_cast<Unbounded*>(data);
    static_cast<void>(at.run().residuals(at.bounded(t), {r->data, r->size}, {}));
    return GSL_SUCCESS;
}
int jacobian(const gsl_vector* t, void* data, gsl_matrix* j) {
    Unbounded& at = *static_cast<Unbounded*>(data);
    std::vector<double> r(j->size1);
    std::vector<double> rows(j->size1 * j->size2);
    static_cast<void>(at.run().residuals(at.bounded(t), r, rows));
    for (std::size_t i = 0; i < j->size1; ++i) {
        for (std::size_t k = 0; k < j->size2; ++k) {
            gsl_matrix_set(j, i, k, rows[i * j->size2 + k] * at.slope(k));
        }
    }
    return GSL_SUCCESS;
}

void least_squares(Run& run, std::uint64_t seed) {
    Unbounded at(run);
    RandomStream stream(seed);
    const std::size_t n = run.dimension();
    const std::size_t rows = run.problem().fit->rows();
    gsl_multifit_nlinear_fdf function{};
    function.f = residuals;
    function.df = jacobian;
    function.n = rows;
    function.p = n;
    function.params = &at;
    gsl_multifit_nlinear_parameters parameters = gsl_multifit_nlinear_default_parameters();
    parameters.trs = gsl_multifit_nlinear_trs_lm;
    parameters.solver = gsl_multifit_nlinear_solver_cholesky;
    const std::unique_ptr<gsl_multifit_nlinear_workspace, decltype(&gsl_multifit_nlinear_free)>
        work(gsl_multifit_nlinear_alloc(gsl_multifit_nlinear_trust, &parameters, rows, n),
             gsl_multifit_nlinear_free);
    const Vector t = vector(n);
    while (!run.over()) {
        at.draw(stream, t.get());
        gsl_multifit_nlinear_init(t.get(), &function, work.get());
        for (int k = 0; k < most_iterations && !run.over(); ++k) {
            int end = 0;
            const bool moved = gsl_multifit_nlinear_iterate(work.get()) == GSL_SUCCESS;
            if (!moved ||
                gsl_multifit_nlinear_test(1e-9, 1e-12, 1e-9, &end, work.get()) == GSL_SUCCESS) {
                break;
            }
        }
    }
}

double value(const gsl_vector* t, void* data) {
    Unbounded& at = *static_cast<Unbounded*>(data);
    return at.run().value(at.bounded(t));
}
void value_and_gradient(const gsl_vector* t, void* data, double* f, gsl_vector* g) {
    Unbounded& at = *static_cast<Unbounded*>(data);
    *f = at.run().value_and_gradient(at.bounded(t), {g->data, g->size});
    for (std::size_t k = 0; k < g->size; ++k) {
        gsl_vector_set(g, k, gsl_vector_get(g, k) * at.slope(k));
    }
}
void gradient(const gsl_vector* t, void* data, gsl_vector* g) {
    double f = 0;
    value_and_gradient(t, data, &f, g);
}

void simplex(Run& run, std::uint64_t seed) {
    Unbounded at(run);
    RandomStream stream(seed);
    const std::size_t n = run.dimension();
    gsl_multimin_function function{value, n, &at};
    const std::unique_ptr<gsl_multimin_fminimizer, decltype(&gsl_multimin_fminimizer_free)>
        minimiser(gsl_multimin_fminimizer_alloc(gsl_multimin_fminimizer_nmsimplex2, n),
                  gsl_multimin_fminimizer_free);
    const Vector t = vector(n);
    const Vector step = vector(n);
    gsl_vector_set_all(step.get(), 0.2);
    while (!run.over()) {
        at.draw(stream, t.get());
        gsl_multimin_fminimizer_set(minimiser.get(), &function, t.get(), step.get());
        while (!run.over() && gsl_multimin_fminimizer_iterate(minimiser.get()) == GSL_SUCCESS &&
               gsl_multimin_fminimizer_size(minimiser.get()) > 1e-7) {
        }
    }
}

void quasi_newton(Run& run, std::uint64_t seed) {
    Unbounded at(run);
    RandomStream stream(seed);
    const std::size_t n = run.dimension();
    gsl_multimin_function_fdf function{value, gradient, value_and_gradient, n, &at};
    const std::unique_ptr<gsl_multimin_fdfminimizer, decltype(&gsl_multimin_fdfminimizer_free)>
        minimiser(gsl_multimin_fdfminimizer_alloc(gsl_multimin_fdfminimizer_vector_bfgs2, n),
                  gsl_multimin_fdfminimizer_free);
    const Vector t = vector(n);
    while (!run.over()) {
        at.draw(stream, t.get());
        gsl_multimin_fdfminimizer_set(minimiser.get(), &function, t.get(), 0.1, 0.1);
        double before = minimiser->f;
        for (int k = 0; k < most_iterations && !run.over(); ++k) {
            if (gsl_multimin_fdfminimizer_iterate(minimiser.get()) != GSL_SUCCESS ||
                before - minimiser->f <= 1e-10 * std::abs(before)) {
                break;
            }
            before = minimiser->f;
        }
    }
}

}  // namespace

std::vector<Method> gsl_methods() {
    gsl_set_error_handler_off();  // failures are returned
    const std::string transform = "; x = lower + width (1 + sin t) / 2, from random points";
    return {{"LM, Cholesky", "GSL",
             "multifit_nlinear, trust region, Levenberg-Marquardt, Cholesky, xtol and ftol 1e-9" +
                 transform,
             least_squares, sums_of_squares},
            {"nmsimplex2", "GSL", "simplex of 0.2, until its size is 1e-7" + transform, simplex,
             without_constraints},
            {"bfgs2", "GSL",
             "first step 0.1, line search 0.1, until an iteration gains less than 1e-10 of the "
             "value" +
                 transform,
             quasi_newton, without_constraints}};
}

}  // namespace bench
#else
namespace bench {

std::vector<Method> gsl_methods() {
    return {};
}

}  // namespace bench
#endif
