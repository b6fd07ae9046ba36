// Lines of echoes for the tests of the conditioning: known atoms, noise, and frames of them.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve::test {

inline RecordingSettings settings_of(double centre, double bandwidth) {
    RecordingSettings settings;
    settings.sampling_rate = 125e6;
    settings.frame_rate = 1000;
    settings.start_time = 9.1e-6;
    settings.sensor = {centre, bandwidth};
    return settings;
}

/// `number` echoes of the sensor's own band at random times on and somewhat beside the grid.
inline std::vector<Echo<Gabor<double>>> scatterers(const Sensor& sensor, const SamplingGrid& grid,
                                                   int number, RandomStream& random) {
    std::vector<Echo<Gabor<double>>> echoes;
    const double aside = 1 / sensor.bandwidth;
    for (int k = 0; k < number; ++k) {
        const double arrival = random.uniform(grid.start_time - aside, grid.end_time() + aside);
        const double re = random.normal();
        const double im = random.normal();
        echoes.push_back(
            {{arrival, sensor.centre_frequency, sensor.bandwidth}, std::complex(re, im)});
    }
    return echoes;
}

/// The real line of the echoes, all of them later by `delay` [s].
inline std::vector<double> line_of(std::vector<Echo<Gabor<double>>> echoes,
                                   const SamplingGrid& grid, double delay = 0) {
    std::vector<double> line(grid.count, 0);
    for (auto& echo : echoes) {
        echo.atom.arrival += delay;
        add(echo, grid, std::span<double>(line));
    }
    return line;
}

/// Standard deviation that white noise must have at the full rate for a signal-to-noise ratio in
/// the band: the ratio of powers in a band of noise as wide as the sensor's, for a line of `power`.
inline double noise_for(double power, double ratio, const RecordingSettings& settings) {
    return std::sqrt(power / ratio * settings.sampling_rate / (2 * settings.sensor.bandwidth));
}

inline double mean_power(std::span<const double> line) {
    double sum = 0;
    for (const double x : line) {
        sum += x * x;
    }
    return sum / static_cast<double>(line.size());
}

}  // namespace echosieve::test
