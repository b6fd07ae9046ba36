// Any number of skewed pulses of one kind, written onto a grid by one recurrence for all.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/synthesis/detail/skewed_pulse.hpp"

namespace echosieve::detail {

// Symbols (see skewed_pulse.hpp for those of the pulse)
//   h  step [s];  L = T / h  the pulse's length in samples
//   p_m = exp(i 2 pi (f + m / (2 T)) h)   the ratio of its wave m from sample to sample
// A pulse of amplitude a that arrives at the index i is, between i and i + L,
//   a sum over m of a_m p_m^(n - i)  at sample n.
// Each wave's sum over all pulses that sound is carried on by its ratio; at its first sample a
// pulse's waves join in, at the first after its end they leave. No fraction of a sample is rounded.

/// Working memory for the echoes of a frame: they are put in, then added to the frame at once.
class SkewedEchoBank {
public:
    SkewedEchoBank(const SkewedEnvelope& envelope, const Sensor& sensor, const SamplingGrid& grid)
        : envelope_(envelope),
          grid_(grid),
          samples_(envelope.length(sensor.bandwidth) * grid.sampling_rate),
          turns_(sensor.centre_frequency / grid.sampling_rate),
          changes_at_(grid.count, none) {}

    /// Puts in an echo that arrives at `arrival` [s], its envelope's peak |amplitude|, the phase at
    /// its arrival that of the amplitude.
    void put(double arrival, std::complex<double> amplitude) {
        const double index = grid_.index(arrival);
        const double start = std::max(0.0, std::ceil(index));
        const double end = std::ceil(index + samples_);
        const auto count = static_cast<double>(grid_.count);
        if (!(start < end && start < count)) {
            return;
        }
        change(start, start - index, amplitude);
        if (end < count) {
            change(end, end - index, -amplitude);
        }
    }
    /// Adds the real part of all echoes to `frame`, of the grid's count.
    void add_to(std::span<double> frame) const noexcept {
        Waves ratio{};
        for (std::size_t k = 0; k < wave_count; ++k) {
            const std::complex<double> p = unit_phasor(turns_of(k));
            ratio.real[k] = p.real();
            ratio.imag[k] = p.imag();
        }
        Waves now{};
        for (std::size_t n = 0; n < grid_.count; ++n) {
            double sum = 0;
            for (std::size_t k = 0; k < lanes; ++k) {
                const double real = now.real[k] * ratio.real[k] - now.imag[k] * ratio.imag[k];
                now.imag[k] = now.real[k] * ratio.imag[k] + now.imag[k] * ratio.real[k];
                now.real[k] = real;
            }
            for (std::size_t at = changes_at_[n]; at != none; at = changes_[at].next) {
                for (std::size_t k = 0; k < lanes; ++k) {
                    now.real[k] += changes_[at].by.real[k];
                    now.imag[k] += changes_[at].by.imag[k];
                }
            }
            for (std::size_t k = 0; k < lanes; ++k) {
                sum += now.real[k];
            }
            frame[n] += sum;
        }
    }

private:
    static constexpr std::size_t wave_count = SkewedEnvelope::wave_count;
    static constexpr std::size_t lanes = 8;  // the last stays 0: whole registers
    static constexpr std::size_t none = static_cast<std::size_t>(-1);

    struct Waves {
        std::array<double, lanes> real{};
        std::array<double, lanes> imag{};
    };
    /// What joins or leaves at a sample; the changes of one sample are a chain.
    struct Change {
        Waves by;
        std::size_t next;
    };

    [[nodiscard]] double turns_of(std::size_t k) const noexcept {
        return turns_ + (static_cast<double>(k) - SkewedEnvelope::highest) / (2 * samples_);
    }
    // `since` samples after the arrival.
    void change(double sample, double since, std::complex<double> amplitude) {
        const std::complex<double> step = unit_phasor(since / (2 * samples_));
        std::complex<double> wave = amplitude * unit_phasor(turns_of(0) * since);
        Change made{};
        for (std::size_t k = 0; k < wave_count; ++k) {
            made.by.real[k] = envelope_.waves()[k] * wave.real();
            made.by.imag[k] = envelope_.waves()[k] * wave.imag();
            wave = {wave.real() * step.real() - wave.imag() * step.imag(),
                    wave.real() * step.imag() + wave.imag() * step.real()};
        }
        std::size_t& head = changes_at_[static_cast<std::size_t>(sample)];
        made.next = head;
        head = changes_.size();
        changes_.push_back(made);
    }

    const SkewedEnvelope& envelope_;
    SamplingGrid grid_;
    double samples_;  // L
    double turns_;    // f h
    std::vector<std::size_t> changes_at_;
    std::vector<Change> changes_;
};

}  // namespace echosieve::detail
