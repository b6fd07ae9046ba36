#include "motion/layers/layer_information.hpp"

#include <Eigen/Cholesky>
#include <Eigen/QR>
#include <cmath>
#include <complex>
#include <vector>

#include "echosieve/core/error.hpp"

namespace echosieve {

namespace {

using Complex = std::complex<double>;

// Columns that are further apart by less of their length are taken for one: rounding of some
// thousand frames.
constexpr double least_turn = 1e-13;

// Orthonormal basis of the columns' span.
Eigen::MatrixXcd basis_of(const Eigen::MatrixXcd& columns) {
    if (columns.cols() == 0) {
        return columns;
    }
    Eigen::ColPivHouseholderQR<Eigen::MatrixXcd> factor(columns);
    factor.setThreshold(least_turn);
    const Eigen::MatrixXcd thin = Eigen::MatrixXcd::Identity(columns.rows(), factor.rank());
    return factor.householderQ() * thin;
}

// [frames x layers] of one bin: z.
Eigen::ArrayXXcd turning(const LayeredBins& bins, Eigen::Index bin) {
    const Eigen::RowVectorXcd strength = bins.wave_numbers[bin] * bins.spectra.col(bin).transpose();
    return bins.phasors(bin).array().rowwise() * strength.array();
}

// [basis columns x layers frames]: Q^H D, not yet scaled by the noise.
Eigen::MatrixXcd seen_by(const Eigen::MatrixXcd& basis, const Eigen::ArrayXXcd& z) {
    Eigen::MatrixXcd out(basis.cols(), z.size());
    for (Eigen::Index l = 0; l < z.cols(); ++l) {
        out.middleCols(l * z.rows(), z.rows()) =
            basis.adjoint().array().rowwise() * z.col(l).transpose();
    }
    return out;
}

Eigen::MatrixXd in_real_rows(const Eigen::MatrixXcd& seen, double noise) {
    Eigen::MatrixXd out(2 * seen.rows(), seen.cols());
    out << seen.real(), seen.imag();
    return out * std::sqrt(2 / noise);
}

void take_off(Eigen::MatrixXd& information, const Eigen::MatrixXd& spent) {
    information.noalias() -= spent.transpose() * spent;
}

// Frames' phasors in which all frames are as noisy.
Eigen::MatrixXcd weighted_phasors(const LayeredBins& bins, Eigen::Index bin) {
    return bins.weight.sqrt().matrix().cast<Complex>().asDiagonal() * bins.phasors(bin);
}

}  // namespace

Eigen::MatrixXcd LayeredBins::phasors(Eigen::Index bin) const {
    const Eigen::ArrayXXd angle = -wave_numbers[bin] * displacement;
    Eigen::MatrixXcd out(frames(), layers());
    out.real() = angle.cos().matrix();
    out.imag() = angle.sin().matrix();
    return out;
}

Eigen::ArrayXXd own_information(const LayeredBins& bins) {
    const Eigen::Index layers = bins.layers();
    Eigen::ArrayXXd own = Eigen::ArrayXXd::Zero(bins.frames(), layers * layers);
    for (Eigen::Index f = 0; f < bins.bins(); ++f) {
        const Eigen::ArrayXXcd z = turning(bins, f);
        for (Eigen::Index l = 0; l < layers; ++l) {
            for (Eigen::Index m = 0; m < layers; ++m) {
                own.col(l + layers * m) += (z.col(l).conjugate() * z.col(m)).real();
            }
        }
    }
    return own * (2 / bins.noise);
}

Eigen::MatrixXd spent_information(const LayeredBins& bins, Eigen::Index bin) {
    return in_real_rows(seen_by(basis_of(weighted_phasors(bins, bin)), turning(bins, bin)),
                        bins.noise);
}

Eigen::MatrixXd known_information(const LayeredBins& bins) {
    const Eigen::ArrayXXd own = own_information(bins);
    const Eigen::Index frames = bins.frames(), layers = bins.layers();
    Eigen::MatrixXd out = Eigen::MatrixXd::Zero(layers * frames, layers * frames);
    for (Eigen::Index l = 0; l < layers; ++l) {
        for (Eigen::Index m = 0; m < layers; ++m) {
            out.block(l * frames, m * frames, frames, frames).diagonal() =
                own.col(l + layers * m).matrix();
        }
    }
    return out;
}

Eigen::MatrixXd free_information(const LayeredBins& bins) {
    Eigen::MatrixXd out = known_information(bins);
    for (Eigen::Index f = 0; f < bins.bins(); ++f) {
        take_off(out, spent_information(bins, f));
    }
    return out;
}

Eigen::MatrixXd shared_information(const LayeredBins& bins) {
    Eigen::MatrixXd out = known_information(bins);
    const Eigen::Index frames = bins.frames(), layers = bins.layers();
    Eigen::Index reference = 0;  // the strongest layer: its factor is 1
    bins.spectra.abs2().rowwise().sum().maxCoeff(&reference);
    // What the factors change beyond what the waveform can, bins below each other.
    Eigen::MatrixXcd factors(frames * bins.bins(), layers - 1);
    for (Eigen::Index f = 0; f < bins.bins(); ++f) {
        const Eigen::MatrixXcd phasors = weighted_phasors(bins, f);
        const Eigen::MatrixXcd sum = basis_of(phasors * bins.spectra.col(f).matrix());
        take_off(out, in_real_rows(seen_by(sum, turning(bins, f)), bins.noise));
        Eigen::MatrixXcd changes = bins.spectra(reference, f) * phasors;
        changes -= (sum * (sum.adjoint() * changes)).eval();
        for (Eigen::Index l = 0, next = 0; l < layers; ++l) {
            if (l != reference) {
                factors.col(next++).segment(f * frames, frames) = changes.col(l);
            }
        }
    }
    const Eigen::MatrixXcd basis = basis_of(factors);
    Eigen::MatrixXcd seen = Eigen::MatrixXcd::Zero(basis.cols(), layers * frames);
    for (Eigen::Index f = 0; f < bins.bins(); ++f) {
        seen += seen_by(basis.middleRows(f * frames, frames), turning(bins, f));
    }
    take_off(out, in_real_rows(seen, bins.noise));
    return out;
}

namespace {

// Adds one bin's. tr(G dR_lk G dR_mj) with dR_lk = -i kappa (e_k e_k^T C - C e_k e_k^T) is
// -2 kappa^2 Re{ (C_l G)_kj (C_m G)_jk - (C_l G C_m)_kj G_jk },  G = R^-1, C_l layer l's part of R.
void add_random_bin(const LayeredBins& bins, Eigen::Index bin,
                    const std::vector<Eigen::ArrayXXd>& correlations, Eigen::MatrixXd& out) {
    const Eigen::Index frames = bins.frames();
    const Eigen::MatrixXcd phasors = bins.phasors(bin);
    Eigen::MatrixXcd all = (bins.noise / bins.weight).matrix().cast<Complex>().asDiagonal();
    std::vector<Eigen::MatrixXcd> part;
    for (Eigen::Index l = 0; l < bins.layers(); ++l) {
        const double power = std::norm(bins.spectra(l, bin));
        const Eigen::MatrixXcd turns = phasors.col(l) * phasors.col(l).adjoint();
        const Eigen::ArrayXXd& rho = correlations[static_cast<std::size_t>(l)];
        part.emplace_back((power * rho).cast<Complex>() * turns.array());
        all += part.back();
    }
    const Eigen::LLT<Eigen::MatrixXcd> factor(all);
    require(factor.info() == Eigen::Success, "correlation of bin", bin,
            "must be that of a random sequence: positive semidefinite");
    const Eigen::MatrixXcd inverse = factor.solve(Eigen::MatrixXcd::Identity(frames, frames));
    std::vector<Eigen::MatrixXcd> whitened;
    for (const Eigen::MatrixXcd& one : part) {
        whitened.emplace_back(one * inverse);
    }
    const double scale = -2 * bins.wave_numbers[bin] * bins.wave_numbers[bin];
    for (std::size_t l = 0; l < part.size(); ++l) {
        for (std::size_t m = 0; m < part.size(); ++m) {
            const Eigen::ArrayXXcd through = (whitened[l] * part[m]).array();
            const Eigen::ArrayXXcd product = whitened[l].array() * whitened[m].transpose().array() -
                                             through * inverse.transpose().array();
            out.block(static_cast<Eigen::Index>(l) * frames, static_cast<Eigen::Index>(m) * frames,
                      frames, frames) += scale * product.real().matrix();
        }
    }
}

}  // namespace

Eigen::MatrixXd random_information(const LayeredBins& bins,
                                   const std::vector<Eigen::ArrayXXd>& correlations) {
    const Eigen::Index size = bins.layers() * bins.frames();
    Eigen::MatrixXd out = Eigen::MatrixXd::Zero(size, size);
    for (Eigen::Index f = 0; f < bins.bins(); ++f) {
        add_random_bin(bins, f, correlations, out);
    }
    const Eigen::VectorXd scale = bins.weight.sqrt().inverse().matrix().replicate(bins.layers(), 1);
    return scale.asDiagonal() * out * scale.asDiagonal();
}

}  // namespace echosieve
