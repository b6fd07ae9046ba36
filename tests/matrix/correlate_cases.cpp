// correlate: delays, bounds, plans.
#include <complex>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "bad_input.hpp"
#include "echosieve/atoms/gabor.hpp"
#include "echosieve/correlate/bound.hpp"
#include "echosieve/correlate/delay.hpp"
#include "echosieve/correlate/delay_limits.hpp"
#include "echosieve/correlate/measurement_plan.hpp"
#include "echosieve/correlate/sampled.hpp"

namespace echosieve::test {
namespace {

using Plain = Gabor<double>;
using PlainEcho = Echo<Plain>;

const PlainEcho good_echo{{20e-6, 4e6, 1e6}};

void delays(BadInputs& out) {
    const auto use = [](const DelayOptions& options) {
        static_cast<void>(delay_between(good_echo, good_echo, std::nullopt, options));
    };
    using O = DelayOptions;
    out.vary("delay_between", "least_correlation", O{}, &O::least_correlation, {-1.0, not_a_number},
             use);
    out.vary("delay_between", "phase_tolerance", O{}, &O::phase_tolerance,
             {0.0, -1e-9, not_a_number}, use);
    out.vary("delay_between", "iterations", O{}, &O::iterations, {0, -5}, use);
    for (const double bad : {not_a_number, infinite}) {
        out.add("delay_between", "near", bad,
                [=] { static_cast<void>(delay_between(good_echo, good_echo, bad)); });
        PlainEcho echo = good_echo;
        echo.atom.arrival = bad;
        out.add("delay_between", "arrival", bad,
                [=] { static_cast<void>(delay_between(good_echo, echo)); });
    }
    PlainEcho loud = good_echo;
    loud.amplitude = {not_a_number, 0};
    out.add("delay_between", "amplitude", loud.amplitude,
            [=] { static_cast<void>(delay_between(loud, good_echo)); });
    const std::span<const PlainEcho> none;
    const std::span<const PlainEcho> one(&good_echo, 1);
    out.add("delay_between", "number of echoes in the first sum", 0,
            [=] { static_cast<void>(delay_between(none, one)); });
    out.add("delay_between", "number of echoes in the second sum", 0,
            [=] { static_cast<void>(delay_between(one, none)); });
    for (const double bad : {-0.1, 1.1, not_a_number}) {
        out.add("measure_delay", "largest_skip_probability", bad, [=] {
            static_cast<void>(measure_delay(good_echo, good_echo, {}, std::nullopt, {{}, bad}));
        });
    }
    for (const double bad : {0.0, -1.0, not_a_number}) {
        out.add("measure_delay", "deviation", bad, [=] {
            static_cast<void>(measure_delay(good_echo, good_echo, {bad, 40e6, false}));
        });
        out.add("common_delay_limit", "sampling_rate", bad, [=] {
            static_cast<void>(common_delay_limit(one, {1, bad, false}));
        });
    }
}

void bounds(BadInputs& out) {
    const Plain atom = good_echo.atom;
    for (const double bad : {0.0, -1.0, not_a_number, infinite}) {
        out.add("echo_bound", "energy_to_noise", bad,
                [=] { static_cast<void>(echo_bound(atom, bad)); });
        out.add("cycle_skip_probability", "energy_to_noise", bad,
                [=] { static_cast<void>(cycle_skip_probability(atom, bad)); });
        out.add("energy_to_noise", "noise", bad,
                [=] { static_cast<void>(energy_to_noise(atom, 1, bad, 40e6)); });
        out.add("energy_to_noise", "sampling_rate", bad,
                [=] { static_cast<void>(energy_to_noise(atom, 1, 1, bad)); });
        out.add("phase_delay_deviation", "centre_frequency", bad,
                [=] { static_cast<void>(phase_delay_deviation(bad, 100)); });
    }
    out.add("energy_to_noise", "amplitude", infinite,
            [=] { static_cast<void>(energy_to_noise(atom, infinite, 1, 40e6)); });
    out.add("cycle_skip_probability", "centre_frequency", 0, [] {
        static_cast<void>(cycle_skip_probability(Plain{0, 0, 1e6}, 100));
    });
    out.add("cycle_skip_probability", "noise_values", -1, [=] {
        static_cast<void>(cycle_skip_probability(atom, 100, {true, -1}));
    });
    for (const double bad : {0.0, 1.0, not_a_number}) {
        out.add("threshold_energy_to_noise", "probability", bad,
                [=] { static_cast<void>(threshold_energy_to_noise(atom, bad)); });
    }
    const SpeckleJitter good{4e6, 0.25, 1e-6, 1, 10};
    const auto use = [](const SpeckleJitter& jitter) { static_cast<void>(jitter_bound(jitter)); };
    using J = SpeckleJitter;
    out.vary("jitter_bound", "centre_frequency", good, &J::centre_frequency, {0.0, not_a_number},
             use);
    out.vary("jitter_bound", "fractional_bandwidth", good, &J::fractional_bandwidth,
             {0.0, 2.5, not_a_number}, use);
    out.vary("jitter_bound", "window", good, &J::window, {0.0, infinite}, use);
    out.vary("jitter_bound", "correlation", good, &J::correlation, {0.0, 1.5, not_a_number}, use);
    out.vary("jitter_bound", "signal_to_noise", good, &J::signal_to_noise, {0.0, not_a_number},
             use);
}

void plans(BadInputs& out) {
    const MeasurementPlan good{.sensor = {4e6, 1e6, {}}};
    const auto use = [](const MeasurementPlan& plan) {
        static_cast<void>(planned_precision(plan));
    };
    using P = MeasurementPlan;
    const char* function = "planned_precision";
    out.vary(function, "signal_to_noise", good, &P::signal_to_noise, {not_a_number, infinite}, use);
    out.vary(function, "sampling_rate", good, &P::sampling_rate, {0.0, -1.0, infinite}, use);
    out.vary(function, "averaged_frames", good, &P::averaged_frames, {std::size_t{0}}, use);
    out.vary(function, "sound_speed", good, &P::sound_speed, {0.0, not_a_number}, use);
    out.vary(function, "layer_spacing", good, &P::layer_spacing, {-1e-3, not_a_number}, use);
    out.vary(function, "code_length", good, &P::code_length, {-1e-6, infinite}, use);
    for (const double bad : {0.0, -1e-6, not_a_number, infinite}) {
        out.add("required_signal_to_noise", "wanted", bad,
                [=] { static_cast<void>(required_signal_to_noise(good, bad)); });
    }
    out.add("coded_pulse", "bandwidth", 0, [] {
        static_cast<void>(coded_pulse({4e6, 0, {}}, 5e-6));
    });
}

void sampled(BadInputs& out) {
    using Samples = std::vector<std::complex<double>>;
    const auto phase = [](Samples y1, Samples y2, double frequency, std::vector<double> weights) {
        return [=] {
            using View = std::span<const std::complex<double>>;
            static_cast<void>(phase_delay(View(y1), View(y2), frequency, weights));
        };
    };
    const Samples good(8, 1.0);
    out.add("phase_delay", "samples of the second signal", 7, phase(good, Samples(7), 4e6, {}));
    out.add("phase_delay", "number of weights", 3, phase(good, good, 4e6, {1, 1, 1}));
    for (const double bad : {0.0, -4e6, not_a_number, infinite}) {
        out.add("phase_delay", "frequency", bad, phase(good, good, bad, {}));
    }
    for (const double bad : {-1.0, not_a_number, infinite}) {
        out.add("phase_delay", "weight", bad, phase(good, good, 4e6, std::vector<double>(8, bad)));
    }
    out.add("phase_delay", "energy of the first signal", infinite,
            phase(Samples(8, infinite), good, 4e6, {}));
    out.add("phase_delay", "energy of the second signal", not_a_number,
            phase(good, Samples(8, not_a_number), 4e6, {}));
    const auto lag = [=](const SamplingGrid& grid, int max_lag) {
        return [=] {
            using View = std::span<const std::complex<double>>;
            static_cast<void>(lag_delay(View(good), View(good), grid, 4e6, max_lag));
        };
    };
    const SamplingGrid grid{0, 4e6, 8, 4e6};
    for (const int bad : {0, -1, 8, 1'000'000'000}) {
        out.add("lag_delay", "max_lag", bad, lag(grid, bad));
    }
    out.add("lag_delay", "sampling_rate", 0, lag({0, 0, 8, 4e6}, 2));
}

}  // namespace

BadInputs correlate_cases() {
    BadInputs out;
    delays(out);
    bounds(out);
    plans(out);
    sampled(out);
    return out;
}

}  // namespace echosieve::test
