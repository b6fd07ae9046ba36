#include "motion/follow/follower_gate.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>

#include "echosieve/core/grid.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve::detail {

namespace {

constexpr double farthest = 4e-3;  // that a gate moves from rest [m]

// x y: std::complex's own product looks after infinities, at several times the cost.
inline std::complex<double> times(std::complex<double> x, std::complex<double> y) noexcept {
    return {x.real() * y.real() - x.imag() * y.imag(), x.real() * y.imag() + x.imag() * y.real()};
}

}  // namespace

FollowerGate::FollowerGate(const LearnedGate& gate, const SamplingGrid& line, double sound_speed)
    : path_(gate.path),
      path_offset_(gate.path_offset),
      taper_(gate.taper),
      samples_per_metre_(line.sampling_rate * 2 / sound_speed),
      start_(line.index(gate.grid.start_time)),
      count_(static_cast<double>(gate.grid.count)),
      noise_(gate.noise),
      late_(gate.late),
      wall_layers_(gate.wall_layers),
      bins_(gate.frequencies.size()),
      shares_(gate.shares),
      spectra_(gate.spectra),
      y_(bins_),
      m_(bins_),
      p_(bins_),
      q_(bins_),
      o_(bins_) {
    const double scale = 2 * std::numbers::pi * 2 / sound_speed;
    wave_ = scale * gate.frequencies[0];
    wave_step_ = bins_ > 1 ? scale * (gate.frequencies[1] - gate.frequencies[0]) : 0;
    const double reach = farthest * samples_per_metre_;
    first_ = static_cast<Eigen::Index>(std::max(0.0, std::floor(start_ - reach)));
    const auto last = static_cast<Eigen::Index>(
        std::min(static_cast<double>(line.count) - 1, std::ceil(start_ + count_ - 1 + reach)));
    const double size = 1 / std::sqrt(count_);
    for (Eigen::Index n = first_; n <= last; ++n) {
        const double time = (static_cast<double>(n) - start_) * line.step();
        for (const double frequency : gate.frequencies) {
            const double offset = frequency - line.mixing_frequency;
            transform_.push_back(std::polar(size, -2 * std::numbers::pi * offset * time));
        }
    }
}

void FollowerGate::cut(std::span<const std::complex<float>> line, double p, double q) noexcept {
    const double reach = farthest * samples_per_metre_;
    const double moved = std::clamp(
        (path_.pulse * p + path_.bulk * (q - path_offset_)) * samples_per_metre_, -reach, reach);
    const double begin = start_ + moved;
    const auto rows = static_cast<Eigen::Index>(transform_.size() / bins_);
    const Eigen::Index from = std::max(first_, static_cast<Eigen::Index>(std::floor(begin - 0.5)));
    const Eigen::Index end =
        std::min(first_ + rows, static_cast<Eigen::Index>(std::ceil(begin + count_)));
    std::fill(y_.begin(), y_.end(), Complex{});
    for (Eigen::Index n = from; n < end; ++n) {
        const double window = gate_window((static_cast<double>(n) - begin + 0.5) / count_, taper_);
        if (window <= 0) {
            continue;
        }
        const Complex sample = window * Complex(line[static_cast<std::size_t>(n)]);
        const Complex* const row = transform_.data() + static_cast<std::size_t>(n - first_) * bins_;
        for (std::size_t j = 0; j < bins_; ++j) {
            y_[j] += times(sample, row[j]);
        }
    }
}

template <bool slopes>
void FollowerGate::model(const GateMotion& motion) noexcept {
    std::fill(m_.begin(), m_.end(), Complex{});
    if constexpr (slopes) {
        std::fill(p_.begin(), p_.end(), Complex{});
        std::fill(q_.begin(), q_.end(), Complex{});
        std::fill(o_.begin(), o_.end(), Complex{});
    }
    const Complex* spectrum = spectra_.data();
    for (std::size_t k = 0; k < shares_.size(); ++k, spectrum += bins_) {
        const LayerShare share = shares_[k];
        const bool wall = k < wall_layers_;
        const double moved =
            share.pulse * motion.pulse + share.bulk * motion.bulk + (wall ? motion.own : 0);
        Complex turn(std::cos(wave_ * moved), -std::sin(wave_ * moved));
        const Complex further(std::cos(wave_step_ * moved), -std::sin(wave_step_ * moved));
        for (std::size_t j = 0; j < bins_; ++j) {
            const Complex echo = times(spectrum[j], turn);
            turn = times(turn, further);
            m_[j] += echo;
            if constexpr (slopes) {
                p_[j] += share.pulse * echo;
                q_[j] += share.bulk * echo;
                if (wall) {
                    o_[j] += echo;
                }
            }
        }
    }
}

FollowerGate::Energies FollowerGate::energies(const GateMotion& motion) noexcept {
    model<false>(motion);
    Energies out;
    for (std::size_t j = 0; j < bins_; ++j) {
        out.rest += std::norm(y_[j] - m_[j]);
        out.whole += std::norm(y_[j]);
    }
    return out;
}

double FollowerGate::misfit(const GateMotion& motion) noexcept {
    return energies(motion).rest / (noise_ * static_cast<double>(bins_));
}

void FollowerGate::fit(const GateMotion& motion, Fit& out) noexcept {
    model<true>(motion);
    out.curvature.setZero();
    out.slope.setZero();
    out.rest = 0;
    double wall_energy = 0, energy = 0;
    Complex product{};
    for (std::size_t j = 0; j < bins_; ++j) {
        const double w = wave_ + static_cast<double>(j) * wave_step_;
        const Complex rest = y_[j] - m_[j];
        out.rest += std::norm(rest);
        const Complex isolated = rest + o_[j];
        energy += std::norm(isolated);
        wall_energy += std::norm(o_[j]);
        product += times(std::conj(o_[j]), isolated);
        const Complex slope[motions] = {late_ ? Complex{} : p_[j], q_[j], o_[j]};
        for (int a = 0; a < motions; ++a) {
            // Re conj(-i w x) R = -w Im conj(x) R
            out.slope[a] -= w * times(std::conj(slope[a]), rest).imag();
            for (int b = 0; b <= a; ++b) {
                out.curvature(a, b) +=
                    w * w * (slope[a].real() * slope[b].real() + slope[a].imag() * slope[b].imag());
            }
        }
    }
    const double variance = std::max(noise_, out.rest / static_cast<double>(bins_));
    out.curvature = (2 / variance * out.curvature).eval();
    out.curvature.triangularView<Eigen::StrictlyUpper>() = out.curvature.transpose();
    out.slope *= 2 / variance;
    out.correlation =
        wall_energy > 0 && energy > 0
            ? std::min(1.0, std::abs(product) / (std::sqrt(wall_energy) * std::sqrt(energy)))
            : 0;
}

}  // namespace echosieve::detail
