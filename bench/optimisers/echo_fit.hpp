// What optimisers are compared on: overlapping echoes with known truth, fitted to one complex
// frame.
#pragma once

#include <complex>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/box.hpp"
#include "echosieve/core/detail/aligned.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"
#include "echosieve/dictionary/atom_box.hpp"
#include "echosieve/optimise/objective.hpp"

namespace bench {

namespace detail {

/// From the unit cube to the units of the grid.
struct EchoUnits {
    double arrival = 0;  ///< samples over the gate
    double rotation_least = 0;
    double rotation_width = 0;
    double root_least = 0;  ///< of the decay, which goes with the square of the bandwidth
    double root_width = 0;

    EchoUnits(const echosieve::SamplingGrid& grid, const echosieve::GaborBox& ranges);
};

}  // namespace detail

// Symbols
//   K          echoes, each exp(-alpha u^2 + i 2 pi f u) of peak modulus 1 (atoms/gabor.hpp)
//   x          3 K unknowns in the unit cube: arrival over the gate, centre frequency and bandwidth
//              over 10 % to either side of the sensor's, echo by echo
//   y          the frame: the echoes, shifted down by 4 MHz and sampled at 8 MHz, and white noise
//   Phi        columns: the K sampled echoes at x;  G = Phi^H Phi;  c = Phi^H y
//   a          amplitudes, normal a priori;  rho = (deviation of the noise / theirs)^2
//   E(x) = min over a of |y - Phi a|^2 + rho |a|^2 = |y|^2 - c^H (G + rho)^-1 c
//   r          residuals y - Phi a and below them -sqrt(rho) a:  E = |r|^2
//   J          their Jacobian by Kaufman 1975, see projected_echoes.hpp
//
// The amplitudes are projected out (variable projection, Golub and Pereyra 1973): what is minimised
// is the residual energy E of the fit that is likeliest a posteriori. Without rho the minimum of
// crowded echoes is not attained: two of them move onto each other and their amplitudes, of
// opposite sign, grow without bound (6e4 was met) as they turn into a derivative that fits noise.

/// A problem of the series.
struct EchoFitSettings {
    std::size_t echoes = 1;    ///< K, 1 to 6
    double spacing = 1e-6;     ///< of neighbouring arrivals [s]
    double snr_decibels = 20;  ///< peak amplitude of the weakest echo over the standard deviation
                               ///< of the noise in the real (or the imaginary) part of a sample
    /// Standard deviation a priori of an amplitude's real (and imaginary) part; the default is
    /// theirs. With an infinite one rho is 1e-14 of an echo's energy, for equal echoes to do no
    /// harm.
    double amplitude_deviation = 1.08;
    std::uint64_t seed = 1;  ///< of place, spectra, amplitudes and noise
};

/// The amplitudes of the truth have moduli of 1 to 2 and any phase, spectra lie anywhere in the
/// box; the row of echoes lies anywhere in the gate, 0.9 us from its ends at least: 64 samples, or
/// as many more as that needs (up to 96).
class EchoFit {
public:
    static constexpr std::size_t most_echoes = 6;
    static constexpr std::size_t block = 3;  ///< unknowns an echo

    explicit EchoFit(const EchoFitSettings& settings);

    [[nodiscard]] const EchoFitSettings& settings() const noexcept { return settings_; }
    [[nodiscard]] std::size_t echoes() const noexcept { return settings_.echoes; }
    [[nodiscard]] std::size_t dimension() const noexcept { return block * settings_.echoes; }
    /// The unit cube.
    [[nodiscard]] const echosieve::Box<double>& box() const noexcept { return box_; }
    [[nodiscard]] const std::vector<double>& truth() const noexcept { return truth_; }
    [[nodiscard]] const echosieve::SamplingGrid& grid() const noexcept { return grid_; }
    [[nodiscard]] std::span<const std::complex<double>> frame() const noexcept { return frame_; }
    [[nodiscard]] const echosieve::GaborBox& ranges() const noexcept { return ranges_; }
    [[nodiscard]] double ridge() const noexcept { return ridge_; }  ///< rho
    /// The atom that the unknowns of echo k stand for.
    [[nodiscard]] echosieve::Gabor<double> atom(std::span<const double> x,
                                                std::size_t k) const noexcept {
        return ranges_.atom(x.subspan(block * k, block));
    }

    /// E at one point, vectorised over samples. All functions may be called by several threads.
    [[nodiscard]] double operator()(std::span<const double> x) const;
    /// E at many points, a point a lane.
    void evaluate(const echosieve::Points<double>& points, std::span<double> values) const;
    /// E, and its gradient: exact.
    double value_and_gradient(std::span<const double> x, std::span<double> gradient) const;
    /// E; gram = J' J, dimension x dimension; gradient = J' r, half of that of E.
    double normal_equations(std::span<const double> x, std::span<double> gram,
                            std::span<double> gradient) const;

    /// Rows of r: the real parts of samples and amplitudes, then their imaginary ones.
    [[nodiscard]] std::size_t rows() const noexcept { return 2 * (grid_.count + echoes()); }
    /// Writes r and, unless it is empty, J row by row (rows x dimension).
    void residuals(std::span<const double> x, std::span<double> r,
                   std::span<double> jacobian) const;

private:
    using Aligned = std::vector<double, echosieve::AlignedAllocator<double>>;

    EchoFitSettings settings_;
    echosieve::SamplingGrid grid_;
    echosieve::GaborBox ranges_;
    detail::EchoUnits units_;
    echosieve::Box<double> box_;
    std::vector<double> truth_;
    std::vector<std::complex<double>> frame_;
    Aligned real_;
    Aligned imag_;
    double energy_ = 0;  // |y|^2
    double ridge_ = 0;
};

/// The series that optimisers are compared on, roughly by growing difficulty: one echo at 0, 20 and
/// 40 dB; two to six echoes, spaced 2, 1, 0.5 and 0.3 us, at 0 to 40 dB in rotation, so that each
/// spacing meets each ratio.
[[nodiscard]] std::vector<EchoFitSettings> echo_fit_series();

/// Such as "3 echoes, 0.5 us, 20 dB".
[[nodiscard]] std::string describe(const EchoFitSettings& settings);

}  // namespace bench
