// Delays, limits and plans from any echoes and options: what is computed without samples.
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "echoes.hpp"
#include "echosieve/correlate/bound.hpp"
#include "echosieve/correlate/delay.hpp"
#include "echosieve/correlate/delay_limits.hpp"
#include "echosieve/correlate/measurement_plan.hpp"
#include "echosieve/correlate/sampled.hpp"
#include "echosieve/dictionary/detail/gabor_grid.hpp"
#include "echosieve/pursuit/stop.hpp"
#include "input.hpp"
#include "refused.hpp"

using namespace echosieve;
using namespace echosieve::fuzz;

namespace {

template <FittedAtom A>
std::vector<Echo<A>> any_echoes(FuzzInput& in, const SamplingGrid& grid) {
    std::vector<Echo<A>> out(in.count(0, 3));
    for (Echo<A>& echo : out) {
        echo = any_echo<A>(in, grid);
    }
    return out;
}

template <FittedAtom A>
void delays(FuzzInput& in) {
    const SamplingGrid grid = any_grid(in, 100, 40e6, 0);
    const std::vector<Echo<A>> first = any_echoes<A>(in, grid);
    const std::vector<Echo<A>> second = in.flag() ? first : any_echoes<A>(in, grid);
    const std::span<const Echo<A>> x1(first);
    const std::span<const Echo<A>> x2(second);
    const std::optional<double> near =
        in.flag() ? std::optional(in.number(1e-7)) : std::optional<double>{};
    MeasuredDelayOptions options;
    options.delay = {in.number(1e-6), in.number(1e-9), in.whole(60)};
    options.largest_skip_probability = in.number(0.01);
    const SampledNoise noise{in.number(0.1), in.number(40e6), in.flag()};
    static_cast<void>(accepted([&] {
        const Delay delay = delay_between(x1, x2, near, options.delay);
        hold(delay.status != DelayStatus::not_run, "a delay that was not looked for");
        hold(!delay.usable() || std::isfinite(delay.delay), "a usable delay that is no number");
    }));
    static_cast<void>(
        accepted([&] { static_cast<void>(measure_delay(x1, x2, noise, near, options)); }));
    static_cast<void>(accepted([&] { static_cast<void>(common_delay_limit(x1, noise)); }));
    static_cast<void>(accepted([&] {
        if (!first.empty()) {
            const double eta = in.number(1000);
            static_cast<void>(echo_bound(first[0].atom, eta));
            static_cast<void>(cycle_skip_probability(first[0].atom, eta));
        }
    }));
}

void plans(FuzzInput& in) {
    MeasurementPlan plan;
    plan.sensor = {in.number(4e6), in.number(1e6), std::nullopt};
    if (in.flag()) {
        plan.sensor.pulse_delay = in.number(1e-7);
    }
    plan.signal_to_noise = in.number(20);
    plan.sampling_rate = in.number(125e6);
    plan.averaged_frames = in.number_of(100);
    plan.sound_speed = in.number(1540);
    plan.layer_spacing = in.flag() ? in.number(4e-4) : 0;
    plan.code_length = in.flag() ? in.number(5e-6) : 0;
    static_cast<void>(accepted([&] { static_cast<void>(planned_precision(plan)); }));
    static_cast<void>(
        accepted([&] { static_cast<void>(required_signal_to_noise(plan, in.number(1e-6))); }));
}

void grids(FuzzInput& in) {
    const SamplingGrid grid = any_grid(in, 200, 40e6, 0);
    const GaborBox box = any_box<Gabor<double>>(in, grid);
    const double loss = in.number(0.03);
    static_cast<void>(accepted([&] {
        for (const Gabor<double>& atom : gabor_grid(box, loss)) {
            hold(box.contains(atom), "an atom of the grid outside its box");
        }
    }));
    static_cast<void>(
        accepted([&] { static_cast<void>(false_alarm_threshold(box, in.number(0.01))); }));
}

template <Real R>
void sampled_delays(FuzzInput& in) {
    const std::size_t count = in.count(0, 60);
    const auto y1 = any_samples<std::complex<R>>(in, count);
    const auto y2 = in.flag() ? y1 : any_samples<std::complex<R>>(in, in.byte() < 240 ? count : 7);
    const std::span<const std::complex<R>> a(y1);
    const std::span<const std::complex<R>> b(y2);
    const SamplingGrid grid = any_grid(in, 100, 4e6, 4e6);
    static_cast<void>(accepted([&] { static_cast<void>(phase_delay(a, b, in.number(4e6))); }));
    static_cast<void>(accepted([&] { static_cast<void>(phase_delay_local(a, b, grid)); }));
    static_cast<void>(
        accepted([&] { static_cast<void>(lag_delay(a, b, grid, in.number(4e6), in.whole(70))); }));
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    FuzzInput in(data, size);
    switch (in.byte() % 6) {
        case 0:
            delays<Gabor<double>>(in);
            break;
        case 1:
            delays<ChirpedGabor<double>>(in);
            break;
        case 2:
            plans(in);
            break;
        case 3:
            grids(in);
            break;
        case 4:
            sampled_delays<float>(in);
            break;
        default:
            sampled_delays<double>(in);
    }
    return 0;
}
