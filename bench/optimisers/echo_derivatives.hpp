// Echoes at one point of the unknowns, their sums, and the derivatives of what they leave of a
// frame.
#pragma once

#include <algorithm>
#include <array>
#include <complex>
#include <cstddef>
#include <span>
#include <utility>

#include "echo_fit.hpp"
#include "echo_sums.hpp"

namespace bench::detail {

using Units = EchoUnits;
using Complex = std::complex<double>;

// The echoes of the unknowns x, of one point or of one in each lane.
template <class L>
EchoRun run_at(const Units& units, const std::array<L, 3>& x, const Lane& first, double step,
               std::size_t steps) noexcept {
    const Lane root = multiply_add(Lane(units.root_width), Lane(x[2]), Lane(units.root_least));
    return EchoRun(Lane(units.arrival) * Lane(x[0]),
                   multiply_add(Lane(units.rotation_width), Lane(x[1]), Lane(units.rotation_least)),
                   root * root, first, step, steps);
}

// The echoes at one point; lanes are neighbouring samples.
template <std::size_t K>
class PointRuns {
public:
    PointRuns(const Units& units, std::size_t count, std::span<const double> x) noexcept
        : steps_(count / Lane::size) {
        for (std::size_t k = 0; k < K; ++k) {
            runs_[k] = run_at(units, std::array{x[3 * k], x[3 * k + 1], x[3 * k + 2]},
                              Lane::count(), double{Lane::size}, steps_);
            runs_[k].turn_lanes();
        }
    }
    // Calls use(first sample, steps) for each run of steps; samples of it stand in real and imag.
    template <class Use>
    void visit(Use use) noexcept {
        for (std::size_t t = 0; t < steps_; t += run) {
            const std::size_t steps = std::min(run, steps_ - t);
            for (std::size_t k = 0; k < K; ++k) {
                runs_[k].write(steps, real[k], imag[k]);
            }
            use(t * Lane::size, steps);
        }
    }

    Lane real[K][run];
    Lane imag[K][run];

private:
    std::size_t steps_;
    std::array<EchoRun, K> runs_;
};

template <std::size_t K>
EchoSums<K, double> reduced(const EchoSums<K, Lane>& lanes) noexcept {
    EchoSums<K, double> out;
    for (std::size_t k = 0; k < K; ++k) {
        out.c_real[k] = lanes.c_real[k].sum();
        out.c_imag[k] = lanes.c_imag[k].sum();
    }
    for (std::size_t i = 0; i < triangle_size<K>; ++i) {
        out.g_real[i] = lanes.g_real[i].sum();
        out.g_imag[i] = lanes.g_imag[i].sum();
    }
    return out;
}

// A frame and its grid, as the functions below see them.
struct Frame {
    const double* real;
    const double* imag;
    std::size_t count;
    double energy;
    double ridge;
    const Units& units;
};

// All that derivatives at one point are made of. A slope of echo k is f u^q g_k: three of them, for
// its arrival, rotation and root of decay, without the part along g_k, which is projected out.
template <std::size_t K>
class Derivatives {
public:
    static constexpr std::size_t n = 3 * K;
    static constexpr std::array<std::size_t, 3> power = {1, 1, 2};

    Derivatives(const Frame& y, std::span<const double> x) noexcept {
        std::array<double, K> root;
        for (std::size_t k = 0; k < K; ++k) {
            arrival_[k] = y.units.arrival * x[3 * k];
            root[k] = y.units.root_least + y.units.root_width * x[3 * k + 2];
        }
        EchoSums<K, Lane> sums;
        PointRuns<K> runs(y.units, y.count, x);
        std::array<Lane, K> pr1, pi1, pr2, pi2;
        std::array<std::array<Lane, 4>, triangle_size<K>> wr, wi;  // of u^1 to u^4
        runs.visit([&](std::size_t first, std::size_t steps) {
            const auto sample = [&](std::size_t t) {
                const std::size_t at = first + t * Lane::size;
                return std::pair(Lane::load(y.real + at), Lane::load(y.imag + at));
            };
            add_sums(sums, runs.real, runs.imag, steps, sample);
            for (std::size_t k = 0; k < K; ++k) {
                const Lane start = Lane::count() + Lane(static_cast<double>(first) - arrival_[k]);
                for (std::size_t j = 0; j <= k; ++j) {
                    auto& sr = wr[triangle(k, j)];
                    auto& si = wi[triangle(k, j)];
                    Lane u = start;
                    for (std::size_t t = 0; t < steps; ++t, u += Lane(double{Lane::size})) {
                        // u^p conj(g_k) g_j
                        Lane real = multiply_add(runs.real[k][t], runs.real[j][t],
                                                 runs.imag[k][t] * runs.imag[j][t]);
                        Lane imag =
                            runs.real[k][t] * runs.imag[j][t] - runs.imag[k][t] * runs.real[j][t];
                        for (std::size_t p = 0; p < 4; ++p) {
                            real = real * u;
                            imag = imag * u;
                            sr[p] += real;
                            si[p] += imag;
                        }
                    }
                }
                Lane u = start;
                for (std::size_t t = 0; t < steps; ++t, u += Lane(double{Lane::size})) {
                    const auto [yr, yi] = sample(t);
                    const Lane real = u * multiply_add(runs.real[k][t], yr, runs.imag[k][t] * yi);
                    const Lane imag = u * (runs.real[k][t] * yi - runs.imag[k][t] * yr);
                    pr1[k] += real;
                    pi1[k] += imag;
                    pr2[k] = multiply_add(u, real, pr2[k]);
                    pi2[k] = multiply_add(u, imag, pi2[k]);
                }
            }
        });
        sums_ = reduced(sums);
        for (std::size_t k = 0; k < K; ++k) {
            data_[k] = {Complex(pr1[k].sum(), pi1[k].sum()), Complex(pr2[k].sum(), pi2[k].sum())};
            for (std::size_t j = 0; j <= k; ++j) {
                const std::size_t i = triangle(k, j);
                moments_[i][0] = {sums_.g_real[i], sums_.g_imag[i]};
                for (std::size_t p = 0; p < 4; ++p) {
                    moments_[i][p + 1] = {wr[i][p].sum(), wi[i][p].sum()};
                }
            }
        }
        value_ = y.energy - factorise(sums_, y.ridge);
        solve_amplitudes();
        for (std::size_t k = 0; k < K; ++k) {
            factor_[3 * k] = amplitude_[k] * (2 * root[k] * root[k] * y.units.arrival);
            factor_[3 * k + 1] = amplitude_[k] * Complex(0, y.units.rotation_width);
            factor_[3 * k + 2] = amplitude_[k] * (-2 * root[k] * y.units.root_width);
        }
    }

