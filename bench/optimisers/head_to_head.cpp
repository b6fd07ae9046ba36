#include "head_to_head.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

namespace bench {
namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

}  // namespace

std::size_t best(const Tournament& t, ProblemKind kind, Measure measure, bool ours) {
    for (const std::size_t m : ranking(t, kind, measure)) {
        if (is_ours(t.methods[m]) == ours) {
            return m;
        }
    }
    return t.methods.size();
}

std::pair<double, std::size_t> least(const Tournament& t, std::size_t problem, Measure measure,
                                     bool ours) {
    std::pair<double, std::size_t> out{infinite, t.methods.size()};
    for (std::size_t m = 0; m < t.methods.size(); ++m) {
        const Score one = score(t.records[m][problem]);
        if (one.runs > 0 && is_ours(t.methods[m]) == ours) {
            out =
                std::min(out, {measure == Measure::evaluations ? one.evaluations : one.seconds, m});
        }
    }
    return out;
}

HeadToHead head_to_head(const Tournament& t, ProblemKind kind, Measure measure) {
    HeadToHead out{best(t, kind, measure, true), best(t, kind, measure, false), 0, 0, 0, 0, 0};
    if (out.ours == t.methods.size() || out.other == t.methods.size()) {
        return out;
    }
    const auto value = [&](const auto& s) {
        return measure == Measure::evaluations ? s.evaluations : s.seconds;
    };
    // Both infinite: nobody is better.
    const auto over = [](double a, double b) {
        return std::isfinite(a) || std::isfinite(b) ? a / b : 1.0;
    };
    out.our_total = value(total(t, out.ours, kind));
    out.other_total = value(total(t, out.other, kind));
    out.ratio = over(out.other_total, out.our_total);
    std::vector<double> ratios;
    std::vector<double> best_ratios;
    for (std::size_t p = 0; p < t.problems.size(); ++p) {
        if (t.problems[p].kind == kind) {
            const double mine = value(score(t.records[out.ours][p]));
            const Score other = score(t.records[out.other][p]);
            ratios.push_back(over(other.runs > 0 ? value(other) : infinite, mine));
            best_ratios.push_back(over(least(t, p, measure, false).first, mine));
        }
    }
    out.median_ratio = median(ratios);
    out.best_ratio = median(best_ratios);
    return out;
}

}  // namespace bench
