// Where the parameters of an echo may lie: boxes of Gabor and chirped Gabor atoms, and an atom's
// parameters by number.
#pragma once

#include <algorithm>
#include <concepts>
#include <cstddef>
#include <span>
#include <type_traits>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"

namespace echosieve {

/// A closed interval; equal ends hold the parameter fixed.
struct Interval {
    double lower = 0;
    double upper = 0;

    [[nodiscard]] constexpr double width() const noexcept { return upper - lower; }
    [[nodiscard]] constexpr double centre() const noexcept { return lower + (upper - lower) / 2; }
    friend constexpr bool operator==(const Interval&, const Interval&) = default;
};

/// Ranges of arrival [s], centre frequency [Hz] and bandwidth [Hz].
///
/// Optimisers see it as the unit cube: coordinates 0 to 1 over each range, in this order, so that
/// one step means about as much in each direction whatever the units.
struct GaborBox {
    Gate arrival;
    Interval centre_frequency;
    Interval bandwidth;

    /// Frequency and bandwidth within `spread` (0.10: 10 %) of the sensor's, arrival anywhere in
    /// the gate. Throws InvalidInput for an invalid sensor or gate, or unless 0 <= spread < 1.
    [[nodiscard]] static GaborBox around(const Sensor& sensor, double spread, const Gate& gate) {
        validate(sensor);
        validate(gate);
        require(spread >= 0 && spread < 1, "spread", spread, "must lie in [0, 1)");
        const auto range = [spread](double middle) {
            return Interval{middle * (1 - spread), middle * (1 + spread)};
        };
        return {gate, range(sensor.centre_frequency), range(sensor.bandwidth)};
    }

    static constexpr std::size_t dimension = 3;

    /// The unit cube.
    template <Real R>
    [[nodiscard]] Box<R> unit_box() const {
        return Box<R>(std::vector<R>(dimension, R{0}), std::vector<R>(dimension, R{1}));
    }
    /// The atom at a point of the unit cube, its parameters inside the box whatever the rounding.
    template <Real R>
    [[nodiscard]] Gabor<double> atom(std::span<const R> unit) const noexcept {
        const auto place = [&](std::size_t k, double lower, double upper) {
            return std::clamp(lower + static_cast<double>(unit[k]) * (upper - lower), lower, upper);
        };
        return {place(0, arrival.begin, arrival.end),
                place(1, centre_frequency.lower, centre_frequency.upper),
                place(2, bandwidth.lower, bandwidth.upper)};
    }
    /// The point of the unit cube where an atom lies, clamped to it; 0 along ranges without width.
    template <Real R>
    void to_unit(const Gabor<double>& atom, std::span<R> unit) const noexcept {
        const auto place = [](double x, double lower, double width) {
            return static_cast<R>(width > 0 ? std::clamp((x - lower) / width, 0.0, 1.0) : 0.0);
        };
        unit[0] = place(atom.arrival, arrival.begin, arrival.length());
        unit[1] = place(atom.centre_frequency, centre_frequency.lower, centre_frequency.width());
        unit[2] = place(atom.bandwidth, bandwidth.lower, bandwidth.width());
    }
    /// The atom with each parameter moved to the nearest value inside.
    [[nodiscard]] Gabor<double> clamped(const Gabor<double>& atom) const noexcept {
        return {std::clamp(atom.arrival, arrival.begin, arrival.end),
                std::clamp(atom.centre_frequency, centre_frequency.lower, centre_frequency.upper),
                std::clamp(atom.bandwidth, bandwidth.lower, bandwidth.upper)};
    }
    [[nodiscard]] bool contains(const Gabor<double>& atom) const noexcept {
        return clamped(atom) == atom;
    }
};

inline void validate(const GaborBox& box) {
    validate(box.arrival);
    require(is_finite(box.centre_frequency.lower), "centre_frequency.lower",
            box.centre_frequency.lower, "must be finite [Hz]");
    require(box.centre_frequency.upper >= box.centre_frequency.lower &&
                is_finite(box.centre_frequency.upper),
            "centre_frequency.upper", box.centre_frequency.upper,
            "must be finite and not below lower [Hz]");
    require(box.bandwidth.lower > 0, "bandwidth.lower", box.bandwidth.lower,
            "must be positive [Hz]");
    require(box.bandwidth.upper >= box.bandwidth.lower && is_finite(box.bandwidth.upper),
            "bandwidth.upper", box.bandwidth.upper, "must be finite and not below lower [Hz]");
}

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
inline constexpr std::ptrdiff_t atom_parameters = std::same_as<A, ChirpedGabor<double>> ? 4 : 3;

/// Parameter number j of the atom, to read or to write.
template <class A>
requires FittedAtom<std::remove_const_t<A>>
[[nodiscard]] constexpr auto& atom_parameter(A& atom, std::ptrdiff_t j) noexcept {
    if constexpr (std::same_as<std::remove_const_t<A>, ChirpedGabor<double>>) {
        if (j == 3) {
            return atom.chirp_rate;
        }
    }
    return j == 0 ? atom.arrival : j == 1 ? atom.centre_frequency : atom.bandwidth;
}

/// Range of parameter number j; the chirp rate of an unchirped atom is held at 0.
template <class B>
[[nodiscard]] constexpr Interval parameter_range(const B& box, std::ptrdiff_t j) noexcept {
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
