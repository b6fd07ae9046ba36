// The complex band-pass behind band-passed, analytic and baseband samples, evaluated only where it
// is asked for.
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
#include "echosieve/core/recording.hpp"
#include "echosieve/core/scalar.hpp"

namespace echosieve::detail {

// Symbols
//   x_n  raw sample at t_n = t_0 + n / fs;   f_m centre of the band [Hz];   h_k low-pass taps,
//   k = -K .. K
//   z_n = sum_k g_k x_{n+k},   g_k = 2 h_k exp(-i 2 pi f_m k / fs)
//
// z is the low-passed 2 x exp(-i 2 pi f_m t), turned back by exp(i 2 pi f_m t_n): the real echo
// Re a g(t) comes out as a g(t), but for the low-pass, and for the echo's image at -f_m, which lies
// 2 f_m away from the band.

/// Filters one frame at a time; samples outside the frame count as zero. Does not allocate after
/// construction.
template <Real R>
class AnalyticFilter {
public:
    /// `cutoff` is the low-pass's, in sensor bandwidths to each side of the centre (limited to half
    /// the sampling rate). Throws InvalidInput for invalid settings.
    AnalyticFilter(const RecordingSettings& settings, std::size_t samples, double cutoff) {
        validate(settings);
        const double rate = settings.sampling_rate;
        const double bandwidth = settings.sensor.bandwidth;
        const Eigen::ArrayXd taps = low_pass_taps(filter_length(rate, bandwidth),
                                                  std::min(cutoff * bandwidth, 0.499 * rate), rate);
        half_ = taps.size() / 2;
        real_taps_.resize(taps.size());
        imaginary_taps_.resize(taps.size());
        for (Eigen::Index k = 0; k < taps.size(); ++k) {
            const double turns =
                settings.sensor.centre_frequency * static_cast<double>(k - half_) / rate;
            const double angle = -2 * std::numbers::pi * (turns - std::nearbyint(turns));
            real_taps_[k] = static_cast<R>(2 * taps[k] * std::cos(angle));
            imaginary_taps_[k] = static_cast<R>(2 * taps[k] * std::sin(angle));
        }
        padded_.setZero(static_cast<Eigen::Index>(samples) + 2 * half_);
    }

    [[nodiscard]] Eigen::Index samples() const noexcept { return padded_.size() - 2 * half_; }

    /// Takes the frame in. Throws InvalidInput unless it has the samples that the filter is made
    /// for.
    template <class T>
    void load(std::span<const T> frame) {
        if (static_cast<Eigen::Index>(frame.size()) != samples()) {  // no text in a good run
            require(false, "samples in the frame", frame.size(),
                    concatenate("must be ", samples()));
        }
        padded_.segment(half_, samples()) =
            Eigen::Map<const Eigen::Array<T, Eigen::Dynamic, 1>>(frame.data(), samples())
                .template cast<R>();
    }

    /// Re z_n, with n one of the frame's samples.
    [[nodiscard]] R real(Eigen::Index n) const noexcept { return dot(n, real_taps_); }
    /// Im z_n.
    [[nodiscard]] R imag(Eigen::Index n) const noexcept { return dot(n, imaginary_taps_); }

private:
    using Array = Eigen::Array<R, Eigen::Dynamic, 1>;

    [[nodiscard]] R dot(Eigen::Index n, const Array& taps) const noexcept {
        return padded_.segment(n, taps.size()).matrix().dot(taps.matrix());
    }

    Eigen::Index half_ = 0;
    Array real_taps_;
    Array imaginary_taps_;
    Array padded_;
};

}  // namespace echosieve::detail
