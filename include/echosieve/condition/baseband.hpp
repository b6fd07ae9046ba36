// Raw samples limited to the sensor's band: real or analytic at the full rate, or as a narrow
// complex baseband, band-pass, demodulation and decimation in one pass.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <complex>
#include <concepts>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/condition/detail/analytic_filter.hpp"
#include "echosieve/condition/detail/fir.hpp"
#include "echosieve/condition/options.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/core/threads.hpp"

namespace echosieve {

// Symbols
//   x_n    raw sample at t_n = t_0 + n / fs;   f_m mixing frequency [Hz];   D decimation
//   h_k    low-pass taps, k = -K .. K;   z_n analytic band-passed sample, see analytic_filter.hpp
//   y_m = 2 sum_k h_k x_{mD+k} exp(-i 2 pi f_m t_{mD+k}) = exp(-i 2 pi f_m t_{mD}) z_{mD}
//
// The second form filters at the kept samples only. The factor 2 makes the real echo Re a g(t) the
// baseband signal a g(t) exp(-i 2 pi f_m t), as sampled by atoms/sampling.hpp, but for the low-pass
// and for the echo's image at -2 f_m, which the low-pass takes out.

/// Converts frame after frame without allocating. Not thread-safe: one object a thread.
///
/// Every D-th sample is kept, D the largest whole number that leaves a rate of `rate` bandwidths
/// (1 where the recording has less). The low-pass is flat to 0.4 % within cutoff - 0.45 bandwidths
/// of the centre and 53 dB down beyond cutoff + 0.45; an offset of the samples and the echoes'
/// image are gone as long as the centre is above that. With the default options a Gaussian echo of
/// the sensor's own band is changed by 1.5 % of its peak; its phase stays exact if it is at the
/// centre frequency. Samples outside the frame count as zero, so the ends fade in and out over half
/// the filter's length, 2 / bandwidth. A NaN or infinity spoils the samples within that reach.
template <Real R>
class Basebander {
public:
    /// For frames of `samples` samples. Throws InvalidInput for settings or options outside their
    /// domain.
    Basebander(const RecordingSettings& settings, std::size_t samples,
               const BasebandOptions& options = {})
        : step_(kept_step((validate(options), validate(settings), settings), options)),
          filter_(settings, samples, options.cutoff, step_, options.offset),
          grid_{settings.start_time, settings.sampling_rate / static_cast<double>(step_),
                filter_.count(), settings.sensor.centre_frequency} {
        const double mixing = settings.sensor.centre_frequency;
        phasors_.reserve(grid_.count);
        for (std::size_t m = 0; m < grid_.count; ++m) {
            const double turns = mixing * grid_.time(static_cast<double>(m));
            const double angle = -2 * std::numbers::pi * (turns - std::nearbyint(turns));
            phasors_.emplace_back(static_cast<R>(std::cos(angle)), static_cast<R>(std::sin(angle)));
        }
    }

    /// Grid of the result: sample m lies at grid().time(m) and has been shifted down by the centre
    /// frequency.
    [[nodiscard]] const SamplingGrid& grid() const noexcept { return grid_; }

    /// Throws InvalidInput unless the frame has the samples, and `out` the count, that this object
    /// is made for.
    template <class T>
    void process(std::span<const T> frame, std::span<std::complex<R>> out) {
        if (out.size() != grid_.count) {  // no text is made in a good run
            require(false, "size of the output", out.size(),
                    detail::concatenate("must be ", grid_.count));
        }
        filter_.analytic(frame, [&](std::size_t m, R re, R im) {
            const R c = phasors_[m].real();
            const R s = phasors_[m].imag();
            out[m] = {re * c - im * s, re * s + im * c};
        });
    }

private:
    [[nodiscard]] static std::size_t kept_step(const RecordingSettings& settings,
                                               const BasebandOptions& options) {
        return detail::decimation(settings.sampling_rate, options.rate * settings.sensor.bandwidth);
    }

    std::size_t step_;
    detail::AnalyticFilter<R> filter_;
    SamplingGrid grid_;
    std::vector<std::complex<R>> phasors_;
};

/// Frames of complex baseband, frame by frame (row-major).
template <Real R>
struct Baseband {
    using Matrix = Eigen::Array<std::complex<R>, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;

    Matrix samples;              ///< [frames x grid.count]
    SamplingGrid grid;           ///< fast time of the samples
    RecordingSettings settings;  ///< of the recording that it was made from

