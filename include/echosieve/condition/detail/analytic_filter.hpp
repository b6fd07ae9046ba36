// The complex band-pass behind band-passed, analytic and baseband samples, evaluated only where it
// is asked for.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <numeric>
#include <span>
#include <type_traits>

#include "echosieve/condition/detail/fir.hpp"
#include "echosieve/core/detail/lanes.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/recording.hpp"

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
///
/// Sums are taken a register of taps at a time, and for several results at once that share the
/// taps. Loads across a cache line cost double: so each possible place of a window in its registers
/// has its own copy of the taps, zeros before and after, and the samples are read from whole
/// registers.
template <Real R>
class AnalyticFilter {
public:
    /// For results at every `step`-th sample. `cutoff` is the low-pass's, in sensor bandwidths to
    /// each side of the centre (limited to half the sampling rate); `offset` is taken off every
    /// sample. Throws InvalidInput for invalid settings or an offset that is not finite.
    AnalyticFilter(const RecordingSettings& settings, std::size_t samples, double cutoff,
                   std::size_t step, double offset = 0)
        : samples_(samples),
          step_(step),
          count_((samples + step - 1) / step),
          offset_(static_cast<R>(offset)) {
        validate(settings);
        require(is_finite(offset), "offset", offset, "must be finite [counts]");
        const double rate = settings.sampling_rate;
        const double bandwidth = settings.sensor.bandwidth;
        const Eigen::ArrayXd taps = low_pass_taps(filter_length(rate, bandwidth),
                                                  std::min(cutoff * bandwidth, 0.499 * rate), rate);
        window_ = static_cast<std::size_t>(taps.size());
        width_ = whole_lanes<R>(window_ + L::size - 1);
        places_ = L::size / std::gcd(L::size, step);
        padded_.setZero(static_cast<Eigen::Index>(samples + width_ + L::size));
        taps_.setZero(static_cast<Eigen::Index>(2 * width_ * places_));
        for (std::size_t k = 0; k < window_; ++k) {
            const double turns = settings.sensor.centre_frequency *
                                 (static_cast<double>(k) - static_cast<double>(half())) / rate;
            const double angle = -2 * std::numbers::pi * (turns - std::nearbyint(turns));
            const double h = 2 * taps[static_cast<Eigen::Index>(k)];
            for (std::size_t place = 0; place < places_; ++place) {
                R* const to = taps_.data() + 2 * width_ * place + place * step % L::size + k;
                to[0] = static_cast<R>(h * std::cos(angle));
                to[width_] = static_cast<R>(h * std::sin(angle));
            }
        }
    }

    /// Number of results.
    [[nodiscard]] std::size_t count() const noexcept { return count_; }

    /// Filters the frame: calls use(m, Re z, Im z) for every result m, at sample m * step, in no
    /// order. Throws InvalidInput unless the frame has the samples that the filter is made for.
    template <class T, class Use>
    void analytic(std::span<const T> frame, Use use) {
        run<true>(frame, use);
    }
    /// use(m, Re z).
    template <class T, class Use>
    void real(std::span<const T> frame, Use use) {
        run<false>(frame, [&](std::size_t m, R re, R) { use(m, re); });
    }

private:
    using L = Lanes<R>;
    using Array = Eigen::Array<R, Eigen::Dynamic, 1>;
    // As many as the registers hold: 32 of them with AVX-512, 16 else.
    static constexpr std::size_t together = sizeof(L) == 64 ? 6 : 4;

    [[nodiscard]] std::size_t half() const noexcept { return window_ / 2; }

    template <bool Imaginary, class T, class Use>
    void run(std::span<const T> frame, Use use) {
        if (frame.size() != samples_) {  // no text is made in a good run
            require(false, "samples in the frame", frame.size(), concatenate("must be ", samples_));
        }
        R* const inside = padded_.data() + half();
        for (std::size_t n = 0; n < samples_; ++n) {
            inside[n] = static_cast<R>(frame[n]) - offset_;
        }
        // A zero tap makes a NaN of a NaN or an infinity that is out of the window's reach.
        const auto checked = [&](std::size_t m, R re, R im) {
            if constexpr (!std::is_integral_v<T>) {
                if (!is_finite(re) || !is_finite(im)) {
                    re = windowed(m, taps_.data() + 2 * width_ * (m % places_));
                    im = Imaginary ? windowed(m, taps_.data() + 2 * width_ * (m % places_) + width_)
                                   : R{0};
                }
            }
            use(m, re, im);
        };
        for (std::size_t place = 0; place < places_; ++place) {
            std::size_t m = place;
            for (; m + (together - 1) * places_ < count_; m += together * places_) {
                sums<together, Imaginary>(m, checked);
            }
            for (; m < count_; m += places_) {
                sums<1, Imaginary>(m, checked);
            }
        }
    }

    // The results m, m + places_ ... which share their taps.
    template <std::size_t N, bool Imaginary, class Use>
    void sums(std::size_t m, Use& use) const {
        const R* const taps = taps_.data() + 2 * width_ * (m % places_);
        const R* const x = padded_.data() + m * step_ / L::size * L::size;
        const std::size_t apart = places_ * step_;
        std::array<L, N> re;
        std::array<L, N> im;
        for (std::size_t k = 0; k < width_; k += L::size) {
            const L real = L::load(taps + k);
            const L imag = Imaginary ? L::load(taps + width_ + k) : L();
            for (std::size_t i = 0; i < N; ++i) {
                const L sample = L::load(x + i * apart + k);
                re[i] = multiply_add(sample, real, re[i]);
                if constexpr (Imaginary) {
                    im[i] = multiply_add(sample, imag, im[i]);
                }
            }
        }
        for (std::size_t i = 0; i < N; ++i) {
            use(m + i * places_, re[i].sum(), Imaginary ? im[i].sum() : R{0});
        }
    }

    // One sum over the window alone, out of turn.
    [[nodiscard]] R windowed(std::size_t m, const R* taps) const noexcept {
        const R* const x = padded_.data() + m * step_;
        R sum = 0;
        for (std::size_t k = 0; k < window_; ++k) {
            sum += x[k] * taps[m * step_ % L::size + k];
        }
        return sum;
    }

    std::size_t samples_;
    std::size_t step_;
    std::size_t count_;
    R offset_;
    std::size_t window_ = 0;  // taps
    std::size_t width_ = 0;   // taps with their zeros, in whole registers
    std::size_t places_ = 1;  // of windows in their registers, after which they repeat
    Array taps_;              // by place: the real parts, then the imaginary ones
    Array padded_;
};

}  // namespace echosieve::detail
