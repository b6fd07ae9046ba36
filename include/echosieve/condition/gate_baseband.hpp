// A gate of raw samples to a few complex ones, right up to the gate's ends.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/lanes.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/core/scalar.hpp"

namespace echosieve {

// Symbols
//   x_n  raw sample at t_n = t_0 + n / fs;   D decimation;   f_m mixing frequency, the centre
//   y_m = exp(-i 2 pi f_m t_mD) z_mD,   z_mD = sum_n h_mn x_n   analytic sample
//   rho(tau) = exp(-(pi b tau)^2 / (8 ln 10^0.3) + i 2 pi f_m tau)
//            autocorrelation of echoes of bandwidth b at random places
//   h_m = (Re rho(t_n - t_k) + lambda)^-1 rho(t_mD - t_n)   over the window of y_m
//
// The best linear estimate of the analytic signal from the samples in reach (Wiener 1949), for
// echoes in the sensor's band. Within the gate all y_m share one filter, a band-pass. Where its
// window would leave the gate it stays inside, and the filter is another: so an echo that the gate
// cuts comes out as it is, where a filter over zeros would fade it. The real echo Re a g(t) becomes
// a g(t) exp(-i 2 pi f_m t), see Basebander.

struct GateBasebandOptions {
    double rate = 8;         ///< lowest rate of the result, in sensor bandwidths
    double bandwidth = 1.5;  ///< b, in sensor bandwidths: -6 dB width of what passes unchanged
    double reach = 0.8;      ///< of the filter to each side, in 1 / bandwidth
    double noise = 1e-3;     ///< lambda: variance of white noise that the filter counts with, over
                             ///< that of the echoes
};

inline void validate(const GateBasebandOptions& options) {
    require(options.rate > 0 && is_finite(options.rate), "rate", options.rate,
            "must be positive and finite [sensor bandwidths]");
    require(options.bandwidth > 0 && is_finite(options.bandwidth), "bandwidth", options.bandwidth,
            "must be positive and finite [sensor bandwidths]");
    require(options.reach > 0 && is_finite(options.reach), "reach", options.reach,
            "must be positive and finite [1 / bandwidth]");
    require(options.noise >= 1e-12 && options.noise < 1, "noise", options.noise,
            "must lie in [1e-12, 1)");
}

/// Converts gate after gate without allocating. Not thread-safe: one object a thread.
template <Real R>
class GateBasebander {
public:
    using L = Lanes<R>;

    /// `raw` is the gate's grid of real samples. Throws InvalidInput for an invalid grid, sensor or
    /// option, or a grid with a mixing frequency, or of too few samples for one register.
    GateBasebander(const SamplingGrid& raw, const Sensor& sensor,
                   const GateBasebandOptions& options = {})
        : raw_(raw) {
        validate(raw);
        validate(sensor);
        validate(options);
        require(raw.mixing_frequency == 0, "mixing_frequency", raw.mixing_frequency,
                "must be 0 for real samples [Hz]");
        require(raw.count >= 1, "count", raw.count, "must be positive");
        require(raw.sampling_rate > 2 * sensor.centre_frequency + sensor.bandwidth, "sampling_rate",
                raw.sampling_rate,
                "must exceed twice the upper -6 dB edge of the sensor's band [Hz]");
        step_ = std::max<std::size_t>(
            1, static_cast<std::size_t>(raw.sampling_rate / (options.rate * sensor.bandwidth)));
        grid_ = {raw.start_time, raw.sampling_rate / static_cast<double>(step_),
                 (raw.count + step_ - 1) / step_, sensor.centre_frequency};
        const auto half = static_cast<std::size_t>(
            std::ceil(options.reach * raw.sampling_rate / sensor.bandwidth));
        window_ = std::min(2 * half + 1, raw.count);
        width_ = whole_lanes<R>(window_);
        frame_.assign(raw.count + width_, R{0});
        design(sensor, options, half);
    }

    /// Grid of the result.
    [[nodiscard]] const SamplingGrid& grid() const noexcept { return grid_; }

    /// How much each sample of the result counts in a fit: the inverse of its variance in white
    /// noise, in units of the least variance; within the gate 1, towards its ends less.
    [[nodiscard]] const std::vector<double>& weights() const noexcept { return weights_; }

