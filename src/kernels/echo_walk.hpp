// The energy that an echo explains, by one walk over the samples for many echoes, a lane each.
#pragma once

#include "echo_swarm_task.hpp"
#include "float_functions.hpp"
#include "vectors.hpp"

namespace echosieve::kernels {
namespace {  // NOLINT: see vectors.hpp

// Symbols (echo_swarm.hpp, and)
//   n_0 centre of the walk, d = nu - n_0, k = n - n_0, K steps to each side
//   g(n_0 + k) = g(n_0) exp(-a k^2 + 2 a d k + i phi k)
//   A_k = conj g(n_0 + k + 1) / conj g(n_0 + k) = exp(-a (2 k + 1) + 2 a d - i phi) to the right,
//   C_k the same to the left, with -d and -phi
//
//   sum r conj(g) / conj g(n_0) = r_0 + A_0 (r_1 + A_1 (r_2 + ... )) + C_0 (r_-1 + C_1 (r_-2 ...))
//   sum w |g|^2 / |g(n_0)|^2    = w_0 + |A_0|^2 (w_1 + ...)         + |C_0|^2 (w_-1 + ...)
//
// Walked from the ends inwards, A_k-1 = A_k exp(2 a): no factor underflows (their squares may on
// the side away from the arrival, where they add nothing), and the energy that an atom explains
// does not depend on g(n_0). Each step loses half a unit of the last place; the energy explained of
// an atom of some 25 samples is true to 2e-5 of it where the particles are all over the gate, and
// to 4e-6 where they are together.

struct Walk {
    std::int32_t centre = 0;
    std::int32_t steps = 0;
};

/// A_K, C_K, their squared moduli, and exp(2 a) - 1.
template <class V>
struct Start {
    V ar, ai, cr, ci, right, left, growth;
};

template <class V>
ECHOSIEVE_INLINE Start<V> start_of(const Walk& walk, const V& arrival, const V& rotation,
                                   const V& root_decay) {
    const V a = root_decay * root_decay;
    const V twice = a + a;
    const V slope = twice * (arrival - static_cast<float>(walk.centre));
    const V from = a * static_cast<float>(2 * walk.steps + 1);
    const SineCosine<V> turn = sine_cosine(rotation);
    const V right = exponential(slope - from).value();
    const V left = exponential(-slope - from).value();
    return {right * turn.cosine,
            -(right * turn.sine),
            left * turn.cosine,
            left * turn.sine,
            right * right,
            left * left,
            exponential(twice).minus_one()};
}

template <class V>
ECHOSIEVE_INLINE V explained(const EchoSwarmTask& task, const Walk& walk, const Start<V>& start) {
    const float* const real = task.real + walk.centre;
    const float* const imag = task.imag + walk.centre;
    const float* const weights = task.weights + walk.centre;
    V ar = start.ar, ai = start.ai, cr = start.cr, ci = start.ci;
    V right = start.right, left = start.left;
    const V growth = start.growth;
    const V growth_squared = growth * (growth + 2.0F);
    V pr(0.0F), pi(0.0F), qr(0.0F), qi(0.0F), p(0.0F), q(0.0F);
    for (std::ptrdiff_t k = walk.steps; k > 0; --k) {
        const V pn = (real[k] + ar * pr) - ai * pi;
        pi = (imag[k] + ar * pi) + ai * pr;
        pr = pn;
        p = weights[k] + right * p;
        const V qn = (real[-k] + cr * qr) - ci * qi;
        qi = (imag[-k] + cr * qi) + ci * qr;
        qr = qn;
        q = weights[-k] + left * q;
        ar += ar * growth;
        ai += ai * growth;
        cr += cr * growth;
        ci += ci * growth;
        right += right * growth_squared;
        left += left * growth_squared;
    }
    const V sr = real[0] + ((ar * pr - ai * pi) + (cr * qr - ci * qi));
    const V si = imag[0] + ((ar * pi + ai * pr) + (cr * qi + ci * qr));
    const V energy = weights[0] + (right * p + left * q);
    const V out = (sr * sr + si * si) / energy;
    return xsimd::select(energy > 0.0F, out, V(0.0F));
}

}  // namespace
}  // namespace echosieve::kernels