    [[nodiscard]] double value() const noexcept { return value_; }
    [[nodiscard]] Complex amplitude(std::size_t k) const noexcept { return amplitude_[k]; }
    [[nodiscard]] Complex factor(std::size_t i) const noexcept { return factor_[i]; }
    [[nodiscard]] double arrival(std::size_t k) const noexcept { return arrival_[k]; }

    // J' r
    void gradient(std::span<double> out) const noexcept {
        for (std::size_t i = 0; i < n; ++i) {
            const std::size_t k = i / 3;
            Complex rest = data_[k][power[i % 3] - 1];
            for (std::size_t l = 0; l < K; ++l) {
                rest -= amplitude_[l] * moment(k, l, power[i % 3], 0);
            }
            out[i] = -(std::conj(factor_[i]) * rest).real();
        }
    }
    // T^-1 Phi^H of slope i, and what has to be taken away of Phi to project it: coefficients.
    [[nodiscard]] std::array<Complex, K> reduced_slope(std::size_t i) const noexcept {
        std::array<Complex, K> b;
        for (std::size_t m = 0; m < K; ++m) {
            b[m] = factor_[i] * moment(m, i / 3, 0, power[i % 3]);
            for (std::size_t l = 0; l < m; ++l) {
                b[m] -= entry(m, l) * b[l];
            }
        }
        return b;
    }
    void back_substitute(std::array<Complex, K>& b) const noexcept {
        for (std::size_t k = K; k-- > 0;) {
            b[k] *= sums_.g_imag[triangle(k, k)];  // 1 / D
            for (std::size_t m = k + 1; m < K; ++m) {
                b[k] -= std::conj(entry(m, k)) * b[m];
            }
        }
    }
    // J' J
    void gram(std::span<double> out) const noexcept {
        std::array<std::array<Complex, K>, n> reduced_slopes;
        for (std::size_t i = 0; i < n; ++i) {
            reduced_slopes[i] = reduced_slope(i);
        }
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t j = 0; j <= i; ++j) {
                double sum = (std::conj(factor_[i]) * factor_[j] *
                              moment(i / 3, j / 3, power[i % 3], power[j % 3]))
                                 .real();
                for (std::size_t m = 0; m < K; ++m) {
                    sum -= (std::conj(reduced_slopes[i][m]) * reduced_slopes[j][m]).real() *
                           sums_.g_imag[triangle(m, m)];
                }
                out[i * n + j] = sum;
                out[j * n + i] = sum;
            }
        }
    }

private:
    [[nodiscard]] Complex entry(std::size_t row, std::size_t column) const noexcept {
        const std::size_t i = triangle(row, column);
        return {sums_.g_real[i], sums_.g_imag[i]};
    }
    void solve_amplitudes() noexcept {
        for (std::size_t k = 0; k < K; ++k) {
            amplitude_[k] = {sums_.c_real[k], sums_.c_imag[k]};
        }
        back_substitute(amplitude_);
    }
    // Sum of conj(u_k^p g_k) u_l^q g_l,  p, q <= 2.
    [[nodiscard]] Complex moment(std::size_t k, std::size_t l, std::size_t p,
                                 std::size_t q) const noexcept {
        if (k < l) {
            return std::conj(moment(l, k, q, p));
        }
        const auto& w = moments_[triangle(k, l)];    // of powers of u_k
        const double d = arrival_[k] - arrival_[l];  // u_l = u_k + d
        return q == 0   ? w[p]
               : q == 1 ? w[p + 1] + d * w[p]
                        : w[p + 2] + 2 * d * w[p + 1] + d * d * w[p];
    }

    std::array<double, K> arrival_;
    EchoSums<K, double> sums_;
    std::array<std::array<Complex, 2>, K> data_;  // u and u^2 times conj(g_k) y, summed
    std::array<std::array<Complex, 5>, triangle_size<K>> moments_;
    std::array<Complex, K> amplitude_;
    std::array<Complex, n> factor_;
    double value_ = 0;
};

}  // namespace bench::detail
