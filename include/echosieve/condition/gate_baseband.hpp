// A gate of raw samples to a few complex ones, in a microsecond or two.
#pragma once

#include <Eigen/Core>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

#include "echosieve/condition/detail/fir.hpp"
#include "echosieve/condition/detail/gate_design.hpp"
#include "echosieve/core/detail/lanes.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/core/threads.hpp"

namespace echosieve {

// Symbols (those of gate_design.hpp, and)
//   y_m = exp(-i 2 pi f_m t_mD) z_mD    baseband sample, see baseband.hpp
//
// The real echo Re a g(t) becomes a g(t) exp(-i 2 pi f_m t), to 1 % of its peak at the gate's ends
// and 0.1 % within. Basebander serves lines, GateBasebander short gates: where a third of the
// samples are within a filter's reach of an end, the ends matter.

/// Converts gate after gate without allocating. Not thread-safe: one object a thread.
template <Real R>
class GateBasebander {
public:
    using L = Lanes<R>;

    /// `raw` is the gate's grid of real samples. Throws InvalidInput for an invalid grid, sensor or
    /// option, a grid with a mixing frequency or without samples, or of too low a rate.
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
        const std::size_t step =
            detail::decimation(raw.sampling_rate, options.rate * sensor.bandwidth);
        const detail::GateDesign<double> design(raw.count, raw.sampling_rate, step, sensor,
                                                options);
        grid_ = {raw.start_time, raw.sampling_rate / static_cast<double>(step), design.kept(),
                 sensor.centre_frequency};
        weights_ = design.weights();
        width_ = whole_lanes<R>(design.window());
        frame_.assign(raw.count + width_, R{0});
        const auto width = static_cast<Eigen::Index>(width_);
        taps_.setZero(width, 2 * static_cast<Eigen::Index>(design.filters().size()));
        Eigen::Index column = 0;
        for (const Eigen::VectorXcd& filter : design.filters()) {
            taps_.col(column++).head(filter.size()) = filter.real().template cast<R>();
            taps_.col(column++).head(filter.size()) = filter.imag().template cast<R>();
        }
        for (std::size_t m = 0; m < grid_.count; ++m) {
            const double turns = sensor.centre_frequency * grid_.time(static_cast<double>(m));
            const auto turn =
                std::polar(1.0, -2 * std::numbers::pi * (turns - std::nearbyint(turns)));
            rows_.push_back(
                {design.first(m), 2 * width_ * design.filter(m), std::complex<R>(turn)});
            if (m + 1 == grid_.count || design.filter(m + 1) != design.filter(m)) {
                ends_.push_back(m + 1);
            }
        }
    }

    /// Grid of the result.
    [[nodiscard]] const SamplingGrid& grid() const noexcept { return grid_; }

    /// How much each sample of the result counts in a fit, over the largest; see gate_design.hpp.
    [[nodiscard]] const std::vector<double>& weights() const noexcept { return weights_; }

    /// Throws InvalidInput unless the gate has the samples, and `out` the count, that this object
    /// is made for. A NaN or infinity spoils the samples within the filter's reach.
    template <class T>
    void process(std::span<const T> gate, std::span<std::complex<R>> out) {
        if (gate.size() != raw_.count || out.size() != grid_.count) {  // no text in a good run
            require(false, "samples in and out", detail::concatenate(gate.size(), ", ", out.size()),
                    detail::concatenate("must be ", raw_.count, ", ", grid_.count));
        }
        for (std::size_t n = 0; n < gate.size(); ++n) {
            frame_[n] = static_cast<R>(gate[n]);
        }
        std::size_t m = 0;
        for (const std::size_t end : ends_) {  // of rows that share their filter
            for (; m + together <= end; m += together) {
                sums<together>(m, out);
            }
            for (; m < end; ++m) {
                sums<1>(m, out);
            }
        }
    }

private:
    struct Row {
        std::size_t first;  // sample of the gate
        std::size_t taps;   // where the filter stands: the real parts, then the imaginary ones
        std::complex<R> turn;
    };
    static constexpr std::size_t together = 2;

    // The results m .. m + N - 1, which share their filter.
    template <std::size_t N>
    void sums(std::size_t m, std::span<std::complex<R>> out) const noexcept {
        const R* const real = taps_.data() + rows_[m].taps;
        const R* const imag = real + width_;
        std::array<const R*, N> x;
        for (std::size_t i = 0; i < N; ++i) {
            x[i] = frame_.data() + rows_[m + i].first;
        }
        std::array<L, N> re;
        std::array<L, N> im;
        for (std::size_t k = 0; k < width_; k += L::size) {
            const L c = L::load(real + k);
            const L s = L::load(imag + k);
            for (std::size_t i = 0; i < N; ++i) {
                const L sample = L::load(x[i] + k);
                re[i] = multiply_add(sample, c, re[i]);
                im[i] = multiply_add(sample, s, im[i]);
            }
        }
        for (std::size_t i = 0; i < N; ++i) {
            const R zr = re[i].sum();
            const R zi = im[i].sum();
            const std::complex<R> turn = rows_[m + i].turn;
            out[m + i] = {zr * turn.real() - zi * turn.imag(), zr * turn.imag() + zi * turn.real()};
        }
    }

    SamplingGrid raw_;
    SamplingGrid grid_;
    std::size_t width_ = 0;  // taps in whole lanes
    std::vector<double> weights_;
    std::vector<R> frame_;
    // By filter: the real parts, then the imaginary ones. In memory that Eigen aligns.
    Eigen::Array<R, Eigen::Dynamic, Eigen::Dynamic> taps_;
    std::vector<Row> rows_;
    std::vector<std::size_t> ends_;
};

/// Gates of raw samples, one a frame, to baseband: row i is what `basebander.process` gives of
/// frame i. `basebander` is left as it is: each of the `threads` threads works with a copy. The
/// same bits on any number of them. Throws InvalidInput unless frames have the samples that
/// `basebander` is made for, and as for_each_part does.
template <Real R, class T>
[[nodiscard]] FrameMatrix<std::complex<R>> gates_to_baseband(const FrameView<T>& frames,
                                                             const GateBasebander<R>& basebander,
                                                             std::size_t threads = 1) {
    FrameMatrix<std::complex<R>> result(frames.frames(), basebander.grid().count);
    for_each_part(frames.frames(), threads, [&](std::size_t first, std::size_t end) {
        GateBasebander<R> own(basebander);
        for (std::size_t i = first; i < end; ++i) {
            own.process(frames[i], result[i]);
        }
    });
    return result;
}

}  // namespace echosieve
