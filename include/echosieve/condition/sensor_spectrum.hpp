// The sensor's centre frequency and bandwidth, estimated from a recording itself.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <tuple>

#include "echosieve/condition/detail/band_fit.hpp"
#include "echosieve/condition/detail/frame_values.hpp"
#include "echosieve/condition/detail/line_spectrum.hpp"
#include "echosieve/condition/gates.hpp"
#include "echosieve/core/detail/plausible.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

// Symbols
//   P(f)  power spectrum of the line, averaged over frames, its depths brought to like power first
//   M(f) = A exp(-(f - f0)^2 / (2 s^2)) + N   model: Gaussian pulse, white noise floor
//   B = 4 s sqrt(ln 10^0.3)                   -6 dB full width of the pulse's amplitude spectrum
//
// Many echoes at random give a periodogram whose values are spread like M(f) times an exponential
// variable. The fit solves sum W J (P - M) = 0, J the derivatives of M, with W = 1 / (M + A / 50)^2
// (Whittle's likelihood, but deaf to the pulse's far skirts, which no real sensor has Gaussian).

enum class SensorStatus {
    not_run,
    estimated,  ///< the last step in f0 and in B was below 1e-5 s, and none of no_band holds
    no_band,    ///< no power at all; signal_to_noise < least_signal; centre_std or bandwidth_std
                ///< > B / 4; fewer than 4 independent values in B; the band reaches beyond the
    ///< frequencies looked at; or no sensor may be like that (core/detail/plausible.hpp)
    not_converged,  ///< a step still above that after max_iterations
};

struct SensorSpectrumOptions {
    std::optional<Gate> gate;       ///< part of the line [s] to look at; all of it if empty
    double lowest_frequency = 5e5;  ///< [Hz] nothing below is looked at
    double least_signal = 1;        ///< least A / N
    std::size_t max_frames = 256;   ///< looked at, evenly spread over the recording
    int max_iterations = 100;
    /// where the fit starts; if empty, at the best of a search over all frequencies looked at,
    /// which costs as much as the rest
    std::optional<Sensor> start{};
};

inline void validate(const SensorSpectrumOptions& options) {
    require(options.lowest_frequency >= 0 && is_finite(options.lowest_frequency),
            "lowest_frequency", options.lowest_frequency, "must be zero or more and finite [Hz]");
    require(options.least_signal > 0, "least_signal", options.least_signal, "must be positive");
    require(options.max_frames >= 1, "max_frames", options.max_frames, "must be at least 1");
    constexpr int most_iterations = 100'000;
    require(options.max_iterations >= 1 && options.max_iterations <= most_iterations,
            "max_iterations", options.max_iterations,
            detail::concatenate("must lie in [1, ", most_iterations, "]"));
    if (options.start) {
        validate(*options.start);
    }
}

struct SensorEstimate {
    SensorStatus status = SensorStatus::not_run;
    Sensor sensor;               ///< zeros with no_band
    double centre_std = 0;       ///< of the centre frequency [Hz]
    double bandwidth_std = 0;    ///< [Hz]
    double signal_to_noise = 0;  ///< A / N, power density at the centre to the floor's
    std::size_t frames = 0;      ///< looked at: finite ones
    int iterations = 0;

    [[nodiscard]] bool usable() const noexcept { return status == SensorStatus::estimated; }
};

/// Power spectrum of the line, averaged over at most options.max_frames frames, those with a NaN
/// or an infinity left out. Every frame's mean is taken off, and depths are brought to like power
/// by the inverse of the root of their power over 1/8 of the line, so that one strong echo, or
/// the ring-down, does not stand for all. Throws InvalidInput for an invalid grid, gate or option,
/// a grid of another count than the frames' samples, or fewer than 16 samples.
template <class T, Real R = double>
[[nodiscard]] LineSpectrum<R> line_spectrum(const FrameView<T>& frames, const SamplingGrid& grid,
                                            const SensorSpectrumOptions& options = {}) {
    validate(grid);
    validate(options);
    require(grid.count == frames.samples(), "count", grid.count,
            detail::concatenate("must equal the frames' samples, ", frames.samples()));
    const SampleRange range =
        options.gate ? gate_samples(grid, *options.gate) : SampleRange{0, grid.count};
    require(range.count() >= 16, "samples to look at", range.count(), "must be at least 16");
    return detail::averaged_spectrum<R>(frames, grid.sampling_rate, range,
                                        detail::spread_frames(frames, options.max_frames));
}

/// Fits a Gaussian band over a white floor to the line's spectrum.
///
/// Accuracy: a line holds T B independent stretches, T its effective length, and where nothing
/// moves more frames do not help. The standard deviations given hold for that case: about
/// 0.14 B / sqrt(T B) for the centre and 0.29 B / sqrt(T B) for the bandwidth, where the noise is
/// weak; motion makes them smaller. The bandwidth comes out too wide by some 0.6 / (T B) of it.
/// It is the band of the echoes that is estimated: attenuation that grows with frequency, by the
/// factor exp(-b f) in amplitude along the way, lowers the centre by 0.18 B^2 b.
/// An echo-free or narrow-band recording gives no_band. Throws InvalidInput for invalid options, or
/// a lowest frequency that leaves too little of the spectrum; of frames, as line_spectrum does.
template <Real R>
[[nodiscard]] SensorEstimate estimate_sensor(const LineSpectrum<R>& spectrum,
                                             const SensorSpectrumOptions& options = {}) {
    validate(options);
    const Eigen::Index size = spectrum.power.size();
    const auto lowest = static_cast<Eigen::Index>(
        std::ceil(std::min(options.lowest_frequency / spectrum.step, static_cast<double>(size))));
    require(lowest + 16 <= size, "lowest_frequency", options.lowest_frequency,
            "must leave 16 values of the spectrum below half the sampling rate [Hz]");
    SensorEstimate result;
    result.frames = spectrum.frames;
    result.status = SensorStatus::no_band;
    if (!(spectrum.power.tail(size - lowest).sum() > 0)) {
        return result;
    }
    detail::BandFit<R> fit(spectrum, lowest,
                           options.start ? detail::band_at(*options.start, spectrum, lowest)
                                         : detail::coarse_band(spectrum, lowest));
    const bool converged = fit.run(options.max_iterations);
    const detail::BandModel& model = fit.model();
    result.iterations = fit.iterations();
    if (!converged) {
        result.status = model.peak > 0 ? SensorStatus::not_converged : SensorStatus::no_band;
        return result;
    }
    std::tie(result.centre_std, result.bandwidth_std) = fit.deviations();
    result.signal_to_noise = model.peak / model.floor;
    const bool possible = plausible::centre_frequency.holds(model.centre) &&
                          plausible::relative_bandwidth.holds(model.bandwidth() / model.centre);
    if (possible && result.signal_to_noise >= options.least_signal &&
        model.bandwidth() * spectrum.effective_time >= 4 &&
        result.centre_std <= model.bandwidth() / 4 &&
        result.bandwidth_std <= model.bandwidth() / 4) {
        result.status = SensorStatus::estimated;
        result.sensor = {model.centre, model.bandwidth()};
    }
    return result;
}

/// The same of the frames' own spectrum.
template <class T>
[[nodiscard]] SensorEstimate estimate_sensor(const FrameView<T>& frames, const SamplingGrid& grid,
                                             const SensorSpectrumOptions& options = {}) {
    return estimate_sensor(line_spectrum(frames, grid, options), options);
}

}  // namespace echosieve
