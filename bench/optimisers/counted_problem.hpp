// What methods are run on, and what is counted while they run.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <limits>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "echosieve/core/box.hpp"
#include "echosieve/optimise/objective.hpp"

namespace bench {

enum class ProblemKind { echo_fit, published, constrained };

class EchoFit;

/// A function to be minimised over a box, and the value that counts as its minimum found. What it
/// has not, is empty.
struct Problem {
    std::string name;
    ProblemKind kind = ProblemKind::published;
    echosieve::Box<double> box;
    double least = 0;   ///< the minimum, f*
    double target = 0;  ///< a feasible point of no more than this value ends a run
    std::function<double(std::span<const double>)> value;
    /// Set for echo fits: many points at once, gradient, normal equations and residuals.
    std::shared_ptr<const EchoFit> fit;
    std::size_t block = 0;  ///< unknowns that belong together, in this order; 0: none do
    std::size_t inequalities = 0;
    std::size_t equalities = 0;
    double equality_tolerance = 1e-4;
    static constexpr double inequality_slack = 1e-8;
    /// g <= 0, |h| <= equality_tolerance. Counted as met are also g <= inequality_slack, which
    /// methods need that end on a bound of what is feasible.
    std::function<void(std::span<const double>, std::span<double> g, std::span<double> h)>
        constrain;

    [[nodiscard]] std::size_t dimension() const noexcept { return box.dimension(); }
    [[nodiscard]] bool constrained() const noexcept { return inequalities + equalities > 0; }
};

/// What a run needed.
struct RunRecord {
    bool success = false;
    std::size_t evaluations = 0;  ///< to the target, or until the run was over
    double seconds = 0;           ///< processor time of the thread, likewise
    double best = std::numeric_limits<double>::infinity();  ///< least value at a feasible point
};

/// One run of a method on a problem: what it asks the objective goes through here. An evaluation is
/// one point at which it is asked, for the value alone or with derivatives; the points of a batch
/// and those of numeric differences count one each. A point that is asked for again at once (first
/// the value, then the derivatives) counts once. What comes after the target is not counted.
class Run {
public:
    Run(const Problem& problem, std::size_t budget, double seconds);

    [[nodiscard]] const Problem& problem() const noexcept { return problem_; }
    [[nodiscard]] std::size_t dimension() const noexcept { return problem_.dimension(); }
    [[nodiscard]] double lower(std::size_t k) const noexcept { return problem_.box.lower(k); }
    [[nodiscard]] double upper(std::size_t k) const noexcept { return problem_.box.upper(k); }
    [[nodiscard]] std::size_t remaining() const noexcept { return budget_ - record_.evaluations; }

    /// The target was met, or the evaluations or the time are used up: a method ends here, and is
    /// not charged for what it asks nevertheless.
    [[nodiscard]] bool over() const noexcept { return over_; }
    /// Thrown by those below that say so, for methods that have no other way to be ended.
    struct Over {};
    void throw_if_over() const {
        if (over_) {
            throw Over{};
        }
    }

    double value(std::span<const double> x);
    void values(const echosieve::Points<double>& points, std::span<double> values);
    /// By the problem's own derivatives, or by central differences inside the box, whose points
    /// count.
    double value_and_gradient(std::span<const double> x, std::span<double> gradient);
    /// Of echo fits only.
    double normal_equations(std::span<const double> x, std::span<double> gram,
                            std::span<double> gradient);
    double residuals(std::span<const double> x, std::span<double> r, std::span<double> jacobian);
    /// Not counted: asked for beside the value.
    void constrain(std::span<const double> x, std::span<double> g, std::span<double> h) const;
    /// Slopes of constraint number k (of the inequalities and then the equalities) by coordinate i
    /// at [k * dimension + i], by the differences that value_and_gradient() has counted.
    void constraint_slopes(std::span<const double> x, std::span<double> slopes);

    /// A point of the box, each from the next numbers of the stream.
    template <class Stream>
    void draw(Stream& stream, std::span<double> x) const {
        for (std::size_t k = 0; k < x.size(); ++k) {
            x[k] = stream.uniform(lower(k), upper(k));
        }
    }

    [[nodiscard]] RunRecord record();

private:
    void count(std::span<const double> x, double value);
    [[nodiscard]] bool feasible(std::span<const double> x);

    const Problem& problem_;
    std::size_t budget_;
    double most_seconds_;
    double start_;
    RunRecord record_;
    bool over_ = false;
    std::vector<double> last_;  // the point counted last
    std::vector<double> moved_;
    std::vector<double> g_;
    std::vector<double> h_;
    std::vector<double> constraints_;  // at the three points of a difference
};

/// Processor time of the calling thread [s].
[[nodiscard]] double thread_seconds();

}  // namespace bench
