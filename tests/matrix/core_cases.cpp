// core: boxes, grids, recordings, signals, threads.
#include <complex>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "bad_input.hpp"
#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/signal.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/instruction_set.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/core/threads.hpp"

namespace echosieve::test {
namespace {

const RecordingSettings good_settings{40e6, 500, 6e-6, {4e6, 1e6, {}}, 1540};

void boxes(BadInputs& out) {
    const auto box = [](std::vector<double> lower, std::vector<double> upper) {
        return [=] { static_cast<void>(Box<double>(lower, upper)); };
    };
    out.add("Box", "dimension of the box", 0, box({}, {}));
    out.add("Box", "number of upper bounds", 1, box({0, 0}, {1}));
    out.add("Box", "number of upper bounds", 0, box({0}, {}));
    out.add("Box", "lower[1]", not_a_number, box({0, not_a_number}, {1, 1}));
    out.add("Box", "lower[0]", -infinite, box({-infinite}, {1}));
    out.add("Box", "upper[0]", infinite, box({0}, {infinite}));
    out.add("Box", "upper[1]", not_a_number, box({0, 0}, {1, not_a_number}));
    out.add("Box", "lower[0]", 2, box({2}, {1}));
}

void grids(BadInputs& out) {
    const SamplingGrid good{20e-6, 40e6, 10, 0};
    const auto use = [](const SamplingGrid& grid) { validate(grid); };
    out.vary("validate(SamplingGrid)", "start_time", good, &SamplingGrid::start_time,
             {not_a_number, infinite, -infinite}, use);
    out.vary("validate(SamplingGrid)", "sampling_rate", good, &SamplingGrid::sampling_rate,
             {0.0, -1.0, not_a_number, infinite}, use);
    out.vary("validate(SamplingGrid)", "mixing_frequency", good, &SamplingGrid::mixing_frequency,
             {not_a_number, infinite}, use);
    const Gate gate{1e-6, 2e-6};
    const auto use_gate = [](const Gate& g) { validate(g); };
    out.vary("validate(Gate)", "gate.begin", gate, &Gate::begin,
             {not_a_number, infinite, -infinite}, use_gate);
    out.vary("validate(Gate)", "gate.end", gate, &Gate::end, {not_a_number, infinite, 0.5e-6},
             use_gate);
}

void settings(BadInputs& out) {
    const auto use = [](const RecordingSettings& s) { validate(s); };
    using S = RecordingSettings;
    const char* function = "validate(RecordingSettings)";
    out.vary(function, "sampling_rate", good_settings, &S::sampling_rate,
             {0.0, -40e6, not_a_number, infinite, 8e6}, use);
    out.vary(function, "frame_rate", good_settings, &S::frame_rate,
             {0.0, -500.0, not_a_number, infinite}, use);
    out.vary(function, "start_time", good_settings, &S::start_time, {-1e-6, not_a_number, infinite},
             use);
    out.vary(function, "sound_speed", good_settings, &S::sound_speed,
             {0.0, -1540.0, not_a_number, infinite}, use);
    const auto use_sensor = [](const Sensor& s) { validate(s); };
    const Sensor sensor = good_settings.sensor;
    out.vary("validate(Sensor)", "centre_frequency", sensor, &Sensor::centre_frequency,
             {0.0, -4e6, not_a_number, infinite}, use_sensor);
    out.vary("validate(Sensor)", "bandwidth", sensor, &Sensor::bandwidth,
             {0.0, -1e6, 9e6, not_a_number, infinite}, use_sensor);
    for (const double delay : {1.0, -1.0, not_a_number, infinite}) {
        out.add("validate(Sensor)", "pulse_delay", delay, [=] {
            validate(Sensor{4e6, 1e6, delay});
        });
    }
}

void memory(BadInputs& out) {
    out.add("FrameMatrix", "number of values", 5,
            [] { static_cast<void>(FrameMatrix<float>(std::vector<float>(5), 2, 3)); });
    out.add("FrameView", "number of values", 4, [] {
        const std::vector<std::int16_t> values(4);
        static_cast<void>(FrameView<std::int16_t>(values, 3, 3));
    });
    const auto check = []<Sample T>(std::vector<T> samples, const SamplingGrid& grid) {
        return [=] { validate(Signal<T>{samples, grid}); };
    };
    const SamplingGrid two{0, 40e6, 2, 0};
    out.add("validate(Signal)", "number of samples", 3, check(std::vector<double>(3), two));
    out.add("validate(Signal)", "sample 1", not_a_number,
            check(std::vector<double>{0, not_a_number}, two));
    out.add("validate(Signal)", "sample 0", std::complex<double>(0, infinite),
            check(std::vector<std::complex<double>>{{0, infinite}, 0}, two));
    out.add("validate(Signal)", "mixing_frequency", 4e6,
            check(std::vector<float>(2), {0, 40e6, 2, 4e6}));
    out.add("validate(Signal)", "sampling_rate", 0, check(std::vector<double>(2), {0, 0, 2, 0}));
}

void threads(BadInputs& out) {
    for (const std::size_t count : {std::size_t{0}, std::size_t{1025}, ~std::size_t{0}}) {
        out.add("for_each_part", "threads", count,
                [=] { for_each_part(3, count, [](std::size_t, std::size_t) {}); });
        out.add("for_each_item", "threads", count,
                [=] { for_each_item(3, count, [](std::size_t) {}); });
        // No work is no reason to take nonsense.
        out.add("for_each_item", "threads", count,
                [=] { for_each_item(0, count, [](std::size_t) {}); });
    }
    for (const char* name : {"", "AVX2", "avx3", "avx2 "}) {
        out.add("instruction_set_from", "instruction set", name,
                [=] { static_cast<void>(instruction_set_from(name)); });
    }
}

}  // namespace

BadInputs core_cases() {
    BadInputs out;
    boxes(out);
    grids(out);
    settings(out);
    memory(out);
    threads(out);
    return out;
}

}  // namespace echosieve::test
