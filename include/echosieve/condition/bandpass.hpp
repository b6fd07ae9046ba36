// Raw frames limited to the sensor's band at the full sampling rate: as real samples, or as the
// analytic signal.
#pragma once

#include <complex>
#include <cstddef>
#include <span>

#include "echosieve/condition/detail/analytic_filter.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

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
/// bands baseband.hpp does the same work at far fewer samples. Not thread-safe: one object a
/// thread; allocates in the constructor alone.
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
