// condition: filters, basebands, gates, frame check, the sensor's spectrum.
#include <complex>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "bad_input.hpp"
#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/detail/fir.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/condition/gate_baseband.hpp"
#include "echosieve/condition/gates.hpp"
#include "echosieve/condition/noise_level.hpp"
#include "echosieve/condition/sensor_spectrum.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve::test {
namespace {

const RecordingSettings good_settings{40e6, 500, 6e-6, {4e6, 1e6, {}}, 1540};
const SamplingGrid good_grid{20e-6, 40e6, 200, 0};

void filters(BadInputs& out) {
    for (const int bad : {0, -1, 4}) {
        out.add("low_pass_taps", "filter length", bad,
                [=] { static_cast<void>(low_pass_taps(bad, 1e6, 40e6)); });
    }
    for (const double bad : {0.0, 20e6, not_a_number}) {
        out.add("low_pass_taps", "cutoff", bad,
                [=] { static_cast<void>(low_pass_taps(5, bad, 40e6)); });
    }
    out.add("low_pass_taps", "rate", infinite,
            [] { static_cast<void>(low_pass_taps(5, 1e6, infinite)); });
    for (const double bad : {1e-3, 0.0, not_a_number}) {
        out.add("filter_length", "bandwidth", bad,
                [=] { static_cast<void>(filter_length(40e6, bad)); });
    }
    const auto band_pass = [](const BandPassOptions& options) {
        static_cast<void>(BandPass<double>(good_settings, 200, options));
    };
    out.vary("BandPass", "cutoff", BandPassOptions{}, &BandPassOptions::cutoff,
             {0.0, -1.0, not_a_number, infinite}, band_pass);
    out.add("BandPass::process", "size of the output", 199, [] {
        BandPass<double> filter(good_settings, 200);
        std::vector<double> room(199);
        filter.process(std::span<const std::int16_t>(std::vector<std::int16_t>(200)),
                       std::span<double>(room));
    });
    out.add("BandPass::process", "samples in the frame", 201, [] {
        BandPass<double> filter(good_settings, 200);
        std::vector<double> room(200);
        const std::vector<std::int16_t> frame(201);
        filter.process(std::span<const std::int16_t>(frame), std::span<double>(room));
    });
}

void basebands(BadInputs& out) {
    const auto use = [](const BasebandOptions& options) {
        static_cast<void>(Basebander<double>(good_settings, 200, options));
    };
    using O = BasebandOptions;
    out.vary("Basebander", "cutoff", O{}, &O::cutoff, {0.0, -1.0, not_a_number}, use);
    out.vary("Basebander", "rate", O{}, &O::rate, {2.0, not_a_number, infinite}, use);
    const auto recorded = [](const RecordingSettings& settings) {
        static_cast<void>(to_baseband<double>(FrameMatrix<float>(2, 200).view(), settings));
    };
    using S = RecordingSettings;
    out.vary("to_baseband", "sampling_rate", good_settings, &S::sampling_rate,
             {0.0, 8e6, not_a_number}, recorded);
    out.vary("to_baseband", "sound_speed", good_settings, &S::sound_speed, {-1540.0, infinite},
             recorded);
    out.add("Basebander::process", "size of the output", 3, [] {
        Basebander<float> basebander(good_settings, 200);
        std::vector<std::complex<float>> room(3);
        const std::vector<float> frame(200);
        basebander.process(std::span<const float>(frame), std::span<std::complex<float>>(room));
    });
}

void gates(BadInputs& out) {
    for (const double bad : {-1e-3, not_a_number, infinite}) {
        out.add("depth_gate", "nearest", bad,
                [=] { static_cast<void>(depth_gate(good_settings, bad, 20e-3)); });
    }
    for (const double bad : {5e-3, not_a_number, infinite}) {
        out.add("depth_gate", "deepest", bad,
                [=] { static_cast<void>(depth_gate(good_settings, 10e-3, bad)); });
    }
    const auto samples = [](const SamplingGrid& grid, const Gate& gate) {
        return [=] { static_cast<void>(gate_samples(grid, gate)); };
    };
    out.add("gate_samples", "gate.begin", 1, samples(good_grid, {1, 2}));
    out.add("gate_samples", "gate.end", 1e-6, samples(good_grid, {0, 1e-6}));
    out.add("gate_samples", "gate.end", not_a_number, samples(good_grid, {20e-6, not_a_number}));
    out.add("gate_samples", "count", 0, samples({0, 40e6, 0, 0}, {0, 1}));
    using O = GateBasebandOptions;
    const auto use = [](const O& options) {
        static_cast<void>(GateBasebander<float>(good_grid, good_settings.sensor, options));
    };
    out.vary("GateBasebander", "rate", O{}, &O::rate, {0.0, -8.0, not_a_number, infinite}, use);
    out.vary("GateBasebander", "bandwidth", O{}, &O::bandwidth, {0.0, 1.1e12, not_a_number}, use);
    out.vary("GateBasebander", "reach", O{}, &O::reach, {0.0, infinite}, use);
    out.vary("GateBasebander", "noise", O{}, &O::noise, {0.0, 1.0, not_a_number}, use);
    const auto gate = [](const SamplingGrid& grid) {
        static_cast<void>(GateBasebander<float>(grid, good_settings.sensor));
    };
    out.vary("GateBasebander", "count", good_grid, &SamplingGrid::count, {std::size_t{0}}, gate);
    out.vary("GateBasebander", "mixing_frequency", good_grid, &SamplingGrid::mixing_frequency,
             {4e6}, gate);
    out.vary("GateBasebander", "sampling_rate", good_grid, &SamplingGrid::sampling_rate,
             {0.0, 9e6, infinite}, gate);
    out.add("gates_to_baseband", "samples in and out", "199, 40", [] {
        const GateBasebander<float> basebander(good_grid, good_settings.sensor);
        static_cast<void>(gates_to_baseband(FrameMatrix<float>(2, 199).view(), basebander));
    });
}

void checks(BadInputs& out) {
    using O = FrameCheckOptions;
    const FrameMatrix<std::int16_t> frames(4, 200);
    const Baseband<double> baseband = to_baseband<double>(frames.view(), good_settings);
    const auto use = [=](const O& options) {
        static_cast<void>(check_frames(frames.view(), baseband, options));
    };
    out.vary("check_frames", "least_correlation", O{}, &O::least_correlation,
             {-0.1, 1.0, not_a_number}, use);
    out.vary("check_frames", "deviations", O{}, &O::deviations, {-1.0, not_a_number}, use);
    out.vary("check_frames", "energy_range", O{}, &O::energy_range, {1.0, not_a_number}, use);
    out.vary("check_frames", "neighbours", O{}, &O::neighbours, {0, -3}, use);
    out.vary("check_frames", "clipped_fraction", O{}, &O::clipped_fraction, {0.0, not_a_number},
             use);
    out.vary("check_frames", "saturated_part", O{}, &O::saturated_part, {0.0, not_a_number}, use);
    out.add("check_frames", "baseband frames", 4, [=] {
        static_cast<void>(check_frames(FrameMatrix<std::int16_t>(3, 200).view(), baseband));
    });
}

void spectra(BadInputs& out) {
    using O = SensorSpectrumOptions;
    const auto use = [](const O& options) {
        static_cast<void>(estimate_sensor(FrameMatrix<float>(4, 200).view(), good_grid, options));
    };
    out.vary("estimate_sensor", "lowest_frequency", O{}, &O::lowest_frequency,
             {-1.0, 20e6, not_a_number, infinite}, use);
    out.vary("estimate_sensor", "least_signal", O{}, &O::least_signal, {0.0, not_a_number}, use);
    out.vary("estimate_sensor", "max_frames", O{}, &O::max_frames, {std::size_t{0}}, use);
    out.vary("estimate_sensor", "max_iterations", O{}, &O::max_iterations, {0, -1}, use);
    out.add("estimate_sensor", "count", 200, [] {
        static_cast<void>(estimate_sensor(FrameMatrix<float>(4, 100).view(), good_grid));
    });
    out.add("line_spectrum", "samples to look at", 12, [] {
        static_cast<void>(
            line_spectrum(FrameMatrix<float>(4, 12).view(), SamplingGrid{0, 40e6, 12, 0}));
    });
    out.add("noise_deviation", "number of samples", 15, [] {
        static_cast<void>(noise_deviation(std::span<const float>(std::vector<float>(15))));
    });
    for (const double bad : {not_a_number, infinite}) {
        out.add("noise_deviation", "sample", bad, [=] {
            const std::vector<double> samples(20, bad);
            static_cast<void>(noise_deviation(std::span<const double>(samples)));
        });
    }
}

}  // namespace

BadInputs condition_cases() {
    BadInputs out;
    filters(out);
    basebands(out);
    gates(out);
    checks(out);
    spectra(out);
    return out;
}

}  // namespace echosieve::test
