// Gabor echoes as a source of atoms: the best of a grid over a box, moved to the best place near
// by, not at all, by Gauss-Newton, or by an optimiser.
#pragma once

#include <Eigen/Core>
#include <array>
#include <cmath>
#include <complex>
#include <concepts>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/atoms/inner_product.hpp"
#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/dictionary/detail/gabor_grid.hpp"
#include "echosieve/optimise/concept.hpp"
#include "echosieve/pursuit/detail/atom_moments.hpp"
#include "echosieve/pursuit/detail/atom_steps.hpp"
#include "echosieve/pursuit/stop.hpp"

namespace echosieve {

/// Where a refinement looks for the best atom.
struct RefinementSpace {
    const GaborBox& box;
    const SamplingGrid& grid;  ///< of the residual
    std::uint64_t seed = 0;    ///< of what is drawn at random
};

/// A refinement takes the grid's best atom and gives an atom of the box that captures at least as
/// much energy.
template <class P>
concept Refinement = requires(const P& policy, const Gabor<double>& start,
                              const RefinementSpace& space, const Eigen::VectorXcd& residual) {
    { refine(policy, start, space, residual) } -> std::same_as<Gabor<double>>;
};

/// The grid's atom as it is.
struct NoRefinement {};

template <class Vector>
[[nodiscard]] Gabor<double> refine(const NoRefinement&, const Gabor<double>& start,
                                   const RefinementSpace&, const Vector&) {
    return start;
}

/// Damped steps of Gauss and Newton, the amplitude projected out (detail/atom_steps.hpp).
struct GaussNewton {
    int iterations = 12;       ///< steps at most, rejected ones included
    double tolerance = 1e-12;  ///< ends when a step promises no more than this part of the energy
                               ///< that the grid's atom captures: an arrival then is within 1e-6
                               ///< of the pulse's length of where it would end
};

inline void validate(const GaussNewton& options) {
    require(options.iterations >= 0, "iterations", options.iterations, "must be zero or more");
    require(options.tolerance >= 0, "tolerance", options.tolerance, "must be zero or more");
}

template <class Vector>
[[nodiscard]] Gabor<double> refine(const GaussNewton& options, const Gabor<double>& start,
                                   const RefinementSpace& space, const Vector& residual) {
    Gabor<double> best = start;
    Gabor<double> trial = start;
    const detail::GridBounds bounds = detail::grid_bounds(space.grid, space.box);
    detail::FittedPoint<AtomMoments> at{
        bounds.clamped(detail::grid_point(start, space.grid, space.box)),
        atom_moments<true>(start, space.grid, residual)};
    const double least_gain = options.tolerance * at.sums.captured();
    detail::fit_atom(
        at, {bounds, options.iterations, least_gain}, 0,
        [&](const detail::GridPoint& p) {
            trial = detail::atom_at(p, space.grid, space.box);
            return atom_moments<true>(trial, space.grid, residual);
        },
        [&] { best = trial; });
    return best;
}

/// Any optimiser: it maximises the captured energy over the unit cube of the box, starting at the
/// grid's atom.
template <class O, class Vector>
requires Optimiser<O, double>
[[nodiscard]] Gabor<double> refine(const O& optimiser, const Gabor<double>& start,
                                   const RefinementSpace& space, const Vector& residual) {
    const GaborBox& box = space.box;
    std::array<double, GaborBox::dimension> unit{};
    box.to_unit<double>(start, unit);
    const auto loss = [&](std::span<const double> x) {
        return -atom_moments<false>(box.atom(x), space.grid, residual).captured();
    };
    const auto found = minimise<double>(loss, box.unit_box<double>(), optimiser, space.seed, unit);
    return found.usable() ? box.atom(std::span<const double>(found.x)) : start;
}

/// Proposes echoes for signals on one sampling grid. Complex samples: an atom is one column. Real
/// samples: it is the plane of its real and imaginary part, and the amplitude follows from the
/// exact projection on it.
template <Sample T, Refinement Refine>
class EchoSource {
public:
    using sample_type = T;
    using real_type = RealOf<T>;
    using choice_type = Gabor<double>;
    using element_type = Echo<Gabor<real_type>>;
    using Matrix = Eigen::Matrix<T, Eigen::Dynamic, Eigen::Dynamic>;
    static constexpr Eigen::Index columns_per_atom = is_complex<T> ? 1 : 2;

    /// Atoms with less than this part of their energy inside the grid are not proposed.
    static constexpr double least_inside = 0.01;

    /// The table of the grid's atoms holds no more numbers than this (2 GB).
    static constexpr double most_table_values = 2.5e8;

