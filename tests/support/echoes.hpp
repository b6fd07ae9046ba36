// What the tests of fits share: frames of echoes in noise, and columns made by differences.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "echosieve/atoms/sampling.hpp"
#include "echosieve/core/random.hpp"
#include "echosieve/dictionary/atom_box.hpp"

namespace echosieve::test {

/// Echoes in white noise of standard deviation `noise` of each real component.
template <Sample T, FittedAtom A>
[[nodiscard]] std::vector<T> noisy_echoes(const std::vector<Echo<A>>& echoes,
                                          const SamplingGrid& grid, double noise,
                                          RandomStream& stream) {
    using Wide = std::conditional_t<is_complex<T>, std::complex<double>, double>;
    std::vector<Wide> sum(grid.count);
    for (const Echo<A>& echo : echoes) {
        add(echo, grid, std::span<Wide>(sum));
    }
    std::vector<T> out;
    for (Wide& x : sum) {
        x += noise * stream.normal();
        if constexpr (is_complex<T>) {
            x += std::complex<double>(0, noise * stream.normal());
        }
        out.push_back(static_cast<T>(x));
    }
    return out;
}

/// Samples of echoes as real rows, written out without the library's recurrence.
template <Sample T, FittedAtom A>
[[nodiscard]] Eigen::VectorXd slow_rows(const std::vector<Echo<A>>& echoes,
                                        const SamplingGrid& grid) {
    const auto count = static_cast<Eigen::Index>(grid.count);
    Eigen::VectorXd out = Eigen::VectorXd::Zero(is_complex<T> ? 2 * count : count);
    for (Eigen::Index i = 0; i < count; ++i) {
        const double time = grid.time(static_cast<double>(i));
        std::complex<double> sum = 0;
        for (const Echo<A>& echo : echoes) {
            sum += value(echo, time);
        }
        sum *= unit_phasor(-grid.mixing_frequency * time);
        out[i] = sum.real();
        if (is_complex<T>) {
            out[count + i] = sum.imag();
        }
    }
    return out;
}

/// Size of a step for a difference of parameter j, the amplitude's parts last.
template <FittedAtom A>
[[nodiscard]] double difference_step(Eigen::Index j) noexcept {
    const double sizes[] = {1e-10, 1e3, 1e3, 1e9};  // [s], [Hz], [Hz], [Hz/s]
    return j < atom_parameters<A> ? sizes[j] : 1e-3;
}

/// The echoes with parameter j of echo k moved by x.
template <FittedAtom A>
[[nodiscard]] std::vector<Echo<A>> moved(std::vector<Echo<A>> echoes, std::size_t k, Eigen::Index j,
                                         double x) {
    constexpr Eigen::Index p = atom_parameters<A>;
    if (j < p) {
        atom_parameter(echoes[k].atom, j) += x;
    } else {
        echoes[k].amplitude += j == p ? std::complex<double>(x, 0) : std::complex<double>(0, x);
    }
    return echoes;
}

/// Derivative of the rows by parameter j of echo k, by central differences of fourth order: the
/// error is some 1e-11 of the column.
template <Sample T, FittedAtom A>
[[nodiscard]] Eigen::VectorXd slow_derivative(const std::vector<Echo<A>>& echoes,
                                              const SamplingGrid& grid, std::size_t k,
                                              Eigen::Index j) {
    const double x = difference_step<A>(j);
    const auto rows = [&](double by) { return slow_rows<T>(moved(echoes, k, j, by), grid); };
    return (8 * (rows(x) - rows(-x)) - (rows(2 * x) - rows(-2 * x))) / (12 * x);
}

/// A box about an atom: `widths` is half of each range; 0 holds the parameter.
template <FittedAtom A>
[[nodiscard]] AtomBox<A> box_about(const A& atom, double arrival, double frequency,
                                   double bandwidth, double chirp = 0) {
    AtomBox<A> box;
    box.arrival = {atom.arrival - arrival, atom.arrival + arrival};
    box.centre_frequency = {atom.centre_frequency - frequency, atom.centre_frequency + frequency};
    box.bandwidth = {atom.bandwidth - bandwidth, atom.bandwidth + bandwidth};
    if constexpr (std::same_as<A, ChirpedGabor<double>>) {
        box.chirp_rate = {atom.chirp_rate - chirp, atom.chirp_rate + chirp};
    }
    return box;
}

}  // namespace echosieve::test
