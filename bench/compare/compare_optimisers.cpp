// General-purpose optimisers beside the swarm in lanes: one echo on the conditioned gate, the same
// objective, and as many evaluations. Those of NLopt and of pagmo come in where the libraries were
// found.
//
//   compare_optimisers [frames = 20] [first seed = 1]
//
// The others call a scalar function of three numbers; its sums are vectorised over samples
// (lane_atom.hpp, double).
#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <functional>
#include <limits>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "echosieve/kernels/detail/echo_swarm.hpp"
#include "echosieve/optimise/particle_swarm.hpp"
#include "frames.hpp"
#include "optimisers/counted_problem.hpp"
#include "optimisers/method.hpp"
#include "processor_time.hpp"
#include "program.hpp"
#include "single_echo_gate.hpp"
#include "textbook_pursuit.hpp"

namespace {

using namespace echosieve;
using namespace bench;

constexpr std::size_t budget = 5000;
constexpr std::size_t particles = 50;

// Energy not explained, less the whole, in coordinates of the unit cube: arrival, rotation, root of
// the decay. No value ends a run.
Problem problem_of(SingleEchoGate& gate_problem) {
    const EchoSwarmBounds bounds = gate_problem.swarm_bounds();
    const auto value = [&gate_problem, bounds](std::span<const double> unit) {
        const auto at = [](const EchoSwarmBounds::Range& r, double x) {
            return r.lower + std::clamp(x, 0.0, 1.0) * (r.upper - r.lower);
        };
        const double root = at(bounds.root_decay, unit[2]);
        return -gate_problem.explained(
            {at(bounds.arrival, unit[0]), at(bounds.rotation, unit[1]), root * root});
    };
    return {.name = "one echo",
            .box = Box<double>(std::vector<double>(3, 0), std::vector<double>(3, 1)),
            .target = -std::numeric_limits<double>::infinity(),
            .value = value,
            .fit = {},
            .constrain = {}};
}

struct Entry {
    std::string name;
    /// Gives the explained energy that it found, and the number of evaluations.
    std::function<std::pair<double, std::size_t>(const Problem&, std::uint64_t seed)> run;
    std::vector<double> seconds;
    std::vector<double> explained;
    std::size_t evaluations = 0;
};

std::vector<Entry> entries_on(SingleEchoGate& gate_problem, EchoSwarm& lanes) {
    std::vector<Entry> out;
    out.push_back(
        {"swarm in lanes",
         [&](const Problem&, std::uint64_t seed) {
             lanes.seed(seed);
             const EchoSwarmPoint p = lanes.search(gate_problem.real(), gate_problem.imag());
             return std::pair(
                 gate_problem.explained({p.arrival, p.rotation, p.root_decay * p.root_decay}),
                 budget);
         },
         {},
         {},
         0});
    const Swarm swarm{.particles = particles, .iterations = budget / particles - 1};
    std::vector<Method> methods{enter("Swarm", "", swarm)};
    constexpr std::array<std::string_view, 8> chosen = {
        "CRS2_LM",          "ISRES",           "ESCH", "DIRECT_L",
        "BOBYQA, restarts", "SBPLX, restarts", "pso",  "sade"};
    for (const auto list : {nlopt_methods, pagmo_methods}) {
        for (Method& method : list()) {
            if (std::ranges::find(chosen, method.name) != chosen.end()) {
                methods.push_back(std::move(method));
            }
        }
    }
    for (const Method& method : methods) {
        out.push_back({method.library + " " + method.name,
                       [method](const Problem& problem, std::uint64_t seed) {
                           Run run(problem, budget, std::numeric_limits<double>::infinity());
                           method.run(run, seed);
                           const RunRecord record = run.record();
                           return std::pair(-record.best, record.evaluations);
                       },
                       {},
                       {},
                       0});
    }
    return out;
}

}  // namespace

int main(int count, char** arguments) {
    const std::size_t frames = std::max<std::size_t>(number_argument(count, arguments, 1, 20), 1);
    const std::uint64_t first = number_argument(count, arguments, 2, 1);
    SingleEchoGate problem;
    EchoSwarm lanes(problem.weights(), problem.swarm_bounds());
    const Problem one_echo = problem_of(problem);
    std::vector<Entry> entries = entries_on(problem, lanes);
    for (std::size_t k = 0; k < frames; ++k) {
        std::vector<double> raw = crowded_frame(first + k);
        for (std::size_t e = 0; e < echoes_a_frame; ++e) {
            problem.condition(raw);
            for (Entry& entry : entries) {
                const double start = processor_seconds();
                const auto [explained, evaluations] =
                    entry.run(one_echo, 1000 * (first + k) + e + 1);
                entry.seconds.push_back(processor_seconds() - start);
                entry.explained.push_back(explained);
                entry.evaluations += evaluations;
            }
            // The next echo is looked for on what the textbook's leaves.
            const textbook::Samples samples{raw.data(), raw.size(), gate.start_time,
                                            gate.sampling_rate};
            const Place place =
                textbook::search(samples, textbook_bounds(), {}, 1000 * (first + k) + e);
            textbook::subtract(samples, place, raw.data());
        }
    }
    const std::size_t echoes = frames * echoes_a_frame;
    std::vector<double> most(echoes, 0);
    for (const Entry& entry : entries) {
        for (std::size_t i = 0; i < echoes; ++i) {
            most[i] = std::max(most[i], entry.explained[i]);
        }
    }
    std::printf("%zu echoes; energy lost: part of the most that any method explains\n", echoes);
    std::printf("%-34s %12s %8s %10s %10s %10s %8s %8s\n", "method", "evaluations", "us", "ns/eval",
                "median", "worst", ">1e-4", ">1e-2");
    for (const Entry& entry : entries) {
        std::vector<double> lost;
        for (std::size_t i = 0; i < echoes; ++i) {
            lost.push_back(1 - entry.explained[i] / most[i]);
        }
        const double evaluations =
            static_cast<double>(entry.evaluations) / static_cast<double>(echoes);
        const double seconds = median(entry.seconds);
        const auto above = [&](double limit) {
            return std::ranges::count_if(lost, [&](double x) { return x > limit; });
        };
        std::printf("%-34s %12.0f %8.1f %10.2f %10.1e %10.1e %8td %8td\n", entry.name.c_str(),
                    evaluations, 1e6 * seconds, 1e9 * seconds / evaluations, median(lost),
                    *std::ranges::max_element(lost), above(1e-4), above(1e-2));
    }
}
