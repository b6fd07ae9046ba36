// The sensor's centre frequency and bandwidth, estimated from a recording itself.
#pragma once

#include <Eigen/Core>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <optional>
#include <vector>

#include <unsupported/Eigen/FFT>

#include "echosieve/condition/frame_check.hpp"
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

/// A power spectrum on an even grid of frequencies.
struct LineSpectrum {
    Eigen::ArrayXd power;       ///< at k * step, k = 0 .. half the transform's length
    double step = 0;            ///< [Hz]
    double effective_time = 0;  ///< of the weighted line [s]: values 1 / effective_time apart are
                                ///< independent
    std::size_t frames = 0;     ///< averaged
};

/// Power spectrum of the line, averaged over at most options.max_frames frames, those with a NaN
/// or an infinity left out. Every frame's mean is taken off, and depths are brought to like power
/// by the inverse of the root of their power over 1/8 of the line, so that one strong echo, or
/// the ring-down, does not stand for all. Throws InvalidInput for an invalid grid, gate or option,
/// a grid of another count than the frames' samples, or fewer than 16 samples.
template <class T, OnlyDouble R = double>
[[nodiscard]] LineSpectrum line_spectrum(const FrameView<T>& frames, const SamplingGrid& grid,
                                         const SensorSpectrumOptions& options = {}) {
    validate(grid);
    validate(options);
    require(grid.count == frames.samples(), "count", grid.count,
            detail::concatenate("must equal the frames' samples, ", frames.samples()));
    const SampleRange range =
        options.gate ? gate_samples(grid, *options.gate) : SampleRange{0, grid.count};
    require(range.count() >= 16, "samples to look at", range.count(), "must be at least 16");
    const auto count = static_cast<Eigen::Index>(range.count());

    std::vector<std::size_t> chosen;
    const std::size_t wanted = std::min(options.max_frames, frames.frames());
    for (std::size_t n = 0; n < wanted; ++n) {
        const std::size_t i = n * frames.frames() / wanted;
        if (detail::all_finite(frames[i])) {
            chosen.push_back(i);
        }
    }
    const auto part = [&](std::size_t i) {
        const Eigen::ArrayX<R> x = Eigen::Map<const Eigen::Array<T, Eigen::Dynamic, 1>>(
                                       frames[i].data() + range.first, count)
                                       .template cast<double>();
        return Eigen::ArrayX<R>(x - x.mean());
    };

    Eigen::ArrayX<R> power = Eigen::ArrayX<R>::Zero(count);
    for (const std::size_t i : chosen) {
        power += part(i).square();
    }
    const Eigen::Index reach = std::max<Eigen::Index>(1, count / 16);
    Eigen::ArrayX<R> local(count);
    for (Eigen::Index n = 0; n < count; ++n) {
        const Eigen::Index first = std::max<Eigen::Index>(0, n - reach);
        local[n] = power.segment(first, std::min(count, n + reach + 1) - first).mean();
    }
    const double typical = detail::middle({local.begin(), local.end()});
    Eigen::ArrayX<R> gain(count);
    for (Eigen::Index n = 0; n < count; ++n) {
        const double position = (static_cast<double>(n) + 0.5) / static_cast<double>(count);
        gain[n] = local[n] > 0 ? tukey(position, 0.2) / std::sqrt(local[n] + typical) : 0;
    }

    Eigen::Index length = 16;
    while (length < count) {
        length *= 2;
    }
    LineSpectrum spectrum;
    spectrum.power.setZero(length / 2 + 1);
    spectrum.step = grid.sampling_rate / static_cast<double>(length);
    spectrum.frames = chosen.size();
    const Eigen::ArrayX<R> weighed = gain.square() * local;
    const double energy = weighed.square().sum();
    spectrum.effective_time = energy > 0 ? weighed.sum() * weighed.sum() / energy * grid.step() : 0;
    Eigen::FFT<R> transform;
    transform.SetFlag(Eigen::FFT<R>::HalfSpectrum);
    std::vector<double> line(static_cast<std::size_t>(length), 0);
    std::vector<std::complex<double>> values;
    for (const std::size_t i : chosen) {
        Eigen::Map<Eigen::ArrayX<R>>(line.data(), count) = part(i) * gain;
        transform.fwd(values, line);
        for (Eigen::Index k = 0; k < spectrum.power.size(); ++k) {
            spectrum.power[k] +=
                std::norm(values[static_cast<std::size_t>(k)]) / static_cast<double>(chosen.size());
        }
    }
    return spectrum;
}

