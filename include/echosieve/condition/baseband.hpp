// From raw samples to a narrow complex baseband: band-pass, demodulation and decimation in one
// pass.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>

#include "echosieve/condition/fir.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/core/scalar.hpp"

namespace echosieve {

// Symbols
//   x_n    raw sample at t_n = t_0 + n / fs;   f_m mixing frequency [Hz];   D decimation
//   h_k    low-pass taps, k = -K .. K
//   y_m = 2 sum_k h_k x_{mD+k} exp(-i 2 pi f_m t_{mD+k})
//       = exp(-i 2 pi f_m t_{mD}) sum_k g_k x_{mD+k},   g_k = 2 h_k exp(-i 2 pi f_m k / fs)
//
// The second form filters at the kept samples only. The factor 2 makes the real echo Re a g(t) the
// baseband signal a g(t) exp(-i 2 pi f_m t), as sampled by atoms/sampling.hpp, but for the low-pass
// and for the echo's image at -2 f_m, which the low-pass takes out.

struct BasebandOptions {
    double cutoff = 1.1;  ///< of the low-pass, in sensor bandwidths to each side of the centre
    double rate = 3.6;    ///< lowest rate of the result, in sensor bandwidths
};

inline void validate(const BasebandOptions& options) {
    require(options.cutoff > 0 && is_finite(options.cutoff), "cutoff", options.cutoff,
            "must be positive and finite [sensor bandwidths]");
    require(options.rate > 2 * options.cutoff, "rate", options.rate,
            "must exceed twice the cutoff [sensor bandwidths]");
}

/// Converts frame after frame without allocating. Not thread-safe: one object a thread.
/// Samples before the first and after the last one count as zero, so the ends fade in and out over
/// half the filter's length, 2 / bandwidth.
template <Real R>
class Basebander {
public:
    /// For frames of `samples` samples. Throws InvalidInput for settings or options outside their
    /// domain.
    Basebander(const RecordingSettings& settings, std::size_t samples,
               const BasebandOptions& options = {}) {
        validate(settings);
        validate(options);
        const double rate = settings.sampling_rate;
        const double bandwidth = settings.sensor.bandwidth;
        decimation_ =
            std::max<Eigen::Index>(1, static_cast<Eigen::Index>(rate / (options.rate * bandwidth)));
        const auto input = static_cast<Eigen::Index>(samples);
        const Eigen::Index output = (input + decimation_ - 1) / decimation_;
        const double mixing = settings.sensor.centre_frequency;
        grid_ = {settings.start_time, rate / static_cast<double>(decimation_),
                 static_cast<std::size_t>(output), mixing};
        const double cutoff = std::min(options.cutoff * bandwidth, 0.499 * rate);
        const Eigen::ArrayXd taps = low_pass_taps(filter_length(rate, bandwidth), cutoff, rate);
        const Eigen::Index half = taps.size() / 2;
        real_taps_.resize(taps.size());
        imaginary_taps_.resize(taps.size());
        for (Eigen::Index k = 0; k < taps.size(); ++k) {
            const double turns = mixing * static_cast<double>(k - half) / rate;
            const double angle = -2 * std::numbers::pi * (turns - std::nearbyint(turns));
            real_taps_[k] = static_cast<R>(2 * taps[k] * std::cos(angle));
            imaginary_taps_[k] = static_cast<R>(2 * taps[k] * std::sin(angle));
        }
        phasors_.resize(output);
        for (Eigen::Index m = 0; m < output; ++m) {
            const double turns = mixing * grid_.time(static_cast<double>(m));
            const double angle = -2 * std::numbers::pi * (turns - std::nearbyint(turns));
            phasors_[m] = {static_cast<R>(std::cos(angle)), static_cast<R>(std::sin(angle))};
        }
        padded_.setZero(input + 2 * half);
    }

    /// Grid of the result: sample m lies at grid().time(m) and has been shifted down by the centre
    /// frequency.
    [[nodiscard]] const SamplingGrid& grid() const noexcept { return grid_; }

    /// Throws InvalidInput unless the frame has the samples, and `out` the count, that this object
    /// is made for.
    template <class T>
    void process(std::span<const T> frame, std::span<std::complex<R>> out) {
        const Eigen::Index half = real_taps_.size() / 2;
        const auto input = padded_.size() - 2 * half;
        require(static_cast<Eigen::Index>(frame.size()) == input, "samples in the frame",
                frame.size(), detail::concatenate("must be ", input));
        require(out.size() == grid_.count, "size of the output", out.size(),
                detail::concatenate("must be ", grid_.count));
        padded_.segment(half, input) =
            Eigen::Map<const Eigen::Array<T, Eigen::Dynamic, 1>>(frame.data(), input)
                .template cast<R>();
        for (Eigen::Index m = 0; m < phasors_.size(); ++m) {
            const auto part = padded_.segment(m * decimation_, real_taps_.size()).matrix();
            const R re = part.dot(real_taps_.matrix());
            const R im = part.dot(imaginary_taps_.matrix());
            const R c = phasors_[m].real();
            const R s = phasors_[m].imag();
            out[static_cast<std::size_t>(m)] = {re * c - im * s, re * s + im * c};
        }
    }

private:
    SamplingGrid grid_;
    Eigen::Index decimation_ = 1;
    Eigen::Array<R, Eigen::Dynamic, 1> real_taps_;
    Eigen::Array<R, Eigen::Dynamic, 1> imaginary_taps_;
    Eigen::Array<std::complex<R>, Eigen::Dynamic, 1> phasors_;
    Eigen::Array<R, Eigen::Dynamic, 1> padded_;
};

/// Frames of complex baseband, frame by frame (row-major).
template <Real R>
struct Baseband {
    using Matrix = Eigen::Array<std::complex<R>, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;

    Matrix samples;              ///< [frames x grid.count]
    SamplingGrid grid;           ///< fast time of the samples
    RecordingSettings settings;  ///< of the recording that it was made from
};

/// All frames at once.
template <Real R, class T>
[[nodiscard]] Baseband<R> to_baseband(const FrameView<T>& frames, const RecordingSettings& settings,
                                      const BasebandOptions& options = {}) {
    Basebander<R> basebander(settings, frames.samples(), options);
    Baseband<R> result;
    result.grid = basebander.grid();
    result.settings = settings;
    result.samples.resize(static_cast<Eigen::Index>(frames.frames()),
                          static_cast<Eigen::Index>(result.grid.count));
    for (std::size_t i = 0; i < frames.frames(); ++i) {
        basebander.process(frames[i], std::span<std::complex<R>>(
                                          result.samples.row(static_cast<Eigen::Index>(i)).data(),
                                          result.grid.count));
    }
    return result;
}

}  // namespace echosieve
