// The power spectrum of a line, its depths brought to like power first.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include <unsupported/Eigen/FFT>

#include "echosieve/condition/detail/frame_values.hpp"
#include "echosieve/condition/gates.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

/// A power spectrum on an even grid of frequencies.
template <Real R = double>
struct LineSpectrum {
    Eigen::ArrayX<R> power;     ///< at k * step, k = 0 .. half the transform's length
    double step = 0;            ///< [Hz]
    double effective_time = 0;  ///< of the weighted line [s]: values 1 / effective_time apart are
                                ///< independent
    std::size_t frames = 0;     ///< averaged
};

namespace detail {

// Depths are brought to the power of this part of the line to either side: short enough to follow
// it, long enough to hold many echoes.
inline constexpr Eigen::Index parts_of_local_power = 16;
// Part of the line over which it fades in and out, so that its ends make no skirts.
inline constexpr double faded_part = 0.2;

// By what each sample counts, and the line's mean power about it.
template <Real R>
struct DepthGain {
    Eigen::ArrayX<R> gain;
    Eigen::ArrayX<R> local;
};

// From the power of each sample, summed over frames.
template <Real R>
[[nodiscard]] DepthGain<R> depth_gain(const Eigen::ArrayX<R>& power) {
    const Eigen::Index count = power.size();
    const Eigen::Index reach = std::max<Eigen::Index>(1, count / parts_of_local_power);
    DepthGain<R> out{Eigen::ArrayX<R>(count), Eigen::ArrayX<R>(count)};
    for (Eigen::Index n = 0; n < count; ++n) {
        const Eigen::Index first = std::max<Eigen::Index>(0, n - reach);
        out.local[n] = power.segment(first, std::min(count, n + reach + 1) - first).mean();
    }
    const R typical = static_cast<R>(middle({out.local.begin(), out.local.end()}));
    for (Eigen::Index n = 0; n < count; ++n) {
        const double position = (static_cast<double>(n) + 0.5) / static_cast<double>(count);
        out.gain[n] = out.local[n] > 0 ? static_cast<R>(tukey(position, faded_part)) /
                                             std::sqrt(out.local[n] + typical)
                                       : 0;
    }
    return out;
}

// Of the samples `range` of the chosen frames.
template <Real R, class T>
[[nodiscard]] LineSpectrum<R> averaged_spectrum(const FrameView<T>& frames, double sampling_rate,
                                                const SampleRange& range,
                                                std::span<const std::size_t> chosen) {
    const auto count = static_cast<Eigen::Index>(range.count());
    const auto part = [&](std::size_t i) {
        const Eigen::ArrayX<R> x = Eigen::Map<const Eigen::Array<T, Eigen::Dynamic, 1>>(
                                       frames[i].data() + range.first, count)
                                       .template cast<R>();
        return Eigen::ArrayX<R>(x - x.mean());
    };
    Eigen::ArrayX<R> power = Eigen::ArrayX<R>::Zero(count);
    for (const std::size_t i : chosen) {
        power += part(i).square();
    }
    const auto [gain, local] = depth_gain<R>(power);

    Eigen::Index length = 16;
    while (length < count) {
        length *= 2;
    }
    LineSpectrum<R> spectrum;
    spectrum.power.setZero(length / 2 + 1);
    spectrum.step = sampling_rate / static_cast<double>(length);
    spectrum.frames = chosen.size();
    const Eigen::ArrayX<R> weighed = gain.square() * local;
    const double energy = weighed.square().sum();
    const double sum = weighed.sum();
    spectrum.effective_time = energy > 0 ? sum * sum / energy * (1 / sampling_rate) : 0;
    Eigen::FFT<R> transform;
    transform.SetFlag(Eigen::FFT<R>::HalfSpectrum);
    std::vector<R> line(static_cast<std::size_t>(length), 0);
    std::vector<std::complex<R>> values;
    for (const std::size_t i : chosen) {
        Eigen::Map<Eigen::ArrayX<R>>(line.data(), count) = part(i) * gain;
        transform.fwd(values, line);
        for (Eigen::Index k = 0; k < spectrum.power.size(); ++k) {
            spectrum.power[k] +=
                std::norm(values[static_cast<std::size_t>(k)]) / static_cast<R>(chosen.size());
        }
    }
    return spectrum;
}

}  // namespace detail

}  // namespace echosieve
