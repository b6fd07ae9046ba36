// Sums over samples of several echoes on an even grid, in lanes: what a fit's value and derivatives
// are made of.
#pragma once

#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <utility>

#include "echosieve/core/detail/lanes.hpp"

namespace bench {

// Symbols (time in samples from the grid's first)
//   nu, phi, a   an echo's arrival [samples], rotation [rad/sample] and decay [1/sample^2]
//   g(n) = exp(-a (n - nu)^2 + i phi n);   u = n - nu
//   s            samples from one step to the next: 1 where lanes are points, the number of lanes
//                where they are neighbouring samples
//   e, rho       envelope, and its ratio from step to step;   rho <- rho q,  q = exp(-2 a s^2)
//
// The envelope starts afresh every `run` steps from anchors that follow a recurrence of their own:
// rounding errors grow with the square of the number of steps.

using Lane = echosieve::Lanes<double>;

inline constexpr std::size_t run = 16;
inline constexpr std::size_t most_steps = 96;  // of a frame, where lanes are points

/// lane_bits[b][j]: 1 where the number j of a lane has bit b.
inline constexpr auto lane_bits = [] {
    std::array<std::array<double, Lane::size>, 6> out{};
    for (std::size_t bit = 0; bit < out.size(); ++bit) {
        for (std::size_t lane = 0; lane < Lane::size; ++lane) {
            out[bit][lane] = static_cast<double>(lane >> bit & 1U);
        }
    }
    return out;
}();

/// sin and cos of |x| <= 0.35 by their series, to 1e-16.
template <class L>
void short_turn(const L& x, L& sine, L& cosine) noexcept {
    const L square = x * x;
    sine = L(0.0);
    cosine = L(0.0);
    for (int k = 6; k >= 1; --k) {
        const L one(1.0);
        sine = square * L(-1.0 / (2 * k * (2 * k + 1))) * (one + sine);
        cosine = square * L(-1.0 / ((2 * k - 1) * 2 * k)) * (one + cosine);
    }
    sine = x + x * sine;
    cosine = L(1.0) + cosine;
}

/// The samples that a run passes.
struct Walk {
    Lane first;         ///< number of the first, lane by lane
    double step;        ///< s
    std::size_t steps;  ///< as many at most
};

/// One echo, step by step.
class EchoRun {
public:
    EchoRun() = default;
    EchoRun(const Lane& nu, const Lane& phi, const Lane& a, const Walk& walk) noexcept {
        const double step = walk.step;
        const Lane u = walk.first - nu;
        const Lane minus = Lane(-1.0) * a;
        const double leap = step * static_cast<double>(run);
        const auto ratio = [&](double by) {
            return exponential(minus * multiply_add(Lane(2 * by), u, Lane(by * by)));
        };
        anchor_ = exponential(minus * u * u);
        anchor_rho_ = ratio(step);
        q_ = exponential(minus * Lane(2 * step * step));
        if (walk.steps > run) {
            leap_ = ratio(leap);
            rho_leap_ = exponential(minus * Lane(2 * step * leap));
            leap_leap_ = exponential(minus * Lane(2 * leap * leap));
        }
        short_turn(phi, turn_imag_, turn_real_);
    }
    /// Where lanes are neighbouring samples: the phasors of the first of them, products of w, w^2,
    /// w^4 ... by the bits of the lane's number, and that of a whole step.
    void turn_lanes() noexcept {
        const Lane one(1.0);
        for (std::size_t bit = 0; (std::size_t{1} << bit) < Lane::size; ++bit) {
            const Lane set = Lane::load(lane_bits[bit].data());
            const Lane real = multiply_add(set, turn_real_ - one, one);
            const Lane imag = set * turn_imag_;
            const Lane next = phase_real_ * real - phase_imag_ * imag;
            phase_imag_ = multiply_add(phase_real_, imag, phase_imag_ * real);
            phase_real_ = next;
            const Lane square = turn_real_ * turn_real_ - turn_imag_ * turn_imag_;
            turn_imag_ = Lane(2.0) * turn_real_ * turn_imag_;
            turn_real_ = square;
        }
    }

