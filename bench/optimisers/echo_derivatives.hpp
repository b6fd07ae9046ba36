// Echoes at one point of the unknowns, their sums, and the derivatives of what they leave of a
// frame.
#pragma once

#include <algorithm>
#include <array>
#include <complex>
#include <cstddef>
#include <span>

#include "echo_fit.hpp"
#include "echo_sums.hpp"
#include "echosieve/core/detail/aligned.hpp"
#include "echosieve/core/detail/lanes.hpp"

namespace bench::detail {

using Units = EchoUnits;
using Complex = std::complex<double>;

// The echoes of the unknowns x, of one point or of one in each lane.
template <class L>
EchoRun run_at(const Units& units, const std::array<L, 3>& x, const Walk& walk) noexcept {
    const Lane root = multiply_add(Lane(units.root_width), Lane(x[2]), Lane(units.root_least));
    return EchoRun(Lane(units.arrival) * Lane(x[0]),
                   multiply_add(Lane(units.rotation_width), Lane(x[1]), Lane(units.rotation_least)),
                   root * root, walk);
}

// The echoes at one point; lanes are neighbouring samples.
template <std::size_t K>
class PointRuns {
public:
    PointRuns(const Units& units, std::size_t count, std::span<const double> x) noexcept
        : steps_(count / Lane::size) {
        for (std::size_t k = 0; k < K; ++k) {
            runs_[k] = run_at(units, std::array{x[3 * k], x[3 * k + 1], x[3 * k + 2]},
                              {Lane::count(), double{Lane::size}, steps_});
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
// `powers` of u are summed: 2 for the gradient, 4 for the normal equations.
template <std::size_t K, std::size_t powers>
class Derivatives {
public:
    static constexpr std::size_t n = 3 * K;
    static constexpr std::size_t stored = echosieve::whole_lanes<double>(n);
    static constexpr std::array<std::size_t, 3> power = {1, 1, 2};

    Derivatives(const Frame& y, std::span<const double> x) noexcept {
        for (std::size_t k = 0; k < K; ++k) {
            arrival_[k] = y.units.arrival * x[3 * k];
        }
        add_up(y, x);
        value_ = y.energy - factorise(sums_, y.ridge);
        for (std::size_t k = 0; k < K; ++k) {
            amplitude_[k] = {sums_.c_real[k], sums_.c_imag[k]};
        }
        for (std::size_t k = K; k-- > 0;) {
            amplitude_[k] *= inverse(k);
            for (std::size_t m = k + 1; m < K; ++m) {
                amplitude_[k] -= times(std::conj(entry(m, k)), amplitude_[m]);
            }
        }
        for (std::size_t k = 0; k < K; ++k) {
            const double root = y.units.root_least + y.units.root_width * x[3 * k + 2];
            const Complex a = amplitude_[k];
            factor_[3 * k] = a * (2 * root * root * y.units.arrival);
            factor_[3 * k + 1] = Complex(-a.imag(), a.real()) * y.units.rotation_width;  // i a
            factor_[3 * k + 2] = a * (-2 * root * y.units.root_width);
        }
    }

    [[nodiscard]] double value() const noexcept { return value_; }
    [[nodiscard]] Complex amplitude(std::size_t k) const noexcept { return amplitude_[k]; }
    [[nodiscard]] Complex factor(std::size_t i) const noexcept { return factor_[i]; }
    [[nodiscard]] double arrival(std::size_t k) const noexcept { return arrival_[k]; }

    // J' r
    void gradient(std::span<double> out) const noexcept {
        for (std::size_t k = 0; k < K; ++k) {
            std::array<Complex, 2> rest = data_[k];
            for (std::size_t l = 0; l < K; ++l) {
                rest[0] -= times(amplitude_[l], moment<1, 0>(k, l));
                rest[1] -= times(amplitude_[l], moment<2, 0>(k, l));
            }
            for (std::size_t j = 0; j < 3; ++j) {
                out[3 * k + j] = -real_product(factor_[3 * k + j], rest[power[j] - 1]);
            }
        }
    }
    // T^-1 Phi^H of all slopes, row by row.
    void reduce_slopes() noexcept {
        for (std::size_t m = 0; m < K; ++m) {
            for (std::size_t k = 0; k < K; ++k) {
                const std::array<Complex, 2> w = {moment<0, 1>(m, k), moment<0, 2>(m, k)};
                for (std::size_t j = 0; j < 3; ++j) {
                    const Complex b = times(factor_[3 * k + j], w[power[j] - 1]);
                    slope_real_[m][3 * k + j] = b.real();
                    slope_imag_[m][3 * k + j] = b.imag();
                }
            }
            for (std::size_t l = 0; l < m; ++l) {
                take_row(m, l, entry(m, l));
            }
        }
    }
    // After reduce_slopes(): what has to be taken away of Phi to project the slopes.
    void back_substitute() noexcept {
        for (std::size_t k = K; k-- > 0;) {
            for (std::size_t i = 0; i < stored; ++i) {
                slope_real_[k][i] *= inverse(k);
                slope_imag_[k][i] *= inverse(k);
            }
            for (std::size_t m = k + 1; m < K; ++m) {
                take_row(k, m, std::conj(entry(m, k)));
            }
        }
    }
    [[nodiscard]] Complex along(std::size_t k, std::size_t i) const noexcept {
        return {slope_real_[k][i], slope_imag_[k][i]};
    }
    // J' J, after reduce_slopes()
    void gram(std::span<double> out) const noexcept {
        alignas(echosieve::cache_line) std::array<std::array<double, stored>, n> rows{};
        for (std::size_t k = 0; k < K; ++k) {
            for (std::size_t l = 0; l <= k; ++l) {
                const std::array<std::array<Complex, 2>, 2> w = {
                    {{moment<1, 1>(k, l), moment<1, 2>(k, l)},
                     {moment<2, 1>(k, l), moment<2, 2>(k, l)}}};
                for (std::size_t i = 0; i < 3; ++i) {
                    for (std::size_t j = 0; j < 3; ++j) {
                        const double product =
                            real_product(factor_[3 * k + i],
                                         times(factor_[3 * l + j], w[power[i] - 1][power[j] - 1]));
                        rows[3 * k + i][3 * l + j] = product;
                        rows[3 * l + j][3 * k + i] = product;
                    }
                }
            }
        }
        for (std::size_t i = 0; i < n; ++i) {
            for (std::size_t m = 0; m < K; ++m) {
                const double real = slope_real_[m][i] * inverse(m);
                const double imag = slope_imag_[m][i] * inverse(m);
                for (std::size_t j = 0; j < stored; ++j) {
                    rows[i][j] -= real * slope_real_[m][j] + imag * slope_imag_[m][j];
                }
            }
            std::copy_n(rows[i].begin(), n, out.begin() + static_cast<std::ptrdiff_t>(i * n));
        }
    }

private:
    // std::complex's own product looks for infinities.
    static Complex times(const Complex& a, const Complex& b) noexcept {
        return {a.real() * b.real() - a.imag() * b.imag(),
                a.real() * b.imag() + a.imag() * b.real()};
    }
    // Re conj(a) b
    static double real_product(const Complex& a, const Complex& b) noexcept {
        return a.real() * b.real() + a.imag() * b.imag();
    }
    // 1 / D
    [[nodiscard]] double inverse(std::size_t k) const noexcept {
        return sums_.g_imag[triangle(k, k)];
    }
    // Of T.
    [[nodiscard]] Complex entry(std::size_t row, std::size_t column) const noexcept {
        const std::size_t i = triangle(row, column);
        return {sums_.g_real[i], sums_.g_imag[i]};
    }
    // Row `to` of the slopes less c times row `from`.
    void take_row(std::size_t to, std::size_t from, const Complex& c) noexcept {
        for (std::size_t i = 0; i < stored; ++i) {
            const double real = slope_real_[from][i];
            const double imag = slope_imag_[from][i];
            slope_real_[to][i] -= c.real() * real - c.imag() * imag;
            slope_imag_[to][i] -= c.real() * imag + c.imag() * real;
        }
    }
    // Sum of conj(u_k^p g_k) u_l^q g_l.
    template <std::size_t p, std::size_t q>
    [[nodiscard]] Complex moment(std::size_t k, std::size_t l) const noexcept {
        return k < l ? std::conj(lower_moment<q, p>(l, k)) : lower_moment<p, q>(k, l);
    }
    template <std::size_t p, std::size_t q>
    [[nodiscard]] Complex lower_moment(std::size_t k, std::size_t l) const noexcept {
        const auto& w = moments_[triangle(k, l)];    // of powers of u_k
        const double d = arrival_[k] - arrival_[l];  // u_l = u_k + d
        if constexpr (q == 0) {
            return w[p];
        } else if constexpr (q == 1) {
            return w[p + 1] + d * w[p];
        } else {
            return w[p + 2] + 2 * d * w[p + 1] + d * d * w[p];
        }
    }

    // Sums over samples, still in lanes: of u^0 ... conj(g_k) g_j, and of u^0 ... conj(g_k) y.
    struct LaneMoments {
        std::array<std::array<Lane, powers + 1>, triangle_size<K>> wr, wi;
        std::array<std::array<Lane, 3>, K> pr, pi;
    };

    // Writes sums_, moments_ and data_.
    void add_up(const Frame& y, std::span<const double> x) noexcept {
        LaneMoments lanes;
        auto& [wr, wi, pr, pi] = lanes;
        PointRuns<K> runs(y.units, y.count, x);
        Lane u[powers + 1][run];
        runs.visit([&](std::size_t first, std::size_t steps) {
            for (std::size_t k = 0; k < K; ++k) {
                const Lane start = Lane::count() + Lane(static_cast<double>(first) - arrival_[k]);
                for (std::size_t t = 0; t < steps; ++t) {
                    u[1][t] = start + Lane(static_cast<double>(t * Lane::size));
                    for (std::size_t p = 2; p <= powers; ++p) {
                        u[p][t] = u[p - 1][t] * u[1][t];
                    }
                }
                const Lane* gr = runs.real[k];
                const Lane* gi = runs.imag[k];
                for (std::size_t j = 0; j <= k; ++j) {
                    const Lane* hr = runs.real[j];
                    const Lane* hi = runs.imag[j];
                    std::array<Lane, powers + 1>& sr = wr[triangle(k, j)];
                    std::array<Lane, powers + 1>& si = wi[triangle(k, j)];
                    for (std::size_t t = 0; t < steps; ++t) {
                        const Lane real = multiply_add(gr[t], hr[t], gi[t] * hi[t]);
                        const Lane imag = gr[t] * hi[t] - gi[t] * hr[t];  // 0 for j = k
                        sr[0] += real;
                        si[0] += imag;
                        for (std::size_t p = 1; p <= powers; ++p) {
                            sr[p] = multiply_add(u[p][t], real, sr[p]);
                            si[p] = multiply_add(u[p][t], imag, si[p]);
                        }
                    }
                }
                for (std::size_t t = 0; t < steps; ++t) {
                    const std::size_t at = first + t * Lane::size;
                    const Lane yr = Lane::load(y.real + at);
                    const Lane yi = Lane::load(y.imag + at);
                    const Lane real = multiply_add(gr[t], yr, gi[t] * yi);
                    const Lane imag = gr[t] * yi - gi[t] * yr;
                    pr[k][0] += real;
                    pi[k][0] += imag;
                    for (std::size_t p = 1; p < 3; ++p) {
                        pr[k][p] = multiply_add(u[p][t], real, pr[k][p]);
                        pi[k][p] = multiply_add(u[p][t], imag, pi[k][p]);
                    }
                }
            }
        });
        reduce(lanes);
    }
    void reduce(const LaneMoments& lanes) noexcept {
        const auto& [wr, wi, pr, pi] = lanes;
        for (std::size_t k = 0; k < K; ++k) {
            sums_.c_real[k] = pr[k][0].sum();
            sums_.c_imag[k] = pi[k][0].sum();
            for (std::size_t p = 1; p < 3; ++p) {
                data_[k][p - 1] = {pr[k][p].sum(), pi[k][p].sum()};
            }
            for (std::size_t j = 0; j <= k; ++j) {
                const std::size_t i = triangle(k, j);
                for (std::size_t p = 0; p <= powers; ++p) {
                    moments_[i][p] = {wr[i][p].sum(), j < k ? wi[i][p].sum() : 0};
                }
                sums_.g_real[i] = moments_[i][0].real();
                sums_.g_imag[i] = moments_[i][0].imag();
            }
        }
    }

    std::array<double, K> arrival_;
    EchoSums<K, double> sums_;
    std::array<std::array<Complex, 2>, K> data_;  // u and u^2 times conj(g_k) y, summed
    std::array<std::array<Complex, powers + 1>, triangle_size<K>> moments_;
    std::array<Complex, K> amplitude_;
    std::array<Complex, n> factor_;
    double value_ = 0;
    alignas(echosieve::cache_line) std::array<std::array<double, stored>, K> slope_real_{};
    alignas(echosieve::cache_line) std::array<std::array<double, stored>, K> slope_imag_{};
};

}  // namespace bench::detail
