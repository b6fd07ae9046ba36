// Any number of gamma pulses of one frequency, written onto a grid by one recurrence for all.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/synthesis/detail/gamma_pulse.hpp"

namespace echosieve::detail {

// Symbols
//   h  step [s];  p = exp(-h / tau + i 2 pi f h)  the pulse's ratio from sample to sample
//   A pulse whose first sample lies u steps after its arrival is there, k samples on,
//     E (u + k)^2 p^k = (a_0 + a_1 k + a_2 k^2) p^k,  E = a (e h / (2 tau))^2 p^u,
//     a_0 = E u^2,  a_1 = 2 E u,  a_2 = E,
//   exact for any fraction u of a sample. Polynomials of pulses that begin at different samples add
//   up once they are written about the same sample; from one sample to the next,
//     a_0' = p (a_0 + a_1 + a_2),  a_1' = p (a_1 + 2 a_2),  a_2' = p a_2,
//   so that one recurrence carries them all: three multiplications a sample, an exponential a
//   pulse.

/// Working memory for the echoes of a frame. Echoes are put in, then added to the frame at once.
class GammaEchoBank {
public:
    explicit GammaEchoBank(const SamplingGrid& grid)
        : grid_(grid), starts_(grid.count), first_(grid.count) {}

    /// What the next echoes are like: set it while none is put in [Hz].
    void set_pulse(double centre_frequency, double bandwidth) noexcept {
        const double tau = gamma_decay_time(bandwidth);
        decay_ = 1 / (tau * grid_.sampling_rate);
        turns_ = centre_frequency / grid_.sampling_rate;
        const double scale = std::exp(1.0) / 2 * decay_;
        scale_ = scale * scale;
        ratio_ = std::exp(-decay_) * unit_phasor(turns_);
    }
    /// Puts in an echo that arrives at `arrival` [s], its envelope's peak |amplitude|, the phase at
    /// its arrival that of the amplitude.
    void put(double arrival, std::complex<double> amplitude) noexcept {
        const double index = grid_.index(arrival);
        const double start = std::max(0.0, std::ceil(index));
        const double u = start - index;
        if (!(start < static_cast<double>(grid_.count)) || u * decay_ > longest) {
            return;
        }
        const auto n = static_cast<std::size_t>(start);
        const std::complex<double> e =
            scale_ * std::exp(-decay_ * u) * (amplitude * unit_phasor(turns_ * u));
        Polynomial& at = starts_[n];
        at.zeroth += u * u * e;
        at.first += 2 * u * e;
        at.second += e;
        first_ = std::min(first_, n);
        last_ = std::max(last_, n);
    }
    /// Adds the real part of all echoes to `frame`, of the grid's count, and takes them out.
    void move_to(std::span<double> frame) noexcept {
        if (first_ >= grid_.count) {
            return;
        }
        const double end = std::min(static_cast<double>(last_) + longest / decay_,
                                    static_cast<double>(grid_.count - 1));
        const auto stop = static_cast<std::size_t>(end) + 1;
        const double pr = ratio_.real();
        const double pi = ratio_.imag();
        const auto times_ratio = [pr, pi](std::complex<double> z) {
            return std::complex<double>{z.real() * pr - z.imag() * pi,
                                        z.real() * pi + z.imag() * pr};
        };
        Polynomial sum;
        for (std::size_t n = first_; n < stop; ++n) {
            Polynomial& at = starts_[n];
            sum.zeroth = times_ratio(sum.zeroth + sum.first + sum.second) + at.zeroth;
            sum.first = times_ratio(sum.first + 2.0 * sum.second) + at.first;
            sum.second = times_ratio(sum.second) + at.second;
            frame[n] += sum.zeroth.real();
            at = {};
        }
        first_ = grid_.count;
        last_ = 0;
    }

private:
    // Beyond so many decay times a pulse is left out: (e^2 / 4) 28^2 exp(-28) = 1e-9 of its peak.
    static constexpr double longest = 28;

    struct Polynomial {
        std::complex<double> zeroth;
        std::complex<double> first;
        std::complex<double> second;
    };

    SamplingGrid grid_;
    std::vector<Polynomial> starts_;
    std::size_t first_ = 0;
    std::size_t last_ = 0;
    double decay_ = 0;  // h / tau
    double turns_ = 0;  // f h
    double scale_ = 0;
    std::complex<double> ratio_;
};

}  // namespace echosieve::detail