namespace detail {

struct BandModel {
    double peak = 0;    // A
    double centre = 0;  // f0 [Hz]
    double spread = 0;  // s [Hz]
    double floor = 0;   // N

    [[nodiscard]] double shape(double f) const noexcept {
        const double x = (f - centre) / spread;
        return std::exp(-x * x / 2);
    }
    [[nodiscard]] double bandwidth() const noexcept {
        return 4 * spread * std::sqrt(0.3 * std::numbers::ln10);
    }
};

// A band like the sensor's, as strong as the spectrum has it there, over the spectrum's lowest
// tenth.
template <OnlyDouble R = double>
[[nodiscard]] BandModel band_at(const Sensor& sensor, const LineSpectrum& spectrum,
                                Eigen::Index first) {
    const Eigen::ArrayX<R> power = spectrum.power.tail(spectrum.power.size() - first);
    std::vector<double> sorted(power.begin(), power.end());
    const auto low = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 10);
    std::nth_element(sorted.begin(), low, sorted.end());
    BandModel band;
    band.centre = sensor.centre_frequency;
    band.spread = sensor.bandwidth / (4 * std::sqrt(0.3 * std::numbers::ln10));
    band.floor = std::max(*low, 1e-9 * power.mean());
    const Eigen::ArrayX<R> frequency =
        Eigen::ArrayX<R>::LinSpaced(power.size(), spectrum.step * static_cast<double>(first),
                                    spectrum.step * static_cast<double>(spectrum.power.size() - 1));
    const Eigen::ArrayX<R> shape = (-((frequency - band.centre) / band.spread).square() / 2).exp();
    band.peak = ((power - band.floor) * shape).sum() / std::max(shape.square().sum(), 1e-300);
    return band;
}

