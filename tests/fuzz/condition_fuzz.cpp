// Conditioning: basebands, band-passes, gates, frame check and the sensor's spectrum, on any
// settings, options and samples.
#include <complex>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/condition/gate_baseband.hpp"
#include "echosieve/condition/gates.hpp"
#include "echosieve/condition/noise_level.hpp"
#include "echosieve/condition/sensor_spectrum.hpp"
#include "echosieve/core/recording.hpp"
#include "input.hpp"
#include "refused.hpp"

using namespace echosieve;
using namespace echosieve::fuzz;

namespace {

RecordingSettings any_settings(FuzzInput& in) {
    RecordingSettings settings;
    settings.sampling_rate = in.number(40e6);
    settings.frame_rate = in.number(100);
    settings.start_time = in.number(6.5e-6);
    settings.sensor.centre_frequency = in.number(4e6);
    settings.sensor.bandwidth = in.number(1e6);
    settings.sound_speed = in.number(1540);
    return settings;
}

template <class T>
FrameMatrix<T> any_frames(FuzzInput& in) {
    const std::size_t frames = in.count(0, 6);
    const std::size_t samples = in.count(0, 300);
    const auto values = any_samples<float>(in, frames * samples);
    std::vector<T> out;
    for (const float x : values) {
        // Noise of size 1 in counts.
        out.push_back(std::is_integral_v<T>
                          ? static_cast<T>(std::clamp(x == x ? x * 300 : 0.F, -32768.F, 32767.F))
                          : static_cast<T>(x));
    }
    return {std::move(out), frames, samples};
}

template <class T, Real R>
void lines(FuzzInput& in) {
    const RecordingSettings settings = any_settings(in);
    const FrameMatrix<T> frames = any_frames<T>(in);
    BasebandOptions baseband{in.number(1.1), in.number(3.6)};
    FrameCheckOptions check{.least_correlation = in.number(0.5),
                            .deviations = in.number(5),
                            .energy_range = in.number(9),
                            .neighbours = in.whole(4),
                            .clipped_fraction = in.number(0.005),
                            .saturated_part = in.number(0.05)};
    static_cast<void>(accepted([&] {
        const Baseband<R> y = to_baseband<R>(frames.view(), settings, baseband);
        static_cast<void>(check_frames(frames.view(), y, check));
    }));
    static_cast<void>(accepted(
        [&] { static_cast<void>(band_passed<R>(frames.view(), settings, {in.number(1.1)})); }));
    static_cast<void>(accepted([&] {
        BandPass<R> filter(settings, frames.samples(), {in.number(1.1)});
        std::vector<std::complex<R>> out(frames.samples());
        for (std::size_t i = 0; i < frames.frames(); ++i) {
            filter.process(frames[i], std::span<std::complex<R>>(out));
        }
    }));
}

template <class T, Real R>
void gates(FuzzInput& in) {
    const FrameMatrix<T> frames = any_frames<T>(in);
    const SamplingGrid grid{in.number(20e-6), in.number(20e6), frames.samples(),
                            in.byte() < 250 ? 0 : in.number(4e6)};
    const Sensor sensor{in.number(4e6), in.number(1e6), std::nullopt};
    const GateBasebandOptions options{in.number(8), in.number(1.5), in.number(1), in.number(1e-3)};
    static_cast<void>(accepted([&] {
        const GateBasebander<R> basebander(grid, sensor, options);
        static_cast<void>(gates_to_baseband(frames.view(), basebander));
    }));
    static_cast<void>(accepted([&] {
        const SampleRange range =
            gate_samples(grid, {in.between(grid.start_time, grid.end_time()),
                                in.between(grid.start_time, grid.end_time())});
        hold(range.first <= range.last && range.last <= grid.count, "a gate outside its grid");
    }));
    static_cast<void>(accepted([&] {
        static_cast<void>(depth_gate(any_settings(in), in.number(9e-3), in.number(11e-3)));
    }));
}

template <class T>
void spectra(FuzzInput& in) {
    const FrameMatrix<T> frames = any_frames<T>(in);
    const SamplingGrid grid{in.number(20e-6), in.number(40e6),
                            in.byte() < 250 ? frames.samples() : 17, 0};
    SensorSpectrumOptions options;
    if (in.flag()) {
        options.gate = Gate{in.between(grid.start_time, grid.end_time()),
                            in.between(grid.end_time(), grid.start_time)};
    }
    options.lowest_frequency = in.number(5e5);
    options.least_signal = in.number(1);
    options.max_frames = in.number_of(8);
    options.max_iterations = in.whole(100);
    static_cast<void>(accepted([&] {
        const SensorEstimate found = estimate_sensor(frames.view(), grid, options);
        hold(found.status != SensorStatus::not_run, "a spectrum that was not looked at");
        hold(!found.usable() || accepted([&] { validate(found.sensor); }),
             "a usable sensor that is none");
    }));
    static_cast<void>(accepted([&] {
        const auto samples = any_samples<float>(in, in.count(0, 100));
        static_cast<void>(noise_deviation(std::span<const float>(samples)));
    }));
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    FuzzInput in(data, size);
    switch (in.byte() % 6) {
        case 0:
            lines<std::int16_t, double>(in);
            break;
        case 1:
            lines<float, float>(in);
            break;
        case 2:
            gates<std::int16_t, float>(in);
            break;
        case 3:
            gates<float, double>(in);
            break;
        case 4:
            spectra<std::int16_t>(in);
            break;
        default:
            spectra<float>(in);
    }
    return 0;
}
