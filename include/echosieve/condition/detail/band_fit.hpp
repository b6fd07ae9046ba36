// The fit of a Gaussian band over a white floor to a power spectrum.
#pragma once

#include <Eigen/Core>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <utility>
#include <vector>

#include "echosieve/condition/detail/line_spectrum.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve::detail {

// Symbols: those of sensor_spectrum.hpp.

/// A floor is at least this part of the mean, or of the highest value: nothing is divided by 0.
inline constexpr double least_floor_part = 1e-9;

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
template <Real R>
[[nodiscard]] BandModel band_at(const Sensor& sensor, const LineSpectrum<R>& spectrum,
                                Eigen::Index first) {
    const Eigen::ArrayX<R> power = spectrum.power.tail(spectrum.power.size() - first);
    std::vector<R> sorted(power.begin(), power.end());
    const auto low = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 10);
    std::nth_element(sorted.begin(), low, sorted.end());
    BandModel band;
    band.centre = sensor.centre_frequency;
    band.spread = sensor.bandwidth / (4 * std::sqrt(0.3 * std::numbers::ln10));
    band.floor = std::max(static_cast<double>(*low), least_floor_part * power.mean());
    const Eigen::ArrayX<R> frequency = Eigen::ArrayX<R>::LinSpaced(
        power.size(), static_cast<R>(spectrum.step * static_cast<double>(first)),
        static_cast<R>(spectrum.step * static_cast<double>(spectrum.power.size() - 1)));
    const auto centre = static_cast<R>(band.centre);
    const auto spread = static_cast<R>(band.spread);
    const Eigen::ArrayX<R> shape = (-((frequency - centre) / spread).square() / 2).exp();
    band.peak = ((power - static_cast<R>(band.floor)) * shape).sum() /
                std::max(static_cast<double>(shape.square().sum()), 1e-300);
    return band;
}

