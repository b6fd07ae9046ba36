// The atoms: Gabor and chirped Gabor echoes, with the bandwidth, decay and length of a pulse;
// and an echo, an atom with its complex amplitude.
#pragma once

#include <cmath>
#include <complex>
#include <concepts>
#include <numbers>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"

namespace echosieve {

// Symbols
//   arrival           tau   [s]     time of the envelope's peak
//   centre_frequency  f     [Hz]    instantaneous frequency at the peak
//   bandwidth         B     [Hz]    -6 dB full width of the unchirped pulse's amplitude spectrum
//   chirp_rate        gamma [Hz/s]  slope of the instantaneous frequency
//   decay             alpha [1/s^2] = (pi B)^2 / (4 ln 10^0.3)
//   u = t - tau
//
//   g(t) = exp(-alpha u^2 + i 2 pi f u + i pi gamma u^2),   peak modulus 1, not of unit energy.
//
// The amplitude spectrum of exp(-alpha u^2) is proportional to exp(-pi^2 f^2 / alpha), so that -6
// dB, taken as the factor 10^-0.3 = 0.501187 (not 1/2), is reached at f = B / 2 with that alpha:
// the same convention as bwr = -6 of scipy.signal.gausspulse.

/// ln 10^0.3, the logarithm of the -6 dB amplitude factor's inverse.
inline constexpr double ln_six_decibels = 0.3 * std::numbers::ln10;

/// Decay alpha [1/s^2] of the pulse with -6 dB bandwidth B [Hz]. Exact to 4 ulp; B = 0 gives 0.
template <Real R>
[[nodiscard]] constexpr R decay_from_bandwidth(R bandwidth) noexcept {
    const double root = std::numbers::pi * static_cast<double>(bandwidth);
    return static_cast<R>(root * root / (4 * ln_six_decibels));
}

/// -6 dB bandwidth B [Hz] of the pulse with decay alpha [1/s^2] >= 0. Exact to 4 ulp.
template <Real R>
[[nodiscard]] R bandwidth_from_decay(R decay) noexcept {
    return static_cast<R>(std::sqrt(static_cast<double>(decay) * 4 * ln_six_decibels) /
                          std::numbers::pi);
}

/// Time [s] over which the envelope is within `decibels` > 0 of its peak, both sides of it
/// together.
template <Real R>
[[nodiscard]] R pulse_length(R decay, R decibels = 6) noexcept {
    return 2 * std::sqrt(decibels * static_cast<R>(std::numbers::ln10 / 20) / decay);
}

/// Gaussian-modulated sinusoid, analytic: exp(-alpha u^2 + i 2 pi f u).
template <Real R>
struct Gabor {
    using real_type = R;

    R arrival = 0;           ///< [s]
    R centre_frequency = 0;  ///< [Hz]
    R bandwidth = 0;         ///< [Hz], > 0

    static constexpr R chirp_rate = 0;  ///< [Hz/s]

    friend constexpr bool operator==(const Gabor&, const Gabor&) = default;
};

/// Gaussian-modulated linear chirp, analytic: exp(-alpha u^2 + i 2 pi f u + i pi gamma u^2).
template <Real R>
struct ChirpedGabor {
    using real_type = R;

    R arrival = 0;           ///< [s]
    R centre_frequency = 0;  ///< [Hz]
    R bandwidth = 0;         ///< [Hz], > 0
    R chirp_rate = 0;        ///< [Hz/s]

    friend constexpr bool operator==(const ChirpedGabor&, const ChirpedGabor&) = default;
};

template <class A>
concept Atom = Real<typename A::real_type> && std::copyable<A> && requires(const A& atom) {
    { atom.arrival } -> std::convertible_to<typename A::real_type>;
    { atom.centre_frequency } -> std::convertible_to<typename A::real_type>;
    { atom.bandwidth } -> std::convertible_to<typename A::real_type>;
    { atom.chirp_rate } -> std::convertible_to<typename A::real_type>;
};

/// An atom with its complex amplitude a: the analytic echo is a g(t), the real echo its real part.
/// |a| is the peak of the envelope, arg a the phase [rad] at the peak.
template <Atom A>
struct Echo {
    using real_type = typename A::real_type;

