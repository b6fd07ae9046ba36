#include "echo_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <utility>

#include "echo_derivatives.hpp"
#include "echo_sums.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/random.hpp"

namespace bench {
namespace {

using namespace echosieve;
using detail::Derivatives;
using detail::Frame;
using detail::PointRuns;
using detail::reduced;
using detail::run_at;
using Complex = std::complex<double>;

constexpr double sampling_rate = 8e6;
constexpr Sensor sensor{4e6, 1e6};
constexpr double start_time = 20e-6;
constexpr std::size_t least_samples = 64;
constexpr double margin = 0.9e-6;  // from the gate's ends to the first and the last echo [s]
constexpr double spread = 0.10;    // of the spectra about the sensor's

static_assert(least_samples % Lane::size == 0 && most_steps % Lane::size == 0);

SamplingGrid grid_for(const EchoFitSettings& settings) {
    require(settings.echoes >= 1 && settings.echoes <= EchoFit::most_echoes, "echoes",
            settings.echoes, "must lie in 1 to 6");
    require(settings.spacing >= 0 && settings.spacing <= 2e-6, "spacing", settings.spacing,
            "must lie in 0 to 2e-6 [s]");
    require(settings.amplitude_deviation > 0, "amplitude_deviation", settings.amplitude_deviation,
            "must be positive");
    require(is_finite(settings.snr_decibels), "snr_decibels", settings.snr_decibels,
            "must be finite");
    const double row = settings.spacing * static_cast<double>(settings.echoes - 1);
    std::size_t count = least_samples;
    while (static_cast<double>(count - 1) / sampling_rate < row + 2 * margin) {
        count += 16;
    }
    return {start_time, sampling_rate, count, sensor.centre_frequency};
}

template <std::size_t K>
double value_at(const Frame& y, std::span<const double> x) noexcept {
    EchoSums<K, Lane> sums;
    PointRuns<K> runs(y.units, y.count, x);
    runs.visit([&](std::size_t first, std::size_t steps) {
        add_sums(sums, runs.real, runs.imag, steps, [&](std::size_t t) {
            const std::size_t n = first + t * Lane::size;
            return std::pair(Lane::load(y.real + n), Lane::load(y.imag + n));
        });
    });
    EchoSums<K, double> total = reduced(sums);
    return y.energy - factorise(total, y.ridge);
}

template <std::size_t K>
void values_at(const Frame& y, const Points<double>& points, std::span<double> values) noexcept {
    std::array<EchoRun, K> runs;
    Lane real[K][run];
    Lane imag[K][run];
    for (std::size_t i = 0; i < points.size(); i += Lane::size) {
        const std::size_t lanes = std::min(Lane::size, points.size() - i);
        const auto coordinate = [&](std::size_t k) {
            const double* from = points.coordinate(k).data() + i;
            if (lanes == Lane::size) {
                return Lane::load(from);
            }
            std::array<double, Lane::size> padded{};
            std::copy_n(from, lanes, padded.begin());
            return Lane::load(padded.data());
        };
        for (std::size_t k = 0; k < K; ++k) {
            runs[k] =
                run_at(y.units,
                       std::array{coordinate(3 * k), coordinate(3 * k + 1), coordinate(3 * k + 2)},
                       {Lane(0.0), 1, y.count});
        }
        EchoSums<K, Lane> sums;
        for (std::size_t n = 0; n < y.count; n += run) {
            for (std::size_t k = 0; k < K; ++k) {
                runs[k].write(run, real[k], imag[k]);
            }
            add_sums(sums, real, imag, run, [&](std::size_t t) {
                return std::pair(Lane(y.real[n + t]), Lane(y.imag[n + t]));
            });
        }
        const Lane out = Lane(y.energy) - factorise(sums, y.ridge);
        std::array<double, Lane::size> stored;
        out.store(stored.data());
        std::copy_n(stored.begin(), lanes, values.begin() + static_cast<std::ptrdiff_t>(i));
    }
}

// Lanes of neighbouring rows, from `out` on, of a table whose rows are `stride` long.
void put(const Lane& values, double* out, std::size_t stride) noexcept {
    std::array<double, Lane::size> lanes;
    values.store(lanes.data());
    for (std::size_t j = 0; j < Lane::size; ++j) {
        out[j * stride] = lanes[j];
    }
}

template <std::size_t K>
void residuals_at(const Frame& y, std::span<const double> x, std::span<double> r,
                  std::span<double> jacobian) noexcept {
    constexpr std::size_t n = 3 * K;
    const std::size_t half = y.count + K;  // rows of real parts
    Derivatives<K, 2> at(y, x);
    if (!jacobian.empty()) {
        at.reduce_slopes();
        at.back_substitute();
    }
    const double root = std::sqrt(y.ridge);
    for (std::size_t k = 0; k < K; ++k) {
        r[y.count + k] = -root * at.amplitude(k).real();
        r[half + y.count + k] = -root * at.amplitude(k).imag();
        for (std::size_t i = 0; i < (jacobian.empty() ? 0 : n); ++i) {
            jacobian[(y.count + k) * n + i] = root * at.along(k, i).real();
            jacobian[(half + y.count + k) * n + i] = root * at.along(k, i).imag();
        }
    }
    PointRuns<K> runs(y.units, y.count, x);
    runs.visit([&](std::size_t first, std::size_t steps) {
        for (std::size_t t = 0; t < steps; ++t) {
            const std::size_t start = first + t * Lane::size;
            // Takes a g_k out of a sum.
            const auto take = [&](std::size_t k, Complex a, Lane& real, Lane& imag) {
                const Lane& gr = runs.real[k][t];
                const Lane& gi = runs.imag[k][t];
                real = real - (Lane(a.real()) * gr - Lane(a.imag()) * gi);
                imag = imag - (Lane(a.real()) * gi + Lane(a.imag()) * gr);
            };
            Lane real = Lane::load(y.real + start);
            Lane imag = Lane::load(y.imag + start);
            for (std::size_t k = 0; k < K; ++k) {
                take(k, at.amplitude(k), real, imag);
            }
            put(real, r.data() + start, 1);
            put(imag, r.data() + half + start, 1);
            for (std::size_t i = 0; i < (jacobian.empty() ? 0 : n); ++i) {
                const std::size_t k = i / 3;
                const Lane u = Lane::count() + Lane(static_cast<double>(start) - at.arrival(k));
                const Lane factor = i % 3 == 2 ? u * u : u;
                const Complex f = at.factor(i);
                const Lane& gr = runs.real[k][t];
                const Lane& gi = runs.imag[k][t];
                // -(slope - Phi b) = -slope + Phi b
                Lane sr = factor * (Lane(f.imag()) * gi - Lane(f.real()) * gr);
                Lane si = Lane(-1.0) * factor * (Lane(f.real()) * gi + Lane(f.imag()) * gr);
                for (std::size_t m = 0; m < K; ++m) {
                    take(m, -at.along(m, i), sr, si);
                }
                put(sr, jacobian.data() + start * n + i, n);
                put(si, jacobian.data() + (half + start) * n + i, n);
            }
        }
    });
}

// Calls f with the number of echoes as a constant.
template <class F>
decltype(auto) with_echoes(std::size_t echoes, F f) {
    switch (echoes) {
        case 1:
            return f(std::integral_constant<std::size_t, 1>{});
        case 2:
            return f(std::integral_constant<std::size_t, 2>{});
        case 3:
            return f(std::integral_constant<std::size_t, 3>{});
        case 4:
            return f(std::integral_constant<std::size_t, 4>{});
        case 5:
            return f(std::integral_constant<std::size_t, 5>{});
        default:
            return f(std::integral_constant<std::size_t, 6>{});
    }
}

}  // namespace

detail::EchoUnits::EchoUnits(const SamplingGrid& grid, const GaborBox& ranges) {
    const double h = grid.step();
    const double turn = 2 * std::numbers::pi * h;
    arrival = grid.index(ranges.arrival.end);
    rotation_least = turn * (ranges.centre_frequency.lower - grid.mixing_frequency);
    rotation_width = turn * ranges.centre_frequency.width();
    root_least = h * std::sqrt(decay_from_bandwidth(ranges.bandwidth.lower));
    root_width = h * std::sqrt(decay_from_bandwidth(ranges.bandwidth.upper)) - root_least;
}

EchoFit::EchoFit(const EchoFitSettings& settings)
    : settings_(settings),
      grid_(grid_for(settings)),
      ranges_(GaborBox::around(sensor, spread, {grid_.start_time, grid_.end_time()})),
      units_(grid_, ranges_),
      box_(std::vector<double>(dimension(), 0), std::vector<double>(dimension(), 1)) {
    RandomStream stream(settings.seed);
    const double row = settings.spacing * static_cast<double>(settings.echoes - 1);
    const double first = stream.uniform(grid_.start_time + margin, grid_.end_time() - margin - row);
    std::vector<Echo<Gabor<double>>> echoes(settings.echoes);
    double weakest = 2;
    for (std::size_t k = 0; k < echoes.size(); ++k) {
        const double modulus = stream.uniform(1.0, 2.0);
        weakest = std::min(weakest, modulus);
        echoes[k].amplitude = std::polar(modulus, stream.uniform(0.0, 2 * std::numbers::pi));
        echoes[k].atom = {
            first + settings.spacing * static_cast<double>(k),
            stream.uniform(ranges_.centre_frequency.lower, ranges_.centre_frequency.upper),
            stream.uniform(ranges_.bandwidth.lower, ranges_.bandwidth.upper)};
    }
    frame_.resize(grid_.count);
    truth_.resize(dimension());
    for (std::size_t k = 0; k < echoes.size(); ++k) {
        echosieve::add(echoes[k], grid_, std::span(frame_));
        ranges_.to_unit(echoes[k].atom, std::span(truth_).subspan(block * k, block));
    }
    const double noise = weakest * std::pow(10, -settings.snr_decibels / 20);
    for (Complex& sample : frame_) {
        sample += noise * Complex(stream.normal(), stream.normal());
        real_.push_back(sample.real());
        imag_.push_back(sample.imag());
        energy_ += std::norm(sample);
    }
    const double decay = decay_from_bandwidth(sensor.bandwidth) * grid_.step() * grid_.step();
    const double ratio = noise / settings.amplitude_deviation;
    ridge_ = std::max(ratio * ratio, 1e-14 * std::sqrt(std::numbers::pi / (2 * decay)));
}

double EchoFit::operator()(std::span<const double> x) const {
    const Frame y{real_.data(), imag_.data(), grid_.count, energy_, ridge_, units_};
    return with_echoes(echoes(), [&](auto k) { return value_at<k()>(y, x); });
}

void EchoFit::evaluate(const Points<double>& points, std::span<double> values) const {
    const Frame y{real_.data(), imag_.data(), grid_.count, energy_, ridge_, units_};
    with_echoes(echoes(), [&](auto k) { values_at<k()>(y, points, values); });
}

double EchoFit::value_and_gradient(std::span<const double> x, std::span<double> gradient) const {
    const Frame y{real_.data(), imag_.data(), grid_.count, energy_, ridge_, units_};
    return with_echoes(echoes(), [&](auto k) {
        const Derivatives<k(), 2> at(y, x);
        at.gradient(gradient);
        for (double& g : gradient) {
            g *= 2;
        }
        return at.value();
    });
}

double EchoFit::normal_equations(std::span<const double> x, std::span<double> gram,
                                 std::span<double> gradient) const {
    const Frame y{real_.data(), imag_.data(), grid_.count, energy_, ridge_, units_};
    return with_echoes(echoes(), [&](auto k) {
        Derivatives<k(), 4> at(y, x);
        at.reduce_slopes();
        at.gram(gram);
        at.gradient(gradient);
        return at.value();
    });
}

void EchoFit::residuals(std::span<const double> x, std::span<double> r,
                        std::span<double> jacobian) const {
    const Frame y{real_.data(), imag_.data(), grid_.count, energy_, ridge_, units_};
    with_echoes(echoes(), [&](auto k) { residuals_at<k()>(y, x, r, jacobian); });
}

std::vector<EchoFitSettings> echo_fit_series() {
    std::vector<EchoFitSettings> out;
    const auto add = [&](std::size_t echoes, double spacing, double ratio) {
        out.push_back(
            {.echoes = echoes, .spacing = spacing, .snr_decibels = ratio, .seed = out.size() + 1});
    };
    for (const double ratio : {40.0, 20.0, 0.0}) {
        add(1, 0, ratio);
    }
    constexpr std::array<double, 5> ratios = {0, 10, 20, 30, 40};
    std::size_t turn = 0;
    for (std::size_t echoes = 2; echoes <= EchoFit::most_echoes; ++echoes) {
        for (const double spacing : {2e-6, 1e-6, 0.5e-6, 0.3e-6}) {
            add(echoes, spacing, ratios[turn++ % ratios.size()]);
        }
    }
    return out;
}

std::string describe(const EchoFitSettings& settings) {
    std::array<char, 80> text{};
    if (settings.echoes == 1) {
        std::snprintf(text.data(), text.size(), "1 echo, %g dB", settings.snr_decibels);
    } else {
        std::snprintf(text.data(), text.size(), "%zu echoes, %g us, %g dB", settings.echoes,
                      1e6 * settings.spacing, settings.snr_decibels);
    }
    return text.data();
}

}  // namespace bench
