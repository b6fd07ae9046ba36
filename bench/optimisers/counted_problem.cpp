#include "counted_problem.hpp"

#include <algorithm>
#include <ctime>

#include "echo_fit.hpp"
#include "echosieve/optimise/detail/difference.hpp"
#include "echosieve/optimise/objective.hpp"

namespace bench {

using namespace echosieve;

double thread_seconds() {
    timespec now{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
    return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

Run::Run(const Problem& problem, std::size_t budget, double seconds)
    : problem_(problem),
      budget_(budget),
      most_seconds_(seconds),
      start_(thread_seconds()),
      last_(problem.dimension(), std::numeric_limits<double>::quiet_NaN()),
      moved_(problem.dimension()),
      g_(problem.inequalities),
      h_(problem.equalities),
      constraints_(3 * (problem.inequalities + problem.equalities)) {}

bool Run::feasible(std::span<const double> x) {
    if (!problem_.box.contains(x)) {
        return false;
    }
    if (!problem_.constrained()) {
        return true;
    }
    problem_.constrain(x, g_, h_);
    for (double& g : g_) {
        g -= Problem::inequality_slack;
    }
    return violation<double>(g_, h_, problem_.equality_tolerance) == 0;
}

void Run::count(std::span<const double> x, double value) {
    if (over_) {
        return;
    }
    if (!std::ranges::equal(x, last_)) {
        std::ranges::copy(x, last_.begin());
        ++record_.evaluations;
    }
    // Feasibility is looked into where it matters only.
    if (value < record_.best && feasible(x)) {
        record_.best = value;
        record_.success = value <= problem_.target;
        over_ = record_.success;
    }
    // The clock takes as long as an evaluation: it is read now and then.
    const bool late = record_.evaluations % 64 == 0 && thread_seconds() - start_ > most_seconds_;
    over_ = over_ || late || record_.evaluations >= budget_;
    if (over_) {
        record_.seconds = thread_seconds() - start_;
    }
}

double Run::value(std::span<const double> x) {
    const double out = problem_.fit ? (*problem_.fit)(x) : problem_.value(x);
    count(x, out);
    return out;
}

void Run::values(const Points<double>& points, std::span<double> values) {
    if (problem_.fit) {
        problem_.fit->evaluate(points, values);
    }
    for (std::size_t i = 0; i < points.size(); ++i) {
        points.read(i, moved_);
        if (!problem_.fit) {
            values[i] = problem_.value(moved_);
        }
        count(moved_, values[i]);
    }
}

double Run::value_and_gradient(std::span<const double> x, std::span<double> gradient) {
    if (problem_.fit) {
        const double out = problem_.fit->value_and_gradient(x, gradient);
        count(x, out);
        return out;
    }
    const double here = value(x);
    std::ranges::copy(x, moved_.begin());
    for (std::size_t k = 0; k < x.size(); ++k) {
        const double at = std::clamp(x[k], lower(k), upper(k));
        const Difference<double> d = difference_at(at, lower(k), upper(k));
        moved_[k] = d.first;
        const double first = value(moved_);
        moved_[k] = d.second;
        const double second = value(moved_);
        moved_[k] = x[k];
        gradient[k] = d.weight_first * first + d.weight_second * second + d.weight_here * here;
    }
    return here;
}

double Run::normal_equations(std::span<const double> x, std::span<double> gram,
                             std::span<double> gradient) {
    const double out = problem_.fit->normal_equations(x, gram, gradient);
    count(x, out);
    return out;
}

double Run::residuals(std::span<const double> x, std::span<double> r, std::span<double> jacobian) {
    problem_.fit->residuals(x, r, jacobian);
    double out = 0;
    for (const double component : r) {
        out += component * component;
    }
    count(x, out);
    return out;
}

void Run::constrain(std::span<const double> x, std::span<double> g, std::span<double> h) const {
    problem_.constrain(x, g, h);
}

void Run::constraint_slopes(std::span<const double> x, std::span<double> slopes) {
    const std::size_t n = x.size();
    const std::size_t count = problem_.inequalities + problem_.equalities;
    const auto at = [&](std::size_t point) {
        const std::span<double> all = std::span(constraints_).subspan(point * count, count);
        problem_.constrain(moved_, all.first(problem_.inequalities),
                           all.subspan(problem_.inequalities));
        return all;
    };
    std::ranges::copy(x, moved_.begin());
    const std::span<double> here = at(0);
    for (std::size_t i = 0; i < n; ++i) {
        const double place = std::clamp(x[i], lower(i), upper(i));
        const Difference<double> d = difference_at(place, lower(i), upper(i));
        moved_[i] = d.first;
        const std::span<double> first = at(1);
        moved_[i] = d.second;
        const std::span<double> second = at(2);
        moved_[i] = x[i];
        for (std::size_t k = 0; k < count; ++k) {
            slopes[k * n + i] =
                d.weight_first * first[k] + d.weight_second * second[k] + d.weight_here * here[k];
        }
    }
}

RunRecord Run::record() {
    if (!over_) {  // the method ended by itself
        over_ = true;
        record_.seconds = thread_seconds() - start_;
    }
    return record_;
}

}  // namespace bench