// The best of a coarse grid of bands by Whittle's likelihood over all frequencies from value
// `first` on, the spectrum's values taken four at a time.
template <OnlyDouble R = double>
[[nodiscard]] BandModel coarse_band(const LineSpectrum& spectrum, Eigen::Index first) {
    const Eigen::Index count = (spectrum.power.size() - first) / 4;
    Eigen::ArrayX<R> power(count);
    Eigen::ArrayX<R> frequency(count);
    for (Eigen::Index k = 0; k < count; ++k) {
        power[k] = spectrum.power.segment(first + 4 * k, 4).mean();
        frequency[k] = spectrum.step * (static_cast<double>(first + 4 * k) + 1.5);
    }
    std::vector<double> sorted(power.begin(), power.end());
    std::sort(sorted.begin(), sorted.end());
    const double floor = std::max(sorted[sorted.size() / 10], 1e-9 * power.mean());
    BandModel best;
    double best_cost = std::numeric_limits<double>::infinity();
    Eigen::ArrayX<R> shape(count);
    for (double centre = frequency[0]; centre < frequency[count - 1]; centre *= 1.06) {
        for (double spread = 0.03 * centre; spread < 0.5 * centre; spread *= 1.5) {
            shape = (-((frequency - centre) / spread).square() / 2).exp();
            const double peak = ((power - floor) * shape).sum() / shape.square().sum();
            if (!(peak > 0)) {
                continue;
            }
            shape = peak * shape + floor;
            const double cost = shape.log().sum() + (power / shape).sum();
            if (cost < best_cost) {
                best_cost = cost;
                best = {peak, centre, spread, floor};
            }
        }
    }
    return best;
}

}  // namespace detail

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
template <OnlyDouble R = double>
[[nodiscard]] SensorEstimate estimate_sensor(const LineSpectrum& spectrum,
                                             const SensorSpectrumOptions& options = {}) {
    validate(options);
    const Eigen::Index size = spectrum.power.size();
    const auto lowest = static_cast<Eigen::Index>(
        std::ceil(std::min(options.lowest_frequency / spectrum.step, static_cast<double>(size))));
    require(lowest + 16 <= size, "lowest_frequency", options.lowest_frequency,
            "must leave 16 values of the spectrum below half the sampling rate [Hz]");
    SensorEstimate result;
    result.frames = spectrum.frames;
    if (!(spectrum.power.tail(size - lowest).sum() > 0)) {
        result.status = SensorStatus::no_band;
        return result;
    }
    detail::BandModel model = options.start ? detail::band_at(*options.start, spectrum, lowest)
                                            : detail::coarse_band(spectrum, lowest);
    const auto inside = [&](const detail::BandModel& band) {
        const double half = band.bandwidth() / 2;
        return band.centre - half >= spectrum.step * static_cast<double>(lowest - 1) &&
               band.centre + half <= spectrum.step * static_cast<double>(size);
    };
    Eigen::Index first = lowest;
    Eigen::Index last = size;
    bool converged = false;
    Eigen::Matrix<R, 4, 4> hessian;
    Eigen::Matrix<R, 4, 4> scatter;
    const double least_floor = 1e-9 * spectrum.power.maxCoeff();
    while (model.peak > 0 && !converged && result.iterations < options.max_iterations) {
        if (result.iterations < 10) {  // the band to look at, then kept so that the steps end
            const double reach = 2.5 * model.bandwidth();
            first =
                std::max(lowest, static_cast<Eigen::Index>((model.centre - reach) / spectrum.step));
            last = std::min(
                size, static_cast<Eigen::Index>(std::min((model.centre + reach) / spectrum.step,
                                                         static_cast<double>(size))) +
                          1);
        }
        hessian.setZero();
        scatter.setZero();
        Eigen::Vector<R, 4> gradient = Eigen::Vector<R, 4>::Zero();
        const double cells = 1 / (spectrum.effective_time * spectrum.step);
        for (Eigen::Index k = first; k < last; ++k) {
            const double f = spectrum.step * static_cast<double>(k);
            const double x = (f - model.centre) / model.spread;
            const double signal = model.peak * model.shape(f);
            // Parameters in units of A, s, s, N: all of order one.
            const Eigen::Vector<R, 4> slope(signal, signal * x, signal * x * x, model.floor);
            const double weight = 1 / ((signal + model.floor + model.peak / 50) *
                                       (signal + model.floor + model.peak / 50));
            // The speckle of the echoes stays from frame to frame, the noise is averaged.
            const double variance =
                cells * (signal * signal + (2 * signal + model.floor) * model.floor /
                                               static_cast<double>(spectrum.frames));
            hessian += weight * slope * slope.transpose();
            scatter += weight * weight * variance * slope * slope.transpose();
            gradient += weight * slope * (spectrum.power[k] - signal - model.floor);
        }
        const Eigen::Vector<R, 4> step = hessian.fullPivLu().solve(gradient);
        if (!step.allFinite()) {
            break;
        }
        const auto bounded = [](double value, double limit) {
            return std::clamp(value, -limit, limit);
        };
        model.peak *= std::exp(bounded(step[0], 0.5));
        model.centre += model.spread * bounded(step[1], 0.5);
        model.floor = std::max(model.floor * std::exp(bounded(step[3], 0.5)), least_floor);
        model.spread *= std::exp(bounded(step[2], 0.3));
        ++result.iterations;
        if (!inside(model)) {
            model.peak = 0;
        }
        converged = result.iterations > 10 && std::max(std::abs(step[1]), std::abs(step[2])) < 1e-5;
    }
    if (!converged) {
        result.status = model.peak > 0 ? SensorStatus::not_converged : SensorStatus::no_band;
        return result;
    }
    const Eigen::Matrix<R, 4, 4> inverse = hessian.fullPivLu().inverse();
    const Eigen::Matrix<R, 4, 4> covariance = inverse * scatter * inverse;
    result.centre_std = model.spread * std::sqrt(covariance(1, 1));
    result.bandwidth_std = model.bandwidth() * std::sqrt(covariance(2, 2));
    result.signal_to_noise = model.peak / model.floor;
    const bool possible = plausible::centre_frequency.holds(model.centre) &&
                          plausible::relative_bandwidth.holds(model.bandwidth() / model.centre);
    if (possible && result.signal_to_noise >= options.least_signal &&
        model.bandwidth() * spectrum.effective_time >= 4 &&
        result.centre_std <= model.bandwidth() / 4 &&
        result.bandwidth_std <= model.bandwidth() / 4) {
        result.status = SensorStatus::estimated;
        result.sensor = {model.centre, model.bandwidth()};
    } else {
        result.status = SensorStatus::no_band;
    }
    return result;
}

/// The same of the frames' own spectrum.
template <class T, OnlyDouble R = double>
[[nodiscard]] SensorEstimate estimate_sensor(const FrameView<T>& frames, const SamplingGrid& grid,
                                             const SensorSpectrumOptions& options = {}) {
    return estimate_sensor(line_spectrum(frames, grid, options), options);
}

}  // namespace echosieve