// The best of a coarse grid of bands by Whittle's likelihood over all frequencies from value
// `first` on, the spectrum's values taken four at a time.
template <Real R>
[[nodiscard]] BandModel coarse_band(const LineSpectrum<R>& spectrum, Eigen::Index first) {
    constexpr double next_centre = 1.06;  // by twice the narrowest spread
    constexpr double narrowest = 0.03;    // spread over centre
    constexpr double widest = 0.5;
    constexpr double next_spread = 1.5;
    const Eigen::Index count = (spectrum.power.size() - first) / 4;
    Eigen::ArrayX<R> power(count);
    Eigen::ArrayX<R> frequency(count);
    for (Eigen::Index k = 0; k < count; ++k) {
        power[k] = spectrum.power.segment(first + 4 * k, 4).mean();
        frequency[k] = static_cast<R>(spectrum.step * (static_cast<double>(first + 4 * k) + 1.5));
    }
    std::vector<R> sorted(power.begin(), power.end());
    std::sort(sorted.begin(), sorted.end());
    const R floor =
        std::max(sorted[sorted.size() / 10], static_cast<R>(least_floor_part * power.mean()));
    BandModel best;
    double best_cost = std::numeric_limits<double>::infinity();
    Eigen::ArrayX<R> shape(count);
    for (double centre = frequency[0]; centre < frequency[count - 1]; centre *= next_centre) {
        for (double spread = narrowest * centre; spread < widest * centre; spread *= next_spread) {
            shape = (-((frequency - static_cast<R>(centre)) / static_cast<R>(spread)).square() / 2)
                        .exp();
            const R peak = ((power - floor) * shape).sum() / shape.square().sum();
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

// The fit by reweighted Gauss-Newton steps, in units of A, s, s and N: all of order one.
template <Real R>
class BandFit {
public:
    /// Over the values from `lowest` on.
    BandFit(const LineSpectrum<R>& spectrum, Eigen::Index lowest, const BandModel& start)
        : spectrum_(spectrum),
          lowest_(lowest),
          first_(lowest),
          last_(spectrum.power.size()),
          least_floor_(least_floor_part * spectrum.power.maxCoeff()),
          model_(start) {}

    /// Whether the steps came to an end within so many. The peak is 0 where the band went out of
    /// the frequencies looked at.
    bool run(int most) {
        while (model_.peak > 0 && iterations_ < most) {
            if (iterations_ < settled_after) {
                look_at_band();
            }
            const Vector step = gauss_newton_step();
            if (!step.allFinite()) {
                break;
            }
            take(step);
            ++iterations_;
            if (!inside()) {
                model_.peak = 0;
            }
            if (iterations_ > settled_after &&
                std::max(std::abs(step[1]), std::abs(step[2])) < least_step) {
                return true;
            }
        }
        return false;
    }

    [[nodiscard]] const BandModel& model() const noexcept { return model_; }
    [[nodiscard]] int iterations() const noexcept { return iterations_; }
    /// Of the centre and the bandwidth [Hz], after a step.
    [[nodiscard]] std::pair<double, double> deviations() const {
        const Matrix inverse = hessian_.fullPivLu().inverse();
        const Matrix covariance = inverse * scatter_ * inverse;
        return {model_.spread * std::sqrt(covariance(1, 1)),
                model_.bandwidth() * std::sqrt(covariance(2, 2))};
    }

private:
    using Matrix = Eigen::Matrix<R, 4, 4>;
    using Vector = Eigen::Vector<R, 4>;
    // The band to look at follows the model for so many steps, and is kept then so that they end.
    static constexpr int settled_after = 10;
    static constexpr double looked_at = 2.5;  // bandwidths to either side
    static constexpr double least_step = 1e-5;
    static constexpr double longest_step = 0.5;    // of A, f0 and N
    static constexpr double longest_spread = 0.3;  // of s, in which f0's are counted
    static constexpr double deaf_to = 50;          // skirts below A over this count no more

    void look_at_band() noexcept {
        const auto size = spectrum_.power.size();
        const double reach = looked_at * model_.bandwidth();
        first_ =
            std::max(lowest_, static_cast<Eigen::Index>((model_.centre - reach) / spectrum_.step));
        last_ = std::min(
            size, static_cast<Eigen::Index>(std::min((model_.centre + reach) / spectrum_.step,
                                                     static_cast<double>(size))) +
                      1);
    }
    [[nodiscard]] Vector gauss_newton_step() {
        hessian_.setZero();
        scatter_.setZero();
        Vector gradient = Vector::Zero();
        const double cells = 1 / (spectrum_.effective_time * spectrum_.step);
        for (Eigen::Index k = first_; k < last_; ++k) {
            const double f = spectrum_.step * static_cast<double>(k);
            const double x = (f - model_.centre) / model_.spread;
            const double signal = model_.peak * model_.shape(f);
            const Vector slope(static_cast<R>(signal), static_cast<R>(signal * x),
                               static_cast<R>(signal * x * x), static_cast<R>(model_.floor));
            const double level = signal + model_.floor + model_.peak / deaf_to;
            const R weight = static_cast<R>(1 / (level * level));
            // The speckle of the echoes stays from frame to frame, the noise is averaged.
            const R variance = static_cast<R>(
                cells * (signal * signal + (2 * signal + model_.floor) * model_.floor /
                                               static_cast<double>(spectrum_.frames)));
            hessian_ += weight * slope * slope.transpose();
            scatter_ += weight * weight * variance * slope * slope.transpose();
            gradient += weight * slope * static_cast<R>(spectrum_.power[k] - signal - model_.floor);
        }
        return hessian_.fullPivLu().solve(gradient);
    }
    void take(const Vector& step) noexcept {
        const auto bounded = [&](Eigen::Index k, double limit) {
            return std::clamp(static_cast<double>(step[k]), -limit, limit);
        };
        model_.peak *= std::exp(bounded(0, longest_step));
        model_.centre += model_.spread * bounded(1, longest_step);
        model_.floor = std::max(model_.floor * std::exp(bounded(3, longest_step)), least_floor_);
        model_.spread *= std::exp(bounded(2, longest_spread));
    }
    [[nodiscard]] bool inside() const noexcept {
        const double half = model_.bandwidth() / 2;
        return model_.centre - half >= spectrum_.step * static_cast<double>(lowest_ - 1) &&
               model_.centre + half <= spectrum_.step * static_cast<double>(spectrum_.power.size());
    }

    const LineSpectrum<R>& spectrum_;
    Eigen::Index lowest_;
    Eigen::Index first_;
    Eigen::Index last_;
    double least_floor_;
    BandModel model_;
    Matrix hessian_;
    Matrix scatter_;
    int iterations_ = 0;
};

}  // namespace echosieve::detail