    /// As compiled functions take it. Throws InvalidInput unless the samples have the grid's count
    /// of columns.
    operator BasebandView() const  // NOLINT(google-explicit-constructor): the same, seen plainly
    requires(std::same_as<R, double>)
    {
        require(static_cast<std::size_t>(samples.cols()) == grid.count, "samples a frame",
                samples.cols(), detail::concatenate("must equal the grid's count, ", grid.count));
        return {{samples.data(), static_cast<std::size_t>(samples.size())}, grid, settings};
    }
};

/// All frames at once, on `threads` threads: the same bits on any number of them. Throws as
/// Basebander and for_each_part do.
template <Real R, class T>
[[nodiscard]] Baseband<R> to_baseband(const FrameView<T>& frames, const RecordingSettings& settings,
                                      const BasebandOptions& options = {},
                                      std::size_t threads = 1) {
    const Basebander<R> basebander(settings, frames.samples(), options);
    Baseband<R> result;
    result.grid = basebander.grid();
    result.settings = settings;
    result.samples.resize(static_cast<Eigen::Index>(frames.frames()),
                          static_cast<Eigen::Index>(result.grid.count));
    for_each_part(frames.frames(), threads, [&](std::size_t first, std::size_t end) {
        Basebander<R> own(basebander);
        for (std::size_t i = first; i < end; ++i) {
            own.process(frames[i], std::span<std::complex<R>>(
                                       result.samples.row(static_cast<Eigen::Index>(i)).data(),
                                       result.grid.count));
        }
    });
    return result;
}

struct BandPassOptions {
    double cutoff = 1.1;  ///< -6 dB here, in sensor bandwidths to each side of the centre
    /// taken off every sample before all else, see constant_offset.hpp [counts]
    double offset = 0;
};

inline void validate(const BandPassOptions& options) {
    require(options.cutoff > 0 && is_finite(options.cutoff), "cutoff", options.cutoff,
            "must be positive and finite [sensor bandwidths]");
    require(is_finite(options.offset), "offset", options.offset, "must be finite [counts]");
}

/// Zero-phase band-pass around the sensor's centre: a windowed sinc (detail/fir.hpp) moved up to
/// it.
///
/// The pass band is flat to 0.4 % up to cutoff - 0.45 sensor bandwidths from the centre, the stop
/// band 53 dB down from cutoff + 0.45 on; so an offset is taken out, and the analytic signal has
/// no negative frequencies, as long as the centre is above (cutoff + 0.45) bandwidths. Samples
/// outside the frame count as zero, so the ends fade in and out over half the filter's length,
/// 2 / bandwidth. A NaN or infinity spoils the samples within half that length of it.
///
/// Costs 4 rate / bandwidth multiplications a real sample, twice that an analytic one. For narrow
/// bands Basebander does the same work at far fewer samples. Not thread-safe: one object a thread;
/// allocates in the constructor alone.
template <Real R>
class BandPass {
public:
    /// For frames of `samples` samples. Throws InvalidInput for settings or options outside their
    /// domain.
    BandPass(const RecordingSettings& settings, std::size_t samples,
             const BandPassOptions& options = {})
        : filter_((validate(options), settings), samples, options.cutoff, 1, options.offset),
          grid_(settings.grid(samples)) {}

    /// Grid of the result: the frame's own, unmixed.
    [[nodiscard]] const SamplingGrid& grid() const noexcept { return grid_; }

    /// The band-passed frame. Throws InvalidInput unless `frame` and `out` have the samples that
    /// this object is made for.
    template <class T>
    void process(std::span<const T> frame, std::span<R> out) {
        check(out.size());
        filter_.real(frame, [&](std::size_t n, R re) { out[n] = re; });
    }

    /// The analytic signal of the band-passed frame: its real part is what the other overload
    /// gives, its modulus the envelope.
    template <class T>
    void process(std::span<const T> frame, std::span<std::complex<R>> out) {
        check(out.size());
        filter_.analytic(frame, [&](std::size_t n, R re, R im) { out[n] = {re, im}; });
    }

private:
    void check(std::size_t size) const {
        if (size != grid_.count) {  // no text is made in a good run
            require(false, "size of the output", size,
                    detail::concatenate("must be ", grid_.count));
        }
    }

    detail::AnalyticFilter<R> filter_;
    SamplingGrid grid_;
};

/// All frames at once, band-passed. Throws as BandPass does.
template <Real R, class T>
[[nodiscard]] FrameMatrix<R> band_passed(const FrameView<T>& frames,
                                         const RecordingSettings& settings,
                                         const BandPassOptions& options = {}) {
    BandPass<R> filter(settings, frames.samples(), options);
    FrameMatrix<R> result(frames.frames(), frames.samples());
    for (std::size_t i = 0; i < frames.frames(); ++i) {
        filter.process(frames[i], result[i]);
    }
    return result;
}

}  // namespace echosieve
