// kernels: phasors, recurrences, the swarm in lanes.
#include <array>
#include <complex>
#include <cstddef>
#include <limits>
#include <span>
#include <vector>

#include "bad_input.hpp"
#include "echosieve/kernels/detail/echo_swarm.hpp"
#include "echosieve/kernels/detail/phasors.hpp"
#include "echosieve/kernels/detail/recurrence_row.hpp"

namespace echosieve::test {
namespace {

void rows(BadInputs& out) {
    const auto phasors = [](std::vector<double> delays, const FrequencyRow& row,
                            std::size_t numbers) {
        return [=] {
            std::vector<std::complex<double>> room(numbers);
            write_phasors(delays, row, room);
        };
    };
    out.add("write_phasors", "numbers to write", 5, phasors({1e-7, 2e-7}, {1e6, 1e5, 3}, 5));
    out.add("write_phasors", "angular frequencies", "nan to nan",
            phasors({1e-7}, {not_a_number, 1e5, 3}, 3));
    out.add("write_phasors", "angular frequencies", "1000000 to inf",
            phasors({1e-7}, {1e6, infinite, 3}, 3));
    out.add("write_phasors", "angle", not_a_number,
            phasors({1e-7, not_a_number}, {1e6, 1e5, 3}, 6));
    out.add("write_phasors", "angle", infinite, phasors({infinite}, {1e6, 1e5, 3}, 3));
    out.add("write_phasors", "angle", 2e6, phasors({2}, {1e6, 0, 3}, 3));
    for (const double bad : {not_a_number, infinite}) {
        const auto row = [](const SampleRecurrence& recurrence) {
            return [=] {
                std::array<float, 8> room{};
                add_recurrence(recurrence, room);
            };
        };
        out.add("add_recurrence", "number of a recurrence", bad, row({{bad, 0}, {1, 0}, 1}));
        out.add("add_recurrence", "number of a recurrence", bad, row({{1, 0}, {1, bad}, 1}));
        out.add("add_recurrence", "number of a recurrence", bad, row({{1, 0}, {1, 0}, bad}));
    }
}

const EchoSwarmBounds good_bounds{{0, 20}, {-0.1, 0.1}, {0.1, 0.2}};

void options(BadInputs& out) {
    const auto use = [](const EchoSwarmOptions& o) { validate(o); };
    const EchoSwarmOptions good;
    using O = EchoSwarmOptions;
    out.vary("EchoSwarm", "particles", good, &O::particles, {std::size_t{0}, std::size_t{1025}},
             use);
    out.vary("EchoSwarm", "iterations", good, &O::iterations, {std::size_t{0}}, use);
    out.vary("EchoSwarm", "inertia", good, &O::inertia, {-0.1, 1.0, not_a_number}, use);
    out.vary("EchoSwarm", "own_pull", good, &O::own_pull, {-0.1, 4.0, not_a_number}, use);
    out.vary("EchoSwarm", "best_pull", good, &O::best_pull, {-0.1, 4.0, infinite}, use);
    out.vary("EchoSwarm", "local_part", good, &O::local_part, {-0.1, 1.1, not_a_number}, use);
}

void searches(BadInputs& out) {
    const auto swarm = [](std::size_t samples, double weight, const EchoSwarmBounds& bounds) {
        return [=] {
            const std::vector<double> weights(samples, weight);
            static_cast<void>(EchoSwarm(weights, bounds));
        };
    };
    out.add("EchoSwarm", "number of weights", 0, swarm(0, 1, good_bounds));
    out.add("EchoSwarm", "number of weights", 1025, swarm(1025, 1, good_bounds));
    out.add("EchoSwarm", "weight 0", not_a_number, swarm(20, not_a_number, good_bounds));
    out.add("EchoSwarm", "weight 0", 1.5, swarm(20, 1.5, good_bounds));
    out.add("EchoSwarm", "root_decay.upper", 0.5, swarm(20, 1, {{0, 20}, {0, 0}, {0.1, 0.5}}));
    out.add("EchoSwarm", "root_decay", "0.1 to nan",
            swarm(20, 1, {{0, 20}, {0, 0}, {0.1, not_a_number}}));
    out.add("EchoSwarm", "root_decay", "0 to 0", swarm(20, 1, {{0, 20}, {0, 0}, {0, 0}}));
    out.add("EchoSwarm", "rotation", "-4 to 0", swarm(20, 1, {{0, 20}, {-4, 0}, {0.1, 0.2}}));
    out.add("EchoSwarm", "arrival", "0 to 100", swarm(20, 1, {{0, 100}, {0, 0}, {0.1, 0.2}}));
    const auto search = [](std::vector<double> real, std::vector<double> imag) {
        return [=] {
            EchoSwarm good(std::vector<double>(20, 1), good_bounds);
            static_cast<void>(good.search(real, imag));
        };
    };
    out.add("EchoSwarm::search", "samples", "20, 19",
            search(std::vector<double>(20), std::vector<double>(19)));
    out.add("EchoSwarm::search", "energy", infinite,
            search(std::vector<double>(20, infinite), std::vector<double>(20)));
    out.add("EchoSwarm::explained", "points and numbers out", "2, 1", [] {
        EchoSwarm good(std::vector<double>(20, 1), good_bounds);
        const std::vector<double> samples(20);
        const std::vector<EchoSwarmPoint> points(2);
        std::vector<double> room(1);
        good.explained(samples, samples, points, room);
    });
    out.add("EchoSwarm::explained", "point", "NaN", [] {
        EchoSwarm good(std::vector<double>(20, 1), good_bounds);
        const std::vector<double> samples(20);
        const std::vector<EchoSwarmPoint> points{{not_a_number, 0, 0.1, 0}};
        std::vector<double> room(1);
        good.explained(samples, samples, points, room);
    });
}

}  // namespace

BadInputs kernel_cases() {
    BadInputs out;
    rows(out);
    options(out);
    searches(out);
    return out;
}

}  // namespace echosieve::test
