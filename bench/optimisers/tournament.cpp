#include "tournament.hpp"

#include <algorithm>
#include <limits>
#include <mutex>
#include <tuple>
#include <utility>

#include "echosieve/core/threads.hpp"

namespace bench {
namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

}  // namespace

bool any_of_kind(const Tournament& t, ProblemKind kind) {
    return std::ranges::any_of(t.problems, [&](const Problem& p) { return p.kind == kind; });
}

const char* title(ProblemKind kind) {
    return kind == ProblemKind::echo_fit    ? "Echo fits"
           : kind == ProblemKind::published ? "Published problems"
                                            : "Published problems under constraints";
}

Tournament run_tournament(std::vector<Problem> problems, std::vector<Method> methods,
                          const TournamentOptions& options,
                          const std::function<void(double)>& progress) {
    Tournament out{options, std::move(problems), std::move(methods), {}};
    const std::size_t columns = out.problems.size();
    out.records.assign(out.methods.size(), std::vector<std::vector<RunRecord>>(columns));
    std::mutex mutex;
    std::size_t done = 0;
    const std::size_t all = out.methods.size() * columns;
    echosieve::for_each_item(all, options.threads, [&](std::size_t item) {
        const Method& method = out.methods[item / columns];
        const Problem& problem = out.problems[item % columns];
        if (method.takes(problem)) {
            std::vector<RunRecord>& records = out.records[item / columns][item % columns];
            bool hope = true;
            for (std::size_t seed = 1; seed <= options.seeds && hope; ++seed) {
                Run run(problem, options.budget, options.seconds);
                method.run(run, seed);
                records.push_back(run.record());
                hope = records.size() < options.hopeless ||
                       std::ranges::any_of(records, [](const RunRecord& r) { return r.success; });
            }
        }
        const std::lock_guard lock(mutex);
        progress(static_cast<double>(++done) / static_cast<double>(all));
    });
    return out;
}

double median(std::vector<double> values) {
    if (values.empty()) {
        return std::numeric_limits<double>::quiet_NaN();
    }
    std::ranges::sort(values);
    const std::size_t half = values.size() / 2;
    return values.size() % 2 == 1 ? values[half] : (values[half - 1] + values[half]) / 2;
}

Score score(const std::vector<RunRecord>& records) {
    Score out;
    std::vector<double> evaluations;
    std::vector<double> seconds;
    double spent = 0;
    for (const RunRecord& record : records) {
        ++out.runs;
        out.successes += record.success ? 1 : 0;
        spent += static_cast<double>(record.evaluations);
        evaluations.push_back(record.success ? static_cast<double>(record.evaluations) : infinite);
        seconds.push_back(record.success ? record.seconds : infinite);
    }
    out.evaluations = median(evaluations);
    out.seconds = median(seconds);
    out.expected_evaluations =
        out.successes > 0 ? spent / static_cast<double>(out.successes) : infinite;
    return out;
}

Total total(const Tournament& t, std::size_t method, ProblemKind kind) {
    Total out;
    std::vector<double> evaluations;
    std::vector<double> seconds;
    std::vector<double> expected;
    for (std::size_t p = 0; p < t.problems.size(); ++p) {
        const Score one = score(t.records[method][p]);
        if (t.problems[p].kind == kind && one.runs > 0) {
            out.runs += one.runs;
            out.successes += one.successes;
            evaluations.push_back(one.evaluations);
            seconds.push_back(one.seconds);
            expected.push_back(one.expected_evaluations);
        }
    }
    out.evaluations = median(evaluations);
    out.seconds = median(seconds);
    out.expected_evaluations = median(expected);
    return out;
}

std::vector<std::size_t> ranking(const Tournament& t, ProblemKind kind, Measure measure) {
    std::vector<std::pair<std::tuple<double, double>, std::size_t>> order;
    for (std::size_t m = 0; m < t.methods.size(); ++m) {
        const Total all = total(t, m, kind);
        if (all.runs > 0) {
            const double first = measure == Measure::evaluations ? all.evaluations : all.seconds;
            order.push_back({{first, -all.rate()}, m});
        }
    }
    std::ranges::sort(order);
    std::vector<std::size_t> out;
    for (const auto& [key, method] : order) {
        out.push_back(method);
    }
    return out;
}

}  // namespace bench