    /// Writes the next `steps` <= run samples.
    void write(std::size_t steps, Lane* real, Lane* imag) noexcept {
        Lane e = anchor_;
        Lane rho = anchor_rho_;
        for (std::size_t t = 0; t < steps; ++t) {
            real[t] = e * phase_real_;
            imag[t] = e * phase_imag_;
            e = e * rho;
            rho = rho * q_;
            const Lane next = phase_real_ * turn_real_ - phase_imag_ * turn_imag_;
            phase_imag_ = multiply_add(phase_real_, turn_imag_, phase_imag_ * turn_real_);
            phase_real_ = next;
        }
        anchor_ = anchor_ * leap_;
        leap_ = leap_ * leap_leap_;
        anchor_rho_ = anchor_rho_ * rho_leap_;
    }

private:
    Lane anchor_, anchor_rho_, leap_, leap_leap_, rho_leap_, q_;
    Lane phase_real_{1.0}, phase_imag_{0.0}, turn_real_, turn_imag_;
};

/// Entry (row, column), row >= column, of a triangle stored row by row.
[[nodiscard]] constexpr std::size_t triangle(std::size_t row, std::size_t column) noexcept {
    return row * (row + 1) / 2 + column;
}
template <std::size_t K>
inline constexpr std::size_t triangle_size = K * (K + 1) / 2;

/// c = Phi^H y and the lower triangle of G = Phi^H Phi. The diagonal is real.
template <std::size_t K, class L>
struct EchoSums {
    std::array<L, K> c_real{}, c_imag{};
    std::array<L, triangle_size<K>> g_real{}, g_imag{};
};

/// G + ridge = T D T^H, T of unit diagonal; z = T^-1 c. Written over the sums: T below the
/// diagonal, D on it (its imaginary part is 1 / D), z in c. Gives c^H (G + ridge)^-1 c.
template <std::size_t K, class L>
L factorise(EchoSums<K, L>& s, double ridge) noexcept {
    L captured(0.0);
    std::array<L, K> v_real;  // of row j: T_jm D_m
    std::array<L, K> v_imag;
    for (std::size_t j = 0; j < K; ++j) {
        for (std::size_t m = 0; m < j; ++m) {  // row j of T from row j of G
            L real = s.g_real[triangle(j, m)];
            L imag = s.g_imag[triangle(j, m)];
            for (std::size_t l = 0; l < m; ++l) {  // minus (T_jl D_l) conj(T_ml)
                const L tr = s.g_real[triangle(m, l)];
                const L ti = s.g_imag[triangle(m, l)];
                real = real - (v_real[l] * tr + v_imag[l] * ti);
                imag = imag - (v_imag[l] * tr - v_real[l] * ti);
            }
            v_real[m] = real;
            v_imag[m] = imag;
        }
        L d = s.g_real[triangle(j, j)] + L(ridge);
        L zr = s.c_real[j];
        L zi = s.c_imag[j];
        for (std::size_t m = 0; m < j; ++m) {
            const L inverse = s.g_imag[triangle(m, m)];
            const L tr = v_real[m] * inverse;
            const L ti = v_imag[m] * inverse;
            d = d - (v_real[m] * tr + v_imag[m] * ti);
            zr = zr - (tr * s.c_real[m] - ti * s.c_imag[m]);
            zi = zi - (tr * s.c_imag[m] + ti * s.c_real[m]);
            s.g_real[triangle(j, m)] = tr;
            s.g_imag[triangle(j, m)] = ti;
        }
        const L inverse = L(1.0) / d;
        s.g_real[triangle(j, j)] = d;
        s.g_imag[triangle(j, j)] = inverse;
        s.c_real[j] = zr;
        s.c_imag[j] = zi;
        captured = captured + (zr * zr + zi * zi) * inverse;
    }
    return captured;
}

/// Adds sum over steps of conj(g) h; four sums side by side, or each would wait for the last.
template <class H>
void add_product(std::pair<const Lane*, const Lane*> g, H h, std::size_t steps, Lane& sum_real,
                 Lane& sum_imag) noexcept {
    const auto [real, imag] = g;
    Lane rr = sum_real;
    Lane ri = sum_imag;
    Lane ii;
    Lane ir;
    for (std::size_t t = 0; t < steps; ++t) {
        const auto [hr, hi] = h(t);
        rr = multiply_add(real[t], hr, rr);
        ii = multiply_add(imag[t], hi, ii);
        ri = multiply_add(real[t], hi, ri);
        ir = multiply_add(imag[t], hr, ir);
    }
    sum_real = rr + ii;
    sum_imag = ri - ir;
}

/// Adds the sums over `steps` steps of atoms written at g[k]; y(t) gives the frame's samples.
template <std::size_t K, class Frame>
void add_sums(EchoSums<K, Lane>& s, const Lane (*real)[run], const Lane (*imag)[run],
              std::size_t steps, Frame y) noexcept {
    for (std::size_t k = 0; k < K; ++k) {
        add_product({real[k], imag[k]}, y, steps, s.c_real[k], s.c_imag[k]);
        Lane& d = s.g_real[triangle(k, k)];
        for (std::size_t t = 0; t < steps; ++t) {
            d = multiply_add(real[k][t], real[k][t], multiply_add(imag[k][t], imag[k][t], d));
        }
        for (std::size_t j = 0; j < k; ++j) {
            const auto h = [&](std::size_t t) { return std::pair(real[j][t], imag[j][t]); };
            add_product({real[k], imag[k]}, h, steps, s.g_real[triangle(k, j)],
                        s.g_imag[triangle(k, j)]);
        }
    }
}

}  // namespace bench
