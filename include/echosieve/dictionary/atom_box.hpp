// The box of an atom of either kind, and an atom's parameters by number.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <concepts>
#include <type_traits>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/dictionary/gabor_box.hpp"

namespace echosieve {

/// Ranges of arrival [s], centre frequency [Hz], bandwidth [Hz] and chirp rate [Hz/s]; a range
/// without width holds its parameter.
struct ChirpedGaborBox {
    Gate arrival;
    Interval centre_frequency;
    Interval bandwidth;
    Interval chirp_rate;

    /// The atom with each parameter moved to the nearest value inside.
    [[nodiscard]] ChirpedGabor<double> clamped(const ChirpedGabor<double>& atom) const noexcept {
        const Gabor<double> rest = GaborBox{arrival, centre_frequency, bandwidth}.clamped(
            {atom.arrival, atom.centre_frequency, atom.bandwidth});
        return {rest.arrival, rest.centre_frequency, rest.bandwidth,
                std::clamp(atom.chirp_rate, chirp_rate.lower, chirp_rate.upper)};
    }
    [[nodiscard]] bool contains(const ChirpedGabor<double>& atom) const noexcept {
        return clamped(atom) == atom;
    }
};

inline void validate(const ChirpedGaborBox& box) {
    validate(GaborBox{box.arrival, box.centre_frequency, box.bandwidth});
    require(is_finite(box.chirp_rate.lower), "chirp_rate.lower", box.chirp_rate.lower,
            "must be finite [Hz/s]");
    require(box.chirp_rate.upper >= box.chirp_rate.lower && is_finite(box.chirp_rate.upper),
            "chirp_rate.upper", box.chirp_rate.upper, "must be finite and not below lower [Hz/s]");
}

/// An atom in double whose parameters a fit may move: Gabor<double> or ChirpedGabor<double>.
template <class A>
concept FittedAtom = std::same_as<A, Gabor<double>> || std::same_as<A, ChirpedGabor<double>>;

/// GaborBox for Gabor<double>, ChirpedGaborBox for ChirpedGabor<double>.
template <FittedAtom A>
using AtomBox =
    std::conditional_t<std::same_as<A, ChirpedGabor<double>>, ChirpedGaborBox, GaborBox>;

/// Number of an atom's parameters that enter it non-linearly: arrival (0), centre frequency (1),
/// bandwidth (2) and, if it has one, chirp rate (3).
template <FittedAtom A>
inline constexpr Eigen::Index atom_parameters = std::same_as<A, ChirpedGabor<double>> ? 4 : 3;

/// Parameter number j of the atom, to read or to write.
template <class A>
requires FittedAtom<std::remove_const_t<A>>
[[nodiscard]] constexpr auto& atom_parameter(A& atom, Eigen::Index j) noexcept {
    if constexpr (std::same_as<std::remove_const_t<A>, ChirpedGabor<double>>) {
        if (j == 3) {
            return atom.chirp_rate;
        }
    }
    return j == 0 ? atom.arrival : j == 1 ? atom.centre_frequency : atom.bandwidth;
}

/// Range of parameter number j; the chirp rate of an unchirped atom is held at 0.
template <class B>
[[nodiscard]] constexpr Interval parameter_range(const B& box, Eigen::Index j) noexcept {
    if (j == 0) {
        return {box.arrival.begin, box.arrival.end};
    }
    if (j == 1) {
        return box.centre_frequency;
    }
    if constexpr (std::same_as<B, ChirpedGaborBox>) {
        if (j == 3) {
            return box.chirp_rate;
        }
    }
    return box.bandwidth;
}

}  // namespace echosieve