    /// Throws InvalidInput unless the gate has the samples, and `out` the count, that this object
    /// is made for. A NaN or infinity spoils the samples within the filter's reach.
    template <class T>
    void process(std::span<const T> gate, std::span<std::complex<R>> out) {
        if (gate.size() != raw_.count || out.size() != grid_.count) {
            require(false, "samples in and out", detail::concatenate(gate.size(), ", ", out.size()),
                    detail::concatenate("must be ", raw_.count, ", ", grid_.count));
        }
        for (std::size_t n = 0; n < gate.size(); ++n) {
            frame_[n] = static_cast<R>(gate[n]);
        }
        for (std::size_t m = 0; m < out.size(); ++m) {
            const Row& row = rows_[m];
            const R* const x = frame_.data() + row.first;
            const R* const real = taps_.data() + row.taps;
            const R* const imag = real + width_;
            L re, im;
            for (std::size_t k = 0; k < width_; k += L::size) {
                const L sample = L::load(x + k);
                re = multiply_add(sample, L::load(real + k), re);
                im = multiply_add(sample, L::load(imag + k), im);
            }
            const R zr = re.sum();
            const R zi = im.sum();
            out[m] = {zr * row.turn.real() - zi * row.turn.imag(),
                      zr * row.turn.imag() + zi * row.turn.real()};
        }
    }

private:
    struct Row {
        std::size_t first;  ///< sample of the gate
        std::size_t taps;   ///< where the taps stand: real ones, then imaginary ones
        std::complex<R> turn;
    };

    void design(const Sensor& sensor, const GateBasebandOptions& options, std::size_t half) {
        const double pi = std::numbers::pi;
        const double root = pi * options.bandwidth * sensor.bandwidth;
        const double decay = root * root / (8 * 0.3 * std::numbers::ln10);
        const double centre = sensor.centre_frequency;
        const auto rho = [&](double samples) {
            const double tau = samples / raw_.sampling_rate;
            const double turns = centre * tau;
            return std::exp(-decay * tau * tau) *
                   std::polar(1.0, 2 * pi * (turns - std::nearbyint(turns)));
        };
        const auto size = static_cast<Eigen::Index>(window_);
        Eigen::MatrixXd matrix(size, size);
        for (Eigen::Index i = 0; i < size; ++i) {
            for (Eigen::Index k = 0; k < size; ++k) {
                matrix(i, k) = rho(static_cast<double>(i - k)).real();
            }
            matrix(i, i) += options.noise;
        }
        const Eigen::LLT<Eigen::MatrixXd> factor(matrix);
        std::vector<std::size_t> known(window_,
                                       raw_.count * width_);  // taps by place in the window
        for (std::size_t m = 0; m < grid_.count; ++m) {
            const std::size_t at = m * step_;
            const std::size_t first = std::min(at > half ? at - half : 0, raw_.count - window_);
            const std::size_t place = at - first;
            if (known[place] == raw_.count * width_) {
                known[place] = taps_.size();
                Eigen::MatrixXd right(size, 2);
                for (Eigen::Index k = 0; k < size; ++k) {
                    const auto r = rho(static_cast<double>(place) - static_cast<double>(k));
                    right(k, 0) = r.real();
                    right(k, 1) = r.imag();
                }
                const Eigen::MatrixXd h = factor.solve(right);
                for (Eigen::Index part = 0; part < 2; ++part) {
                    for (std::size_t k = 0; k < width_; ++k) {
                        taps_.push_back(k < window_
                                            ? static_cast<R>(h(static_cast<Eigen::Index>(k), part))
                                            : R{0});
                    }
                }
            }
            const double turns = centre * grid_.time(static_cast<double>(m));
            const auto turn = std::polar(1.0, -2 * pi * (turns - std::nearbyint(turns)));
            rows_.push_back({first, known[place], std::complex<R>(turn)});
            double gain = 0;
            for (std::size_t k = 0; k < 2 * width_; ++k) {
                gain += static_cast<double>(taps_[known[place] + k] * taps_[known[place] + k]);
            }
            weights_.push_back(1 / gain);
        }
        const double largest = *std::ranges::max_element(weights_);
        for (double& weight : weights_) {
            weight /= largest;
        }
    }

    SamplingGrid raw_;
    SamplingGrid grid_;
    std::size_t step_ = 1;
    std::size_t window_ = 0;
    std::size_t width_ = 0;
    std::vector<R> frame_;
    std::vector<R> taps_;
    std::vector<Row> rows_;
    std::vector<double> weights_;
};

}  // namespace echosieve