    /// Throws InvalidInput for an invalid grid or box, a mixing frequency with real samples, or a
    /// box whose atoms make too large a table.
    EchoSource(const SamplingGrid& grid, const GaborBox& box, const Refine& refinement,
               std::uint64_t seed, double loss = usual_loss)
        : grid_(grid), box_(box), refinement_(refinement), seed_(seed) {
        validate(grid);
        if constexpr (requires { validate(refinement); }) {
            validate(refinement);
        }
        if constexpr (!is_complex<T>) {
            require(grid.mixing_frequency == 0, "mixing_frequency", grid.mixing_frequency,
                    "must be 0 for real samples [Hz]");
        }
        for (const Gabor<double>& atom : gabor_grid(box, loss)) {
            if (inside(atom) >= least_inside) {
                atoms_.push_back(atom);
            }
        }
        const auto count = static_cast<Eigen::Index>(atoms_.size());
        const double values = static_cast<double>(samples()) * static_cast<double>(count) *
                              static_cast<double>(columns_per_atom);
        require(values <= most_table_values, "numbers in the table of atoms", values,
                detail::concatenate("must not exceed ", most_table_values, ": ", count, " atoms, ",
                                    samples(), " samples"));
        columns_.resize(samples(), count * columns_per_atom);
        products_.resize(count * columns_per_atom);
        for (Eigen::Index k = 0; k < count; ++k) {
            auto block = columns_.middleCols(k * columns_per_atom, columns_per_atom);
            write(atoms_[static_cast<std::size_t>(k)], block);
            block.col(0).normalize();
            if constexpr (columns_per_atom == 2) {
                block.col(1) -= block.col(0).dot(block.col(1)) * block.col(0);
                const real_type rest = block.col(1).norm();
                block.col(1) *= rest > 0 ? 1 / rest : real_type{0};
            }
        }
    }

    [[nodiscard]] Eigen::Index samples() const noexcept {
        return static_cast<Eigen::Index>(grid_.count);
    }
    [[nodiscard]] const GaborBox& box() const noexcept { return box_; }
    [[nodiscard]] const SamplingGrid& grid() const noexcept { return grid_; }

    /// Searches from another seed from now on: give each frame its own.
    void reseed(std::uint64_t seed) noexcept { seed_ = seed; }

    template <class Vector>
    [[nodiscard]] std::optional<choice_type> propose(const Vector& residual, std::size_t round) {
        if (atoms_.empty()) {
            return std::nullopt;
        }
        products_.noalias() = columns_.adjoint() * residual;
        Eigen::Index best = 0;
        real_type largest = -1;
        for (Eigen::Index k = 0; k < static_cast<Eigen::Index>(atoms_.size()); ++k) {
            const real_type captured =
                products_.segment(k * columns_per_atom, columns_per_atom).squaredNorm();
            if (captured > largest) {
                largest = captured;
                best = k;
            }
        }
        return refine(refinement_, atoms_[static_cast<std::size_t>(best)],
                      RefinementSpace{box_, grid_, mixed_seed(round)}, residual);
    }
    template <class Block>
    void write(const choice_type& atom, Block&& out) const {
        out.setZero();
        detail::for_each_sample(atom, grid_, [&](std::size_t i, std::complex<double> g) {
            const auto row = static_cast<Eigen::Index>(i);
            if constexpr (is_complex<T>) {
                out(row, 0) = static_cast<T>(g);
            } else {
                out(row, 0) = static_cast<T>(g.real());
                out(row, 1) = static_cast<T>(g.imag());
            }
        });
    }
    /// Real samples: Re(a g) = x Re g + y Im g, so a = x - i y. Where the arrival is rounded to
    /// float, the phase that the rounding costs (1e-4 rad at 20 us and 4 MHz) goes to the
    /// amplitude.
    [[nodiscard]] element_type element(const choice_type& atom,
                                       std::span<const T> coefficients) const {
        const Gabor<real_type> rounded{static_cast<real_type>(atom.arrival),
                                       static_cast<real_type>(atom.centre_frequency),
                                       static_cast<real_type>(atom.bandwidth)};
        std::complex<double> amplitude;
        if constexpr (is_complex<T>) {
            amplitude = static_cast<std::complex<double>>(coefficients[0]);
        } else {
            amplitude = {static_cast<double>(coefficients[0]),
                         -static_cast<double>(coefficients[1])};
        }
        const double moved = static_cast<double>(rounded.arrival) - atom.arrival;
        amplitude *= unit_phasor(atom.centre_frequency * moved);
        return {rounded, static_cast<std::complex<real_type>>(amplitude)};
    }
    /// Threshold on T for noise under the best atom of the box; see stop.hpp.
    [[nodiscard]] double false_alarm_threshold(double probability) const {
        return echosieve::false_alarm_threshold(box_, probability);
    }

private:
    // Part of the atom's energy that the grid's samples hold.
    [[nodiscard]] double inside(const Gabor<double>& atom) const {
        double sum = 0;
        detail::for_each_sample(atom, grid_,
                                [&](std::size_t, std::complex<double> g) { sum += std::norm(g); });
        return sum * grid_.step() / energy(atom);
    }
    [[nodiscard]] std::uint64_t mixed_seed(std::size_t round) const noexcept {
        RandomStream stream(seed_, round);
        const std::uint64_t high = stream();
        return (high << 32) | stream();
    }

    SamplingGrid grid_;
    GaborBox box_;
    Refine refinement_;
    std::uint64_t seed_;
    std::vector<Gabor<double>> atoms_;
    Matrix columns_;
    Eigen::Matrix<T, Eigen::Dynamic, 1> products_;
};

}  // namespace echosieve