    A atom;
    std::complex<real_type> amplitude{1, 0};

    friend bool operator==(const Echo&, const Echo&) = default;
};

/// Throws InvalidInput unless all parameters are finite and the bandwidth is positive.
template <Atom A>
void validate(const A& atom) {
    require(is_finite(atom.arrival), "arrival", atom.arrival, "must be finite [s]");
    require(is_finite(atom.centre_frequency), "centre_frequency", atom.centre_frequency,
            "must be finite [Hz]");
    require(atom.bandwidth > 0 && is_finite(atom.bandwidth), "bandwidth", atom.bandwidth,
            "must be positive and finite [Hz]");
    require(is_finite(atom.chirp_rate), "chirp_rate", atom.chirp_rate, "must be finite [Hz/s]");
}

template <Atom A>
[[nodiscard]] constexpr auto decay(const A& atom) noexcept {
    return decay_from_bandwidth(atom.bandwidth);
}

/// exp(i 2 pi turns), with the whole turns taken off first.
[[nodiscard]] inline std::complex<double> unit_phasor(double turns) noexcept {
    const double angle = 2 * std::numbers::pi * (turns - std::nearbyint(turns));
    return {std::cos(angle), std::sin(angle)};
}

/// Bound on |computed - exact| of value(atom, time) for double, in units of
/// epsilon (1 + |f u| + |gamma u^2 / 2|): three roundings of the phase's turns make 3 pi epsilon.
inline constexpr double value_error_epsilons = 10;

/// g(t), the analytic atom at `time` [s]; 0 where the envelope underflows. Computed in double
/// whatever the parameters' type, then rounded to R; for the error see value_error_epsilons.
template <Atom A>
[[nodiscard]] std::complex<typename A::real_type> value(const A& atom, double time) noexcept {
    const double u = time - static_cast<double>(atom.arrival);
    const double envelope =
        std::exp(-decay_from_bandwidth(static_cast<double>(atom.bandwidth)) * u * u);
    if (envelope == 0) {
        return 0;  // so far away the turns may overflow
    }
    const double turns = (static_cast<double>(atom.centre_frequency) +
                          static_cast<double>(atom.chirp_rate) * u / 2) *
                         u;
    return static_cast<std::complex<typename A::real_type>>(envelope * unit_phasor(turns));
}

/// a g(t), the analytic echo at `time` [s].
template <Atom A>
[[nodiscard]] std::complex<typename A::real_type> value(const Echo<A>& echo, double time) noexcept {
    return echo.amplitude * value(echo.atom, time);
}

/// Re a g(t), the real echo at `time` [s].
template <Atom A>
[[nodiscard]] typename A::real_type real_value(const Echo<A>& echo, double time) noexcept {
    return value(echo, time).real();
}

/// integral |g(t)|^2 dt = sqrt(pi / (2 alpha)) [s]. Exact to 8 ulp.
template <Atom A>
[[nodiscard]] typename A::real_type energy(const A& atom) noexcept {
    return static_cast<typename A::real_type>(
        std::sqrt(std::numbers::pi / (2 * decay_from_bandwidth(double{atom.bandwidth}))));
}

/// Square root of energy(atom) [s^1/2]: atom / norm(atom) has unit energy.
template <Atom A>
[[nodiscard]] typename A::real_type norm(const A& atom) noexcept {
    return std::sqrt(energy(atom));
}

/// integral |a g(t)|^2 dt [s] of the analytic echo.
template <Atom A>
[[nodiscard]] typename A::real_type energy(const Echo<A>& echo) noexcept {
    return std::norm(echo.amplitude) * energy(echo.atom);
}

}  // namespace echosieve
